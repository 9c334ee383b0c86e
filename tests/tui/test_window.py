"""The window of time: pause, pan, zoom, cursor."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tui.window import SPANS_S, Window


@given(st.floats(0, 1e9), st.integers(20, 200), st.integers(0, len(SPANS_S) - 1))
def test_the_newest_moment_is_in_the_last_cell(now_s: float, cells: int, zoom: int) -> None:
    grid = Window(zoom).grid(now_s, cells)
    assert grid.count == 2 * cells
    assert grid.first % 2 == 0
    assert grid.cell_of(now_s) in (cells - 1, cells - 2)


def test_the_picture_moves_by_whole_cells() -> None:
    """Between two cells' worth of time the grid is the same, so nothing is sent again."""
    grids = {Window().grid(1000.0 + step * 0.25, 50) for step in range(240)}
    assert len(grids) == 11  # 60 s in cells of 6 s, and the one begun


def test_pausing_keeps_the_window_where_it_is() -> None:
    held = Window().held_at(754.5)
    assert held.grid(2000.0, 50) == Window().grid(754.5, 50)
    assert held.cursor_s == 754.5


def test_panning_stops_at_the_first_and_at_the_newest_data() -> None:
    window = Window()
    for _ in range(100):
        window = window.panned(-0.25, 0.0, 754.5)
    assert window.end_s == pytest.approx(window.span_s / 8)
    for _ in range(100):
        window = window.panned(0.25, 0.0, 754.5)
    assert window.end_s == 754.5


@given(st.integers(-20, 20), st.floats(10, 700))
def test_zooming_keeps_the_cursor_at_its_place(steps: int, at_s: float) -> None:
    window = Window().centred(at_s)
    zoomed = window.zoomed(steps)
    assert zoomed.cursor_s == at_s
    assert zoomed.end_s == pytest.approx(at_s + zoomed.span_s / 2)


@given(st.lists(st.floats(-900, 900), max_size=8))
def test_the_cursor_never_leaves_the_window(moves: list[float]) -> None:
    window = Window().held_at(754.5)
    for seconds in moves:
        window = window.stepped(seconds, 0.0, 754.5)
        assert window.end_s is not None
        assert window.cursor_s is not None
        assert window.end_s - window.span_s <= window.cursor_s <= window.end_s
