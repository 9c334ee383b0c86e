"""Rates of rare events: exact tails, tests and intervals, in plain floats.

Two Poisson rates are compared by the exact conditional test: given all events, those of
the first stretch are binomial with its share of the exposure (Przyborowski and Wilenski
1940). Intervals are Garwood's for one rate and Clopper and Pearson's for two.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

_SAME = 1.0 + 1e-7
"""Probabilities that differ by rounding alone count as equal, as R and SciPy hold it."""
_BISECTIONS = 200


def _log_choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def binomial_point(k: int, n: int, share: float) -> float:
    """P(X = k) of n trials with chance `share`."""
    if share <= 0.0:
        return 1.0 if k == 0 else 0.0
    if share >= 1.0:
        return 1.0 if k == n else 0.0
    return math.exp(_log_choose(n, k) + k * math.log(share) + (n - k) * math.log1p(-share))


def binomial_upper(k: int, n: int, share: float) -> float:
    """P(X ≥ k) of n trials with chance `share`."""
    if k <= 0:
        return 1.0
    if k > n or share <= 0.0:
        return 0.0
    if share >= 1.0:
        return 1.0
    if k <= n * share:
        return 1.0 - _run_sum(k - 1, share, n, downward=True)
    return _run_sum(k, share, n, downward=False)


def binomial_lower(k: int, n: int, share: float) -> float:
    """P(X ≤ k) of n trials with chance `share`."""
    return binomial_upper(n - k, n, 1.0 - share)


def _run_sum(k: int, share: float, n: int, *, downward: bool) -> float:
    """Sum of point probabilities from k to the nearer end, until nothing is added."""
    term = binomial_point(k, n, share)
    total = term
    odds = share / (1.0 - share)
    while term > total * 1e-17:
        if downward:
            if k == 0:
                break
            term *= k / ((n - k + 1) * odds)
            k -= 1
        else:
            if k == n:
                break
            term *= (n - k) * odds / (k + 1)
            k += 1
        total += term
    return min(total, 1.0)


def binomial_two_sided(k: int, n: int, share: float) -> float:
    """P of an outcome as unlikely as k or less likely."""
    point = binomial_point(k, n, share)
    total = sum(p for i in range(n + 1) if (p := binomial_point(i, n, share)) <= point * _SAME)
    return min(total, 1.0)


@dataclass(frozen=True, slots=True)
class Comparison:
    """First rate over second: ratio with its interval, and the two-sided p of equal rates."""

    ratio: float
    low: float
    high: float
    p: float


def compare_rates(
    first: int, first_exposure: float, second: int, second_exposure: float, level: float = 0.95
) -> Comparison:
    """Exact conditional comparison of two Poisson rates. Exposures in one unit, above 0.

    The ratio is inf where only the second count is 0, NaN where both are.
    """
    if not (first_exposure > 0.0 and second_exposure > 0.0):
        raise ValueError("exposures must be above 0")
    n = first + second
    relative = second_exposure / first_exposure
    share = first_exposure / (first_exposure + second_exposure)
    if n == 0:
        return Comparison(math.nan, 0.0, math.inf, 1.0)
    tail = (1.0 - level) / 2.0
    low = 0.0 if first == 0 else _root(lambda q: binomial_upper(first, n, q) - tail, 0.0, 1.0)
    high = 1.0 if second == 0 else _root(lambda q: tail - binomial_lower(first, n, q), 0.0, 1.0)
    ratio = first / second * relative if second else math.inf
    return Comparison(
        ratio,
        low / (1.0 - low) * relative,
        math.inf if high == 1.0 else high / (1.0 - high) * relative,
        binomial_two_sided(first, n, share),
    )


def poisson_lower(k: int, mean: float) -> float:
    """P(X ≤ k) of a Poisson count."""
    if mean <= 0.0:
        return 1.0
    # Terms further out than this do not reach the sum's last digit.
    root = math.sqrt(mean)
    first = max(min(int(mean - 12.0 * root - 50.0), k - int(4.0 * root) - 100), 0)
    last = min(k, int(mean + 12.0 * root + 50.0))
    log = math.log(mean)
    terms = (math.exp(i * log - mean - math.lgamma(i + 1)) for i in range(first, last + 1))
    return min(math.fsum(terms), 1.0)


def rate_interval(count: int, exposure: float, level: float = 0.95) -> tuple[float, float]:
    """Exact two-sided interval of one Poisson rate, per unit of exposure."""
    if not exposure > 0.0:
        raise ValueError("exposure must be above 0")
    tail = (1.0 - level) / 2.0
    top = count + 10.0 * math.sqrt(count + 1.0) + 50.0
    low = 0.0
    if count:
        low = _root(lambda mean: 1.0 - poisson_lower(count - 1, mean) - tail, 0.0, top)
    high = _root(lambda mean: tail - poisson_lower(count, mean), 0.0, top)
    return low / exposure, high / exposure


def _root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function crosses 0, by bisection."""
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if rising(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def fewer_p(first: int, first_exposure: float, second: int, second_exposure: float) -> float:
    """One-sided p of so few in the second stretch if the rates are equal, conditional, exact."""
    share = second_exposure / (first_exposure + second_exposure)
    return binomial_lower(second, first + second, share)


def further_quiet(
    first: int, first_exposure: float, second: int, second_exposure: float, level: float = 0.95
) -> float:
    """Further exposure without a fault from which `fewer_p` is below 1 − level.

    0 when it is already; inf when there was nothing to get fewer than.
    """
    tail = 1.0 - level
    if first == 0:
        return math.inf

    def short_of(further: float) -> float:
        return tail - fewer_p(first, first_exposure, second, second_exposure + further)

    if short_of(0.0) > 0.0:
        return 0.0
    top = first_exposure + second_exposure
    while short_of(top) <= 0.0:
        top *= 2.0
    return _root(short_of, 0.0, top)
