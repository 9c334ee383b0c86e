"""Codes and resistances: which numbers follow a temperature through the platinum curve.

A converter's code is R / R_ref · 2^bits and R is R0 · w(t): so code ÷ w(t) is one constant,
2^bits · R0 / R_ref, whatever the temperature. To reach the curve's end, 3.9 · R0, a reference
must be about that, and one twice as large would waste a bit: so the constant tells both.
"""

import math
from dataclasses import dataclass

import numpy as np

from shared.platinum import HIGHEST_C, LOWEST_C, ratio_array
from shared.updates import Floats

LEAST_RATIO = 2.8
"""R_ref / R0 is taken to lie between this and twice this, around 3.9."""
BITS = range(10, 25)
PREFERRED = np.unique(
    [
        *(round(float(10.0 ** (n / 96.0)), 2) for n in range(96)),
        *(3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1),
        *(4.0, 5.0),
    ]
)
"""Resistors that are sold: E96 and E24 (IEC 60063), and round values (common practice)."""
R0S = (100.0, 1000.0)
LEAST_SLOPE = 0.00074
"""The curve's slope is nowhere less, as a part of itself per kelvin (IEC 60751, up to 850 °C)."""
_SPREAD = 0.01
_PARTS = 5
_CONSTANT = 0.001


@dataclass(frozen=True, slots=True)
class ChainLink:
    """How well numbers follow a temperature through the curve."""

    constant: float
    """Number ÷ R(t)/R0."""
    spread: float
    """Largest departure of that over the range, relative."""
    span_k: float
    """Range of temperatures over which it was seen."""

    @property
    def is_seen(self) -> bool:
        """Whether the numbers moved as the curve does: beside what hardly moves all may seem to."""
        return self.span_k * LEAST_SLOPE > self.spread


def linked(numbers: Floats, celsius: Floats) -> ChainLink | None:
    """The link between numbers and temperatures heard together, if there is one."""
    good = np.isfinite(celsius) & (celsius > LOWEST_C) & (celsius < HIGHEST_C) & (numbers > 0.0)
    if good.sum() < 1 or good.mean() < 0.8:
        return None
    celsius, constants = celsius[good], numbers[good] / ratio_array(celsius[good])
    middle = float(np.median(constants))
    low, span = float(celsius.min()), float(np.ptp(celsius))
    # By parts of the range, so that a long hold does not outweigh all else.
    part = np.minimum((celsius - low) / max(span, 1e-9) * _PARTS, _PARTS - 1).astype(int)
    medians = np.array([np.median(constants[part == n]) for n in np.unique(part)])
    spread = float(np.max(np.abs(medians - middle))) / middle
    if spread > _SPREAD:
        return None
    return ChainLink(middle, spread, span)


def reference_and_bits(constant: float) -> tuple[float, int] | None:
    """R_ref / R0 and bits that give this constant; a resistor that is sold, where one is near."""
    bits = math.floor(math.log2(constant * 2.0 * LEAST_RATIO))
    if bits not in BITS:
        return None
    ratio = 2.0**bits / constant
    near = _nearest(ratio)
    return (near if abs(ratio / near - 1.0) < _CONSTANT else round(ratio, 3)), bits


def is_of_a_part(constant: float) -> bool:
    """Whether a reference that is sold gives this constant."""
    found = reference_and_bits(constant)
    return found is not None and found[0] == _nearest(found[0])


def _nearest(ratio: float) -> float:
    return float(PREFERRED[np.argmin(np.abs(PREFERRED / ratio - 1.0))])


def r0_of(constant: float) -> float | None:
    """R0 that resistances ÷ w(t) show, Ω."""
    return next((r0 for r0 in R0S if abs(constant / r0 - 1.0) < 0.02), None)
