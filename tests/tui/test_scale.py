"""The temperature axis: robust, and slow to change."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tui.picture import without_off
from tui.raster import Columns
from tui.scale import Axis, believed_range, nice_axis, settled

NONE = Columns(np.full(100, np.nan), np.full(100, np.nan))
ALL = np.ones(100, bool)


def flat(value: float) -> Columns:
    return Columns(np.full(100, value), np.full(100, value))


@given(st.floats(-200, 900), st.floats(0, 900))
def test_a_nice_axis_holds_its_range_and_wastes_little(low: float, span: float) -> None:
    axis = nice_axis(low, low + span)
    assert axis.bottom <= low + 1e-6
    assert axis.top >= low + span - 1e-6
    assert axis.top - axis.bottom <= max(2.1 * span, 21.0)
    assert 2 <= len(axis.ticks) <= 8


@given(st.lists(st.integers(0, 99), min_size=1, max_size=12, unique=True))
def test_an_open_circuit_does_not_flatten_the_chart(where: list[int]) -> None:
    """Columns at full scale that were held false leave the axis as it was."""
    reading = flat(210.0)
    reading.high[where] = 988.0
    believed = ALL.copy()
    believed[where] = False
    assert believed_range(reading, flat(210.0), believed) == believed_range(
        flat(210.0), flat(210.0), ALL
    )


@given(st.integers(0, 99), st.floats(300, 2000))
def test_a_spike_that_nobody_has_found_yet_does_not_flatten_it_either(at: int, high: float) -> None:
    reading = flat(210.0)
    reading.high[at] = high
    assert believed_range(reading, NONE, ALL)[1] < 236.0


def test_a_heat_up_is_in_range_from_end_to_end() -> None:
    heat = np.linspace(24.0, 210.0, 100)
    low, high = believed_range(Columns(heat, heat), flat(210.0), ALL)
    assert low <= 30.0
    assert high >= 210.0


def test_an_excursion_of_a_few_degrees_is_shown_in_scale() -> None:
    reading = flat(210.0)
    reading.high[40:44] = 224.0
    believed = ALL.copy()
    believed[40:44] = False
    assert believed_range(reading, NONE, believed)[1] == 224.0


def test_a_reading_that_was_never_believed_leaves_a_usual_range() -> None:
    assert believed_range(flat(988.0), NONE, ~ALL) == (0.0, 300.0)


def test_a_target_of_zero_means_off_and_is_not_drawn() -> None:
    target = Columns(np.array([210.0, 0.0, 0.0]), np.array([210.0, 210.0, 0.0]))
    drawn = without_off(target)
    np.testing.assert_array_equal(drawn.low, [210.0, 210.0, np.nan])
    np.testing.assert_array_equal(drawn.high, [210.0, 210.0, np.nan])


@given(st.lists(st.floats(-0.9, 0.9), min_size=20, max_size=60))
def test_noise_does_not_move_the_axis(noise: list[float]) -> None:
    """After it has grown to hold the noise, the axis never changes again."""
    axis: Axis | None = None
    for value in [*noise, -0.9, 0.9]:
        axis = settled((210.0 + min(value, 0.0), 210.0 + max(value, 0.0)), axis)
    kept = axis
    for value in noise:
        axis = settled((210.0 + min(value, 0.0), 210.0 + max(value, 0.0)), axis)
        assert axis == kept


@given(st.floats(0, 500), st.floats(0, 500), st.floats(0, 500), st.floats(0, 500))
def test_the_axis_always_holds_what_is_wanted(a: float, b: float, c: float, d: float) -> None:
    before = settled((min(a, b), max(a, b)), None)
    low, high = min(c, d), max(c, d)
    after = settled((low, high), before)
    assert after.bottom <= low + 1e-6
    assert after.top >= high - 1e-6


@given(st.floats(0, 500), st.floats(0, 500))
def test_the_same_range_again_changes_nothing(a: float, b: float) -> None:
    wanted = (min(a, b), max(a, b))
    axis = settled(wanted, None)
    assert settled(wanted, axis) == axis


def test_the_axis_shrinks_when_most_of_it_is_unused() -> None:
    wide = settled((20.0, 260.0), None)
    assert settled((205.0, 215.0), wide) == nice_axis(205.0, 215.0)
