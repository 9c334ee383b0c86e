"""Noise of two states as a ratio: Welch's test on the logarithms of windows' noise.

Logarithms of a noise estimate scatter evenly, whatever its size; each window counts
once, so bursts inside one window make no false certainty. Student's t comes from the
regularised incomplete beta function (continued fraction, modified Lentz; Numerical
Recipes 6.4), since SciPy is no dependency of the program.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

LEAST = 3
"""Windows a state below which nothing is compared."""
LEAST_SD = 0.02
"""Scatter of logarithms is never taken below this: steps of the code can hide it."""


@dataclass(frozen=True, slots=True)
class NoiseRatio:
    """Noise of the second state over that of the first."""

    ratio: float
    low: float
    high: float
    p: float
    """Two-sided p of equal noise."""
    freedom: float


def compare_noise(
    first: Sequence[float], second: Sequence[float], level: float = 0.95
) -> NoiseRatio | None:
    """Compare noise of windows, all above 0; None where a state has fewer than `LEAST`."""
    if len(first) < LEAST or len(second) < LEAST:
        return None
    (a, va), (b, vb) = _mean_and_error(first), _mean_and_error(second)
    error = math.sqrt(va + vb)
    freedom = (va + vb) ** 2 / (va**2 / (len(first) - 1) + vb**2 / (len(second) - 1))
    delta = b - a
    reach = t_quantile(0.5 + 0.5 * level, freedom) * error
    p = 2.0 * t_upper(abs(delta) / error, freedom)
    return NoiseRatio(
        math.exp(delta), math.exp(delta - reach), math.exp(delta + reach), min(p, 1.0), freedom
    )


def _mean_and_error(noise: Sequence[float]) -> tuple[float, float]:
    """Mean of the logarithms and its squared standard error."""
    logs = [math.log(value) for value in noise]
    mean = math.fsum(logs) / len(logs)
    variance = math.fsum((value - mean) ** 2 for value in logs) / (len(logs) - 1)
    return mean, max(variance, LEAST_SD**2) / len(logs)


def t_upper(t: float, freedom: float) -> float:
    """P(T ≥ t) of Student's t, t ≥ 0."""
    square = t * t
    if square < freedom:
        return 0.5 - 0.5 * incomplete_beta(square / (freedom + square), 0.5, 0.5 * freedom)
    return 0.5 * incomplete_beta(freedom / (freedom + square), 0.5 * freedom, 0.5)


def t_quantile(chance: float, freedom: float) -> float:
    """t with P(T ≤ t) = chance, for chances from 0.5 up, by bisection."""
    low, high = 0.0, 2.0
    while t_upper(high, freedom) > 1.0 - chance:
        high *= 2.0
    for _ in range(100):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if t_upper(middle, freedom) > 1.0 - chance:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def incomplete_beta(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function I_x(a, b), 0 ≤ x ≤ 1."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _fraction(x, a, b) / a
    return 1.0 - front * _fraction(1.0 - x, b, a) / b


def _fraction(x: float, a: float, b: float) -> float:
    tiny = 1e-300
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1.0)
    d = 1.0 / (d if abs(d) > tiny else tiny)
    result = d
    for m in range(1, 1000):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        change = 1.0
        for term in (even, odd):
            d = 1.0 + term * d
            d = 1.0 / (d if abs(d) > tiny else tiny)
            c = 1.0 + term / c
            c = c if abs(c) > tiny else tiny
            change = c * d
            result *= change
        if abs(change - 1.0) < 1e-15:
            break
    return result
