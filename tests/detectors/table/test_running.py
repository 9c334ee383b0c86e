"""Recurrences over a run of windows give what a loop would, however the run is cut."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from detectors.table.running import held, least_so_far, shifted, sums_so_far
from shared.updates import Floats

VALUES = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40)
STARTS = st.floats(-1e6, 1e6)


@given(VALUES, STARTS)
def test_each_place_holds_what_came_before_it(values: list[float], start: float) -> None:
    assert shifted(np.array(values), start).tolist() == [start, *values][:-1]


@given(st.lists(st.tuples(st.floats(-1e6, 1e6), st.booleans()), min_size=1), STARTS)
def test_what_is_not_new_is_held(pairs: list[tuple[float, bool]], start: float) -> None:
    expected, last = [], start
    for value, is_new in pairs:
        last = value if is_new else last
        expected.append(last)
    values, news = np.array([v for v, _ in pairs]), np.array([n for _, n in pairs])
    assert held(values, news, start).tolist() == expected


@given(VALUES, STARTS, st.data())
@pytest.mark.parametrize("running", [least_so_far, sums_so_far])
def test_a_cut_changes_nothing(
    running: object, values: list[float], start: float, data: st.DataObject
) -> None:
    """To the last bit: the state goes on where it was."""
    assert callable(running)
    whole: Floats = running(np.array(values), start)
    cut = data.draw(st.integers(0, len(values)))
    first: Floats = running(np.array(values[:cut]), start)
    middle = float(first[-1]) if cut else start
    second: Floats = running(np.array(values[cut:]), middle)
    assert [*first.tolist(), *second.tolist()] == whole.tolist()
    loop, expected = start, []
    for value in values:
        loop = min(loop, value) if running is least_so_far else loop + value
        expected.append(loop)
    assert whole.tolist() == expected
