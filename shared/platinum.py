"""Resistance of platinum thermometers against temperature, and back.

    R(t) = R0 (1 + A t + B t²)                       t ≥ 0 °C
    R(t) = R0 (1 + A t + B t² + C (t − 100) t³)      t < 0 °C

Coefficients of IEC 60751:2022; the other published curves are kept for elements
that were made to them and for hosts that are set to them.

The inverse is closed above 0 °C, t = 2 (w − 1)/(A + √(A² − 4 B (1 − w))) with
w = R/R0; below, Newton steps start from there. Single values go through plain
floats and arrays through NumPy, with the same operations in the same order, so
that both give the same bits.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from shared.updates import Floats

LOWEST_C = -200.0
HIGHEST_C = 850.0
_EDGE_C = 1e-6
"""How far beyond the range a rounded value may lie and still count as its end."""
_NEWTON_STEPS = 3
"""The closed form is 2.4 K off at −200 °C; three steps leave only rounding."""
_BLOCK = 8192
"""Values converted at once: their intermediate results stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class Curve:
    """Callendar–Van Dusen coefficients of a platinum curve."""

    name: str
    a: float
    b: float
    c: float
    lowest_ratio: float = field(init=False, repr=False)
    """R/R0 at the low end of the range, a rounding's width beyond it."""
    highest_ratio: float = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "lowest_ratio", self.ratio(LOWEST_C - _EDGE_C))
        object.__setattr__(self, "highest_ratio", self.ratio(HIGHEST_C + _EDGE_C))

    def ratio(self, temperature_c: float) -> float:
        """R(t)/R0 at one temperature, not range-checked."""
        t = temperature_c
        if t < 0.0:
            return 1.0 + t * (self.a + t * (self.b + t * (self.c * (t - 100.0))))
        return 1.0 + t * (self.a + t * self.b)


IEC_60751 = Curve("iec-60751", 3.9083e-3, -5.775e-7, -4.183e-12)
GOST_6651 = Curve("gost-6651", 3.9690e-3, -5.841e-7, -4.330e-12)
US_3911 = Curve("us-3911", 3.9692e-3, -5.8495e-7, -4.2325e-12)
JIS_3916 = Curve("jis-3916", 3.9739e-3, -5.870e-7, -4.4e-12)

CURVES = {curve.name: curve for curve in (IEC_60751, GOST_6651, US_3911, JIS_3916)}


def ratio(temperature_c: float, curve: Curve = IEC_60751) -> float:
    """R(t)/R0 at one temperature. Not range-checked, so that faults can be computed."""
    return curve.ratio(temperature_c)


def slope(temperature_c: float, curve: Curve = IEC_60751) -> float:
    """dR/dt/R0 at one temperature, per kelvin."""
    t = temperature_c
    if t < 0.0:
        return curve.a + t * (2.0 * curve.b + t * (curve.c * (4.0 * t - 300.0)))
    return curve.a + t * (2.0 * curve.b)


def ohms(temperature_c: float, r0_ohm: float = 100.0, curve: Curve = IEC_60751) -> float:
    """Resistance in Ω of an element of `r0_ohm` at 0 °C."""
    return r0_ohm * ratio(temperature_c, curve)


def celsius(resistance_ohm: float, r0_ohm: float = 100.0, curve: Curve = IEC_60751) -> float:
    """Temperature in °C; NaN for a resistance beyond −200…850 °C, and for NaN."""
    w = resistance_ohm / r0_ohm
    if not curve.lowest_ratio <= w <= curve.highest_ratio:
        return math.nan
    a, b = curve.a, curve.b
    t = 2.0 * (w - 1.0) / (a + math.sqrt(a * a - 4.0 * b * (1.0 - w)))
    if w < 1.0:
        c = curve.c
        for _ in range(_NEWTON_STEPS):
            excess = 1.0 + t * (a + t * (b + t * (c * (t - 100.0)))) - w
            t = t - excess / (a + t * (2.0 * b + t * (c * (4.0 * t - 300.0))))
    return t


def ratio_array(temperature_c: Floats, curve: Curve = IEC_60751) -> Floats:
    """R(t)/R0 for an array of temperatures, any shape."""
    t = np.asarray(temperature_c, dtype=np.float64)
    cubic = np.where(t < 0.0, t * (curve.c * (t - 100.0)), 0.0)
    value: Floats = 1.0 + t * (curve.a + t * (curve.b + cubic))
    return value


def celsius_array(
    resistance_ohm: Floats, r0_ohm: float = 100.0, curve: Curve = IEC_60751
) -> Floats:
    """Temperatures in °C for an array of resistances in Ω, same shape; NaN as in `celsius`."""
    flat = np.asarray(resistance_ohm, dtype=np.float64)
    shape, flat = flat.shape, flat.reshape(-1)
    result = np.empty_like(flat)
    for start in range(0, len(flat), _BLOCK):
        part = slice(start, start + _BLOCK)
        result[part] = _celsius_block(flat[part] / r0_ohm, curve)
    return result.reshape(shape)


def _celsius_block(w: Floats, curve: Curve) -> Floats:
    """Inverse for a block of ratios R/R0 of its own, which it may change."""
    a, b, c = curve.a, curve.b, curve.c
    outside = ~((w >= curve.lowest_ratio) & (w <= curve.highest_ratio))
    if outside.any():
        w[outside] = np.nan
    t: Floats = 2.0 * (w - 1.0) / (a + np.sqrt(a * a - 4.0 * b * (1.0 - w)))
    below = np.flatnonzero(w < 1.0)
    if len(below):
        x, target = t[below], w[below]
        for _ in range(_NEWTON_STEPS):
            excess = 1.0 + x * (a + x * (b + x * (c * (x - 100.0)))) - target
            x = x - excess / (a + x * (2.0 * b + x * (c * (4.0 * x - 300.0))))
        t[below] = x
    return t
