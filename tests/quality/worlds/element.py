"""Platinum by IEC 60751, one value at a time, for a loop that runs in steps.

R(t) = R0 (1 + A t + B t² + C (t − 100) t³), C only below 0 °C; the constants are the
standard's. `tests/quality/worlds/test_worlds.py` holds them against `shared.platinum`.
"""

from math import sqrt

A, B, C = 3.9083e-3, -5.775e-7, -4.183e-12
NEWTON_STEPS = 3


def ratio_of(celsius: float) -> float:
    """R over R0 at a temperature in °C."""
    ratio = 1.0 + celsius * (A + B * celsius)
    if celsius < 0.0:
        ratio += C * (celsius - 100.0) * celsius**3
    return ratio


def celsius_of(ratio: float) -> float:
    """°C of R over R0; beyond the curve's ends its formula goes on."""
    celsius = (-A + sqrt(max(A * A - 4.0 * B * (1.0 - ratio), 0.0))) / (2.0 * B)
    if celsius < 0.0:
        for _ in range(NEWTON_STEPS):
            slope = A + 2.0 * B * celsius + C * (4.0 * celsius - 300.0) * celsius**2
            celsius -= (ratio_of(celsius) - ratio) / slope
    return celsius


def slope_of(celsius: float) -> float:
    """How R over R0 changes with temperature, 1/K, at 0 °C and above."""
    return A + 2.0 * B * celsius
