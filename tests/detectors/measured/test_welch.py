"""Student's t and Welch's test, with SciPy as the oracle."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from detectors.measured.welch import LEAST_SD, compare_noise, incomplete_beta, t_quantile, t_upper
from tests.levels import some


@given(x=st.floats(0.0, 1.0), a=st.floats(0.1, 200.0), b=st.floats(0.1, 200.0))
def test_the_incomplete_beta_function(x: float, a: float, b: float) -> None:
    assert incomplete_beta(x, a, b) == pytest.approx(special.betainc(a, b, x), rel=1e-9, abs=1e-14)


@given(t=st.floats(0.0, 50.0), freedom=st.floats(1.0, 300.0))
def test_tails_and_quantiles_of_t(t: float, freedom: float) -> None:
    assert t_upper(t, freedom) == pytest.approx(float(stats.t.sf(t, freedom)), rel=1e-8, abs=1e-15)
    assert t_quantile(0.975, freedom) == pytest.approx(float(stats.t.ppf(0.975, freedom)))


@settings(max_examples=some(60))
@given(
    seed=st.integers(0, 10_000),
    sizes=st.tuples(st.integers(3, 40), st.integers(3, 40)),
    ratio=st.floats(0.3, 5.0),
)
def test_noise_compares_as_welch_on_logarithms(
    seed: int, sizes: tuple[int, int], ratio: float
) -> None:
    rng = np.random.default_rng(seed)
    first = np.exp(rng.normal(0.0, 0.2, sizes[0]))
    second = ratio * np.exp(rng.normal(0.0, 0.4, sizes[1]))
    if min(np.log(first).std(ddof=1), np.log(second).std(ddof=1)) <= LEAST_SD:
        return
    found = compare_noise(first.tolist(), second.tolist())
    oracle = stats.ttest_ind(np.log(second), np.log(first), equal_var=False)
    assert found is not None
    assert found.p == pytest.approx(oracle.pvalue, rel=1e-8)
    assert found.freedom == pytest.approx(oracle.df)
    interval = oracle.confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((np.exp(interval.low), np.exp(interval.high)))


def test_two_windows_are_too_few() -> None:
    assert compare_noise([1.0, 1.1], [1.0, 1.0, 1.2]) is None
