"""Is a code another one with a single bit flipped?

Of 2^bits codes, those within `tolerance` of a flip of one given code number at most
2·tolerance + 1 for each bit looked at: so much of the range would agree by chance.
"""

MOST_CHANCE = 0.01
LEAST_BIT = 3
"""Lower bits lie within the noise of common converters."""


def flipped_bit(code: float, expected: float, tolerance: float, bits: int) -> int | None:
    """Which bit, flipped back in `code`, gives `expected` within `tolerance` codes.

    None when no bit does, when the bit lies within the tolerance, or when chance would
    agree in `MOST_CHANCE` of cases or more.
    """
    if code != code or expected != expected or chance(tolerance, bits) >= MOST_CHANCE:
        return None
    whole = round(code)
    for bit in range(LEAST_BIT, bits):
        if (1 << bit) > 4.0 * tolerance and abs((whole ^ (1 << bit)) - expected) <= tolerance:
            return bit
    return None


def chance(tolerance: float, bits: int) -> float:
    """Chance that a code drawn at random agrees with one flipped bit."""
    return (bits - LEAST_BIT) * (2.0 * tolerance + 1.0) / (1 << bits)
