"""Charts against the NIST/SEMATECH e-Handbook and exact run lengths."""

import numpy as np
import pytest

from detectors.chance.charts import Cusum, Ewma, average_run, limit_for

EWMA_X = (
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
)  # fmt: skip
EWMA_Z = (
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
)  # fmt: skip
CUSUM_X = (
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
)  # fmt: skip
CUSUM_HIGH = (
    0, 0, 0, 0, 0.0325, 0, 0, 0, 0, 0, 0, 0,
    3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035,
)  # fmt: skip
CUSUM_LOW = (0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.715, 0.1725, 0.255, 0.3125) + (0,) * 9


def test_ewma_reproduces_the_handbook() -> None:
    """6.3.2.4: λ 0.3, start 50, s 2.0539, limits 47.4115 and 52.5884, no alarm."""
    chart = Ewma(0.3, 50.0)
    found = [chart.update(x) for x in EWMA_X]
    assert found == pytest.approx(EWMA_Z, abs=0.0051)
    low, high = chart.limits(50.0, 2.0539)
    assert (low, high) == pytest.approx((47.4115, 52.5884), abs=2e-4)
    assert all(low < z < high for z in found)


def test_cusum_reproduces_the_handbook() -> None:
    """6.3.2.3: target 325, k 0.3175, h 4.1959; the sums ±0.005 and the signal at group 14."""
    chart = Cusum(0.3175, 4.1959)
    signals = []
    for x, high, low in zip(CUSUM_X, CUSUM_HIGH, CUSUM_LOW, strict=True):
        signals.append(chart.update(x - 325.0))
        assert chart.high == pytest.approx(high, abs=0.0051)
        assert chart.low == pytest.approx(low, abs=0.0051)
    assert signals.index(1) + 1 == 14
    assert -1 not in signals


EXACT_RUNS = {
    (4.0, 0.0): 167.68, (4.0, 0.5): 26.63, (4.0, 1.0): 8.38, (4.0, 2.0): 3.34,
    (5.0, 0.5): 38.0, (5.0, 1.0): 10.38, (5.0, 3.0): 2.57,
}  # fmt: skip


@pytest.mark.parametrize(("limit", "shift"), EXACT_RUNS)
def test_average_run_lengths_are_the_exact_ones(limit: float, shift: float) -> None:
    """Two-sided, k 0.5: within four standard errors of the exact integral equation."""
    rng = np.random.default_rng(7)
    runs = []
    for _ in range(1500):
        chart, length = Cusum(0.5, limit), 0
        signal = 0
        while not signal:
            for x in rng.normal(shift, 1.0, 64).tolist():
                length += 1
                signal = chart.update(x)
                if signal:
                    break
        runs.append(length)
    error = np.std(runs) / np.sqrt(len(runs))
    assert np.mean(runs) == pytest.approx(EXACT_RUNS[limit, shift], abs=4.0 * error)


def test_the_limit_for_a_wanted_run_length() -> None:
    """One false alarm in 30 days at 4 Hz: k 0.5, h ≈ 15; k 1, h ≈ 7.6 (computed, two-sided)."""
    values = 30 * 86400 * 4.0
    assert limit_for(0.5, 2.0 * values) == pytest.approx(15.0, abs=0.4)
    assert limit_for(1.0, 2.0 * values) == pytest.approx(7.6, abs=0.5)
    assert average_run(0.5, limit_for(0.5, 1000.0)) == pytest.approx(1000.0, rel=1e-6)
