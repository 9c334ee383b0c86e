"""Is a code another one with a single bit flipped?

Of 2^bits codes, those within `tolerance` of a flip of one given code number at most
2·tolerance + 1 for each bit looked at: so much of the range would agree by chance. A
disturbance of about the size of a flip agrees more often: 2·tolerance + 1 in 2^(bit + 1),
where the last factor of 2 is for its sign.
"""

MOST_CHANCE = 0.02
MOST_CHANCE_OF_SIZE = 0.04
WEAK_CHANCE_OF_SIZE = 0.12
"""Agreements with more chance than `MOST_CHANCE_OF_SIZE`, up to this, need others beside them."""
LEAST_BIT = 3
"""Lower bits lie within the noise of common converters."""

WIDEST_BITS = 32
"""No converter's code has more; what a file says beyond is no code."""


def flipped_bit(
    code: float,
    expected: float,
    tolerance: float,
    bits: int,
    most_of_size: float = MOST_CHANCE_OF_SIZE,
) -> int | None:
    """Which bit, flipped back in `code`, gives `expected` within `tolerance` codes.

    None when no bit does, or when chance would agree too often: `most_of_size` is how often
    a disturbance of the flip's size may.
    """
    if not (abs(code) < 1 << WIDEST_BITS and abs(expected) < 1 << WIDEST_BITS):
        return None
    if chance(tolerance, bits) >= MOST_CHANCE:
        return None
    whole = round(code)
    for bit in range(LEAST_BIT, bits):
        of_size = (2.0 * tolerance + 1.0) / (2 << bit)
        if of_size < most_of_size and abs((whole ^ (1 << bit)) - expected) <= tolerance:
            return bit
    return None


def bits_of(code: float) -> int:
    """How many bits a code takes, of at most `WIDEST_BITS`."""
    return round(code).bit_length() if abs(code) < 1 << WIDEST_BITS else WIDEST_BITS


def chance(tolerance: float, bits: int) -> float:
    """Chance that a code drawn at random agrees with one flipped bit."""
    return (bits - LEAST_BIT) * (2.0 * tolerance + 1.0) / (1 << bits)
