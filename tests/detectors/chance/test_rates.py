"""Exact rate statistics against R's published example and SciPy."""

import math
from fractions import Fraction

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import stats

from detectors.chance.rates import (
    binomial_lower,
    binomial_upper,
    compare_rates,
    fewer_p,
    poisson_lower,
    rate_interval,
)
from tests.levels import first


def test_two_rates_compare_as_in_the_published_example() -> None:
    """11 in 800 against 21 in 3,011 person-years (R's poisson.test help page; verified)."""
    found = compare_rates(11, 800.0, 21, 3011.0)
    assert found.p == pytest.approx(0.07967, abs=5e-6)
    assert found.ratio == pytest.approx(1.971488, abs=5e-7)
    assert found.low == pytest.approx(0.8584264, abs=5e-8)
    assert found.high == pytest.approx(4.2772659, abs=5e-7)


def test_one_rate_has_the_exact_interval() -> None:
    """137 in 24.19893: 4.753125 to 6.692709 (computed, and R's help page)."""
    assert rate_interval(137, 24.19893) == pytest.approx((4.753125, 6.692709), abs=5e-7)


# No deadline: an interval takes ten milliseconds, many times that on a busy machine.
@settings(deadline=None)
@given(count=st.integers(0, 400), exposure=st.floats(0.1, 100.0))
def test_the_interval_is_that_of_chi_square(count: int, exposure: float) -> None:
    """Garwood's interval is quantiles of χ² (SciPy)."""
    low = stats.chi2.ppf(0.025, 2 * count) / 2.0 / exposure if count else 0.0
    high = stats.chi2.ppf(0.975, 2 * count + 2) / 2.0 / exposure
    assert rate_interval(count, exposure) == pytest.approx((low, high), rel=1e-9)


def exact_tails(k: int, n: int, share: float) -> tuple[Fraction, Fraction]:
    """P(X ≥ k) and P(X ≤ k) in whole numbers, from the very fraction that the double is."""
    part, whole = share.as_integer_ratio()
    points = [math.comb(n, i) * part**i * (whole - part) ** (n - i) for i in range(n + 1)]
    return Fraction(sum(points[k:]), whole**n), Fraction(sum(points[: k + 1]), whole**n)


@pytest.mark.parametrize("examples", first(1, [8, 100]))
def test_binomial_tails_are_exact_however_far_out(examples: int) -> None:
    """To ten digits where a double has its full digits."""

    @settings(deadline=None, max_examples=examples)
    @given(n=st.integers(1, 500), part=st.floats(0.0, 1.0), share=st.floats(0.001, 0.999))
    @example(n=271, part=0.125, share=0.953125)
    def holds(n: int, part: float, share: float) -> None:
        k = round(part * n)
        upper, lower = map(float, exact_tails(k, n, share))
        assert binomial_upper(k, n, share) == pytest.approx(upper, rel=1e-10, abs=1e-300)
        assert binomial_lower(k, n, share) == pytest.approx(lower, rel=1e-10, abs=1e-300)

    holds()


@settings(deadline=None)
@given(n=st.integers(1, 500), part=st.floats(0.0, 1.0), share=st.floats(0.001, 0.999))
def test_binomial_tails_agree_with_scipy(n: int, part: float, share: float) -> None:
    """Both tails. Beyond 1e-200 SciPy 1.17.1 itself is off, by 1.4e-7 in the example above."""
    k = round(part * n)
    upper, lower = float(stats.binom.sf(k - 1, n, share)), float(stats.binom.cdf(k, n, share))
    assert binomial_upper(k, n, share) == pytest.approx(upper, rel=1e-8, abs=1e-200)
    assert binomial_lower(k, n, share) == pytest.approx(lower, rel=1e-8, abs=1e-200)


@settings(deadline=None)
@given(
    first=st.integers(0, 60),
    second=st.integers(0, 60),
    exposures=st.tuples(st.floats(0.1, 50.0), st.floats(0.1, 50.0)),
)
def test_the_comparison_is_the_exact_binomial_test(
    first: int, second: int, exposures: tuple[float, float]
) -> None:
    """p and interval come from SciPy's binomtest as well."""
    if first + second == 0:
        return
    t1, t2 = exposures
    found = compare_rates(first, t1, second, t2)
    oracle = stats.binomtest(first, first + second, t1 / (t1 + t2))
    assert found.p == pytest.approx(oracle.pvalue, rel=1e-6)
    low = oracle.proportion_ci(0.95).low
    assert found.low == pytest.approx(low / (1.0 - low) * t2 / t1, rel=1e-8, abs=1e-12)


def test_poisson_tail_agrees_with_scipy() -> None:
    for k, mean in ((0, 0.1), (3, 7.5), (40, 20.0), (120, 150.0)):
        assert poisson_lower(k, mean) == pytest.approx(float(stats.poisson.cdf(k, mean)))


def test_how_long_to_watch_after_a_repair() -> None:
    """k faults in T1, none in T2: p < 0.05 needs T2/T1 ≥ 1.714, 0.821, 0.349 (computed)."""
    for k, ratio in ((3, 1.714), (5, 0.821), (10, 0.349)):
        assert fewer_p(k, 1.0, 0, ratio + 0.001) < 0.05 < fewer_p(k, 1.0, 0, ratio - 0.002)


def test_a_rate_without_exposure_is_refused() -> None:
    with pytest.raises(ValueError, match="exposure"):
        compare_rates(1, 0.0, 1, 1.0)
    assert math.isnan(compare_rates(0, 1.0, 0, 1.0).ratio)
