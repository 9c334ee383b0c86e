"""Resistance of platinum thermometers against temperature, and back.

    R(t) = R0 (1 + A t + B t²)                       t ≥ 0 °C
    R(t) = R0 (1 + A t + B t² + C (t − 100) t³)      t < 0 °C

Coefficients of IEC 60751:2022; the other published curves are kept for elements
that were made to them and for hosts that are set to them.
"""

from dataclasses import dataclass

import numpy as np

from shared.updates import Floats

LOWEST_C = -200.0
HIGHEST_C = 850.0
_EDGE_C = 1e-6
"""How far beyond the range a rounded value may lie and still count as its end."""


@dataclass(frozen=True, slots=True)
class Curve:
    """Callendar–Van Dusen coefficients of a platinum curve."""

    name: str
    a: float
    b: float
    c: float


IEC_60751 = Curve("iec-60751", 3.9083e-3, -5.775e-7, -4.183e-12)
GOST_6651 = Curve("gost-6651", 3.9690e-3, -5.841e-7, -4.330e-12)
US_3911 = Curve("us-3911", 3.9692e-3, -5.8495e-7, -4.2325e-12)
JIS_3916 = Curve("jis-3916", 3.9739e-3, -5.870e-7, -4.4e-12)

CURVES = {curve.name: curve for curve in (IEC_60751, GOST_6651, US_3911, JIS_3916)}


def ratio(temperature_c: float, curve: Curve = IEC_60751) -> float:
    """R(t)/R0 at one temperature. Not range-checked, so that faults can be computed."""
    t = temperature_c
    value = 1.0 + t * (curve.a + t * curve.b)
    if t < 0.0:
        value += curve.c * (t - 100.0) * t * t * t
    return value


def slope(temperature_c: float, curve: Curve = IEC_60751) -> float:
    """dR/dt/R0 at one temperature, per kelvin."""
    t = temperature_c
    value = curve.a + 2.0 * curve.b * t
    if t < 0.0:
        value += curve.c * (4.0 * t - 300.0) * t * t
    return value


def ohms(temperature_c: float, r0_ohm: float = 100.0, curve: Curve = IEC_60751) -> float:
    """Resistance in Ω of an element of `r0_ohm` at 0 °C."""
    return r0_ohm * ratio(temperature_c, curve)


def celsius(resistance_ohm: float, r0_ohm: float = 100.0, curve: Curve = IEC_60751) -> float:
    """Temperature in °C; NaN for a resistance beyond −200…850 °C."""
    return float(celsius_array(np.array([resistance_ohm]), r0_ohm, curve)[0])


def ratio_array(temperature_c: Floats, curve: Curve = IEC_60751) -> Floats:
    """R(t)/R0 for an array of temperatures, any shape."""
    t = temperature_c
    cold = np.minimum(t, 0.0)
    value: Floats = 1.0 + t * (curve.a + t * curve.b) + curve.c * (cold - 100.0) * cold**3
    return value


def celsius_array(
    resistance_ohm: Floats, r0_ohm: float = 100.0, curve: Curve = IEC_60751
) -> Floats:
    """Temperatures in °C for an array of resistances in Ω, same shape.

    NaN outside −200…850 °C. Closed form above 0 °C; below, Newton steps from the
    closed form's value, which settle to the last bits in four.
    """
    w = np.asarray(resistance_ohm, dtype=np.float64) / r0_ohm
    with np.errstate(invalid="ignore"):
        root = np.sqrt(curve.a * curve.a - 4.0 * curve.b * (1.0 - w))
        t: Floats = (root - curve.a) / (2.0 * curve.b)
        below = w < 1.0
        if below.any():
            x = t[below]
            for _ in range(4):
                value = 1.0 + x * (curve.a + x * curve.b) + curve.c * (x - 100.0) * x**3
                rise = curve.a + 2.0 * curve.b * x + curve.c * (4.0 * x - 300.0) * x * x
                x = x - (value - w[below]) / rise
            t[below] = x
        t[(t < LOWEST_C - _EDGE_C) | (t > HIGHEST_C + _EDGE_C)] = np.nan
    return t
