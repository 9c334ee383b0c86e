"""Power that is switched, followed over windows."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from detectors.duty import _Legs
from detectors.windows import ROWS
from shared.updates import Floats

LEVELS = st.lists(
    st.tuples(st.sampled_from([0.0, 0.02, 0.1, 0.4, 0.45, 0.5, 0.6, 1.0]), st.integers(1, 90)),
    min_size=1,
    max_size=20,
)


class Thorough(_Legs):
    """Follows every row, whatever a window's extremes are."""

    def _stays(self, low: float, high: float) -> bool:
        return False


def windows(levels: list[tuple[float, int]], noise: float, gap: bool) -> list[Floats]:
    rng = np.random.default_rng(len(levels))
    power = np.concatenate([np.full(count, level) for level, count in levels])
    power = np.clip(power + noise * rng.normal(size=len(power)), 0.0, 1.0)
    if gap:
        power[len(power) // 2] = np.nan
    return [power[at : at + ROWS] for at in range(0, len(power), ROWS)]


@given(LEVELS, st.sampled_from([0.0, 0.01, 0.05]), st.booleans())
def test_windows_that_are_passed_over_would_have_changed_nothing(
    levels: list[tuple[float, int]], noise: float, gap: bool
) -> None:
    """Every way up and every turn is as if each row had been looked at, gaps included."""
    quick, thorough = _Legs(), Thorough()
    at_s = 0.0
    for powers in windows(levels, noise, gap):
        times = at_s + np.arange(0.0, len(powers)) * 0.25
        at_s = float(times[-1]) + 0.25
        assert quick.ups(times, powers) == thorough.ups(times, powers)
        assert quick.both_s == thorough.both_s


def test_a_steady_power_is_passed_over() -> None:
    """Once its furthest has come, a hold within a turn of it costs no look at its rows."""
    legs = _Legs()
    times = np.arange(float(ROWS))
    legs.ups(times, np.full(ROWS, 0.5))
    assert legs._stays(0.42, 0.49)
    assert not legs._stays(0.42, 0.5)
    assert not legs._stays(0.39, 0.49)
    assert not legs._stays(float("nan"), float("nan"))
