"""Codes and resistances: which numbers follow a temperature through the platinum curve.

A converter's code is R / R_ref · 2^bits and R is R0 · w(t): so code ÷ w(t) is one constant,
2^bits · R0 / R_ref, whatever the temperature. Boards use references of about four times
R0 and converters of 12 to 24 bits (common practice of the trade), so the constant tells both.
"""

from dataclasses import dataclass

import numpy as np

from shared.platinum import HIGHEST_C, LOWEST_C, ratio_array
from shared.updates import Floats

RATIOS = (4.0, 4.3, 3.9, 4.02, 4.12, 4.22)
"""R_ref / R0 as boards have it, the usual ones first."""
BITS = (15, 16, 12, 14, 18, 20, 22, 24)
R0S = (100.0, 1000.0)
_SPREAD = 0.01
_PARTS = 5
_CONSTANT = 0.002


@dataclass(frozen=True, slots=True)
class Link:
    """How well numbers follow a temperature through the curve."""

    constant: float
    """Number ÷ R(t)/R0."""
    spread: float
    """Largest departure of that over the range, relative."""
    span_k: float
    """Range of temperatures over which it was seen."""


def linked(numbers: Floats, celsius: Floats) -> Link | None:
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
    return Link(middle, spread, span)


def reference_and_bits(constant: float) -> tuple[float, int] | None:
    """R_ref / R0 and bits that give this constant."""
    for bits in BITS:
        for ratio in RATIOS:
            if abs(constant * ratio / 2.0**bits - 1.0) < _CONSTANT:
                return ratio, bits
    return None


def r0_of(constant: float) -> float | None:
    """R0 that resistances ÷ w(t) show, Ω."""
    return next((r0 for r0 in R0S if abs(constant / r0 - 1.0) < 0.02), None)
