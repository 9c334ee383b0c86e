"""A ratiometric converter: code = R / R_ref · 2^bits, and what is read from it."""

REFERENCES = (3.9, 4.02, 4.12, 4.22, 4.32, 4.7)
"""Standard resistors (IEC 60063, series E24 and E96) that make a reference of about four times
R0, as multiples of R0; each stands for its neighbours within half a percent."""


def full_scale(bits: int) -> int:
    """Number of codes, 2^bits."""
    return 1 << bits


def code_of(resistance_ohm: float, reference_ohm: float, bits: int) -> int:
    """Code for a resistance, rounded to nearest and saturating at 0 and 2^bits − 1.

    An open input (inf Ω) saturates too; NaN raises ValueError.
    """
    code = resistance_ohm / reference_ohm * full_scale(bits)
    return round(min(max(code, 0.0), full_scale(bits) - 1.0))


def ohms_of(code: float, reference_ohm: float, bits: int) -> float:
    """Resistance in Ω that a code stands for."""
    return code * reference_ohm / full_scale(bits)


def step_ohm(reference_ohm: float, bits: int) -> float:
    """Resistance of one code, Ω."""
    return reference_ohm / full_scale(bits)
