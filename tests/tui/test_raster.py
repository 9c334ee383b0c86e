"""The raster: nothing is lost, gaps stay gaps, lines join."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from shared.updates import Floats
from tui.raster import (
    BLANK,
    Columns,
    Grid,
    ascii_cells,
    cells,
    columns,
    dots,
    dotted,
    missing,
    per_cell,
)

NO_GAPS = np.empty((0, 2))


def nothing_blank(grid: Grid) -> np.ndarray:
    return np.zeros(grid.count, bool)


@given(
    count=st.integers(200, 5000),
    at=st.integers(0, 199),
    zoom=st.sampled_from([0.5, 3.0, 20.0, 100.0]),
)
def test_a_spike_of_one_sample_is_never_lost(count: int, at: int, zoom: float) -> None:
    """At any zoom, the column that holds the spike reaches up to it."""
    time_s: Floats = np.arange(count, dtype=np.float64) * 0.25
    value = np.full(count, 210.0)
    value[at] = 988.0
    grid = Grid(0, 100, zoom)
    drawn = columns(grid, time_s, value, nothing_blank(grid))
    column = grid.dot_of(time_s[at])
    if column < grid.count:
        assert drawn.high[column] == 988.0
        assert drawn.low[column] <= 210.0 or at == 0


@given(st.integers(-500, 500))
def test_a_sample_stays_in_its_column_while_the_window_moves(shift: int) -> None:
    """Columns that two windows share are equal."""
    rng = np.random.default_rng(3)
    time_s: Floats = np.arange(4000, dtype=np.float64) * 0.25
    value = rng.normal(size=4000)
    one, two = Grid(1000, 200, 0.7), Grid(1000 + shift % 100, 200, 0.7)
    first = columns(one, time_s, value, nothing_blank(one))
    second = columns(two, time_s, value, nothing_blank(two))
    moved = shift % 100
    # The first column has no left neighbour to join to.
    np.testing.assert_array_equal(first.high[moved + 1 :], second.high[1 : 200 - moved])
    np.testing.assert_array_equal(first.low[moved + 1 :], second.low[1 : 200 - moved])


def test_a_value_that_is_not_repeated_still_holds() -> None:
    """A target sent once is drawn as a line to the window's end."""
    grid = Grid(10, 20, 1.0)
    drawn = columns(grid, np.array([0.0]), np.array([210.0]), nothing_blank(grid))
    assert (drawn.low == 210.0).all()


def test_a_gap_is_blank_and_nothing_is_joined_across_it() -> None:
    """Columns within a gap are empty; the line after it starts anew."""
    grid = Grid(0, 20, 1.0)
    time_s = np.array([0.0, 1.0, 2.0, 3.0, 12.0, 13.0])
    value = np.array([10.0, 10.0, 10.0, 10.0, 90.0, 90.0])
    blank = missing(grid, np.array([[3.0, 12.0]]), 0.0, 13.0)
    drawn = columns(grid, time_s, value, blank)
    assert np.isnan(drawn.low[4:12]).all()
    assert drawn.low[12] == 90.0
    assert np.isnan(drawn.low[14:]).all()


def test_columns_before_the_first_and_after_the_newest_update_are_blank() -> None:
    grid = Grid(0, 10, 1.0)
    blank = missing(grid, NO_GAPS, 3.5, 6.5)
    assert blank.tolist() == [True] * 3 + [False] * 4 + [True] * 3


def test_a_step_is_drawn_as_a_standing_line() -> None:
    """Neighbouring columns touch, so that a step has no hole."""
    grid = Grid(0, 4, 1.0)
    drawn = columns(grid, np.array([0.0, 2.0]), np.array([0.0, 100.0]), nothing_blank(grid))
    assert drawn.low[2] == 0.0
    assert drawn.high[2] == 100.0
    assert drawn.low[3] == 100.0


def test_values_beyond_the_axis_are_drawn_at_its_edge() -> None:
    drawn = Columns(np.array([988.0, -200.0]), np.array([988.0, -200.0]))
    line = dots(drawn, 0.0, 100.0, 2)
    assert line[0, 0]
    assert line[-1, 1]
    assert line.sum() == 2


def test_a_cell_without_a_dot_is_a_space_and_not_an_empty_braille_cell() -> None:
    line = np.zeros((8, 6), bool)
    line[0, 0] = True
    codes = cells(line)
    assert chr(codes[0, 0]) == "⠁"
    assert (codes.ravel()[1:] == BLANK).all()


def test_braille_bits_follow_the_unicode_block() -> None:
    """The Unicode standard, block U+2800: dots 1-3, 7 left and 4-6, 8 right, by weight."""
    weights = {
        (0, 0): 0x01, (1, 0): 0x02, (2, 0): 0x04, (3, 0): 0x40,
        (0, 1): 0x08, (1, 1): 0x10, (2, 1): 0x20, (3, 1): 0x80,
    }  # fmt: skip
    for (row, column), weight in weights.items():
        line = np.zeros((4, 2), bool)
        line[row, column] = True
        assert cells(line)[0, 0] == 0x2800 + weight


def test_ascii_shapes_tell_high_from_low() -> None:
    line = np.zeros((4, 8), bool)
    line[0, 0] = line[3, 2] = line[1, 4] = True
    line[:, 6] = True
    assert "".join(map(chr, ascii_cells(line)[0])) == "'.-|"


def test_a_dotted_line_keeps_its_steps_whole() -> None:
    drawn = Columns(np.array([1.0] * 6 + [0.0]), np.array([1.0] * 7))
    line = dots(drawn, 0.0, 1.0, 2)
    broken = dotted(line, 0)
    assert 0 < broken[:, :6].sum() < 6
    assert broken[:, 6].all()


def test_a_flag_in_either_half_marks_its_cell() -> None:
    assert per_cell(np.array([False, True, False, False])).tolist() == [True, False]
