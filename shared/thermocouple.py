"""Type K thermocouples: reference function of ITS-90, NIST SRD 60 (Monograph 175).

E(t) = Σ c_i t^i, and above 0 °C + α0·exp(α1 (t − 126.9686)²), in mV against a
reference junction at 0 °C. The inverse takes Newton steps on that function, so it
closes with it rather than with the fitted inverse polynomials (0.06 K).
"""

import math

LOWEST_C = -200.0
"""The function is defined to −270 °C, but too flat there to be read backwards."""
HIGHEST_C = 1372.0
_EDGE_MV = 1e-6

_BELOW_0 = (
    0.0,
    0.039450128025,
    2.3622373598e-05,
    -3.2858906784e-07,
    -4.9904828777e-09,
    -6.7509059173e-11,
    -5.7410327428e-13,
    -3.1088872894e-15,
    -1.0451609365e-17,
    -1.9889266878e-20,
    -1.6322697486e-23,
)
_ABOVE_0 = (
    -0.017600413686,
    0.038921204975,
    1.8558770032e-05,
    -9.9457592874e-08,
    3.1840945719e-10,
    -5.6072844889e-13,
    5.6075059059e-16,
    -3.2020720003e-19,
    9.7151147152e-23,
    -1.2104721275e-26,
)
_BUMP_MV, _BUMP_PER_K2, _BUMP_C = 0.1185976, -1.183432e-4, 126.9686


def millivolts(temperature_c: float) -> float:
    """Voltage in mV against a reference junction at 0 °C; NaN beyond −200…1372 °C."""
    if not LOWEST_C <= temperature_c <= HIGHEST_C:
        return math.nan
    return _value_and_slope(temperature_c)[0]


def celsius(voltage_mv: float, junction_c: float = 0.0) -> float:
    """Temperature in °C of the hot junction; NaN beyond −200…1372 °C.

    `junction_c` is the temperature of the reference junction, where the wires end.
    """
    target = voltage_mv + millivolts(junction_c)
    if not _LOWEST_MV - _EDGE_MV <= target <= _HIGHEST_MV + _EDGE_MV:
        return math.nan
    t = target / 0.041 if target > 0.0 else target / 0.030
    for _ in range(12):
        value, slope = _value_and_slope(t)
        step = (value - target) / slope
        t -= step
        if abs(step) < 1e-10:
            break
    return t


def _value_and_slope(t: float) -> tuple[float, float]:
    """E in mV and dE/dt in mV/K."""
    value = slope = 0.0
    for coefficient in reversed(_ABOVE_0 if t > 0.0 else _BELOW_0):
        slope = slope * t + value
        value = value * t + coefficient
    if t > 0.0:
        away = t - _BUMP_C
        bump = _BUMP_MV * math.exp(_BUMP_PER_K2 * away * away)
        value += bump
        slope += 2.0 * _BUMP_PER_K2 * away * bump
    return value, slope


_LOWEST_MV = _value_and_slope(LOWEST_C)[0]
_HIGHEST_MV = _value_and_slope(HIGHEST_C)[0]
