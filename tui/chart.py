"""The chart on a board: temperature and target, power below, events on the time axis."""

from collections.abc import Container

import numpy as np
from numpy.typing import NDArray

from shared.events import Event
from shared.health import Trust
from shared.notes import Note
from shared.when import hms
from shared.words import EVERY_CHANNEL
from tui import raster
from tui.board import BAND, Board, Ink, Rect
from tui.glyphs import SEVERITY_INK, SEVERITY_LETTER, TRUST_INK, Glyphs
from tui.picture import Picture
from tui.raster import Flags, Grid
from tui.ribbon import LEVELS, NO_DATA, Levels, worst_per_cell

LABEL_CELLS = 6
TICK_CELLS = 12
"""Least distance between two times on the axis, in cells."""
_HOUR = 3600
TICK_STEPS_S = (
    *(1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800),
    *(_HOUR, 2 * _HOUR, 3 * _HOUR, 6 * _HOUR, 12 * _HOUR, 24 * _HOUR),
)


def paint_temperature(
    board: Board, area: Rect, picture: Picture, glyphs: Glyphs, dim_after_s: float | None
) -> None:
    """Reading over target, the axis' numbers left of the area, clipped readings marked.

    Readings later than `dim_after_s` (the future of a replay) are drawn dim.
    """
    axis = picture.axis
    reading = raster.dots(picture.reading, axis.bottom, axis.top, area.height)
    line = raster.dots(picture.target, axis.bottom, axis.top, area.height)
    target = raster.dotted(line, picture.grid.first)
    _put(board, area, target & ~reading, Ink.TARGET)
    _put(board, area, reading | target, Ink.READING, where=reading)
    if dim_after_s is not None:
        first = min(max(picture.grid.cell_of(dim_after_s) + 1, 0), area.width)
        board.inks[area.y : area.y + area.height, area.x + first : area.x + area.width] = Ink.DIM
    _axis_labels(board, area, picture)
    over = np.nan_to_num(picture.reading.high, nan=axis.top) > axis.top
    under = np.nan_to_num(picture.reading.low, nan=axis.bottom) < axis.bottom
    _clip_marks(board, area, area.y, over, picture.reading.high, glyphs.above)
    _clip_marks(board, area, area.y + area.height - 1, under, picture.reading.low, glyphs.below)


def paint_power(board: Board, area: Rect, picture: Picture) -> None:
    """Power from 0 to 1, filled from below."""
    if np.isnan(picture.power.high).all():
        board.text(area.x - LABEL_CELLS - 1, area.y, " no power signal ", Ink.DIM, area.width)
        return
    floor = np.where(np.isnan(picture.power.low), np.nan, 0.0)
    bars = raster.dots(raster.Columns(floor, picture.power.high), 0.0, 1.0, area.height)
    _put(board, area, bars, Ink.POWER)
    _label(board, area, area.y, "100 %")
    if area.height > 1:
        _label(board, area, area.y + area.height - 1, "0 %")


def paint_marks(
    board: Board,
    area: Rect,
    grid: Grid,
    events: list[Event],
    notes: tuple[Note, ...],
    channel: str,
    until_s: float,
    glyphs: Glyphs,
    shelved: Container[int] = (),
) -> None:
    """One row: a letter where each event begins, a line while it lasts, a mark for a note.

    Events of other channels, and `shelved` ones, are dim; the worst is written last, so
    that it stays.
    """
    for note in notes:
        _mark(board, area, grid.cell_of(note.time_s), glyphs.note, Ink.NOTE)
    own = (channel, EVERY_CHANNEL)
    near = [
        event
        for event in events
        if event.start_s < grid.end_s
        and (until_s if event.end_s is None else event.end_s) >= grid.start_s
    ]
    loud = {event.id for event in near if event.channel in own and event.id not in shelved}
    near.sort(key=lambda event: (event.id in loud, event.severity.rank))
    for event in near:
        ink = SEVERITY_INK[event.severity] if event.id in loud else Ink.DIM
        end_s = until_s if event.end_s is None else event.end_s
        first, last = grid.cell_of(event.start_s), grid.cell_of(end_s)
        for cell in range(max(first + 1, 0), min(last, area.width - 1) + 1):
            if board.codes[area.y, area.x + cell] == raster.BLANK:
                _mark(board, area, cell, glyphs.lasting, ink)
    for event in near:
        ink = SEVERITY_INK[event.severity] if event.id in loud else Ink.DIM
        cell = grid.cell_of(event.start_s)
        _mark(board, area, cell, SEVERITY_LETTER[event.severity], ink)


def paint_times(board: Board, area: Rect, grid: Grid) -> None:
    """Times at whole steps, each beginning at its cell."""
    cell_s = grid.dot_s * raster.COLUMN_DOTS
    step = next((s for s in TICK_STEPS_S if s >= TICK_CELLS * cell_s), TICK_STEPS_S[-1])
    at = int(np.ceil(grid.start_s / step)) * step
    while at < grid.end_s:
        cell = grid.cell_of(at)
        text = hms(at)
        if at >= 0 and cell + len(text) <= area.width:
            board.text(area.x + cell, area.y, text, Ink.DIM)
        at += step


def paint_cursor(board: Board, area: Rect, grid: Grid, time_s: float, glyphs: Glyphs) -> None:
    """A line at the cursor's time, behind what is drawn."""
    cell = grid.cell_of(time_s)
    if not 0 <= cell < area.width:
        return
    column = slice(area.y, area.y + area.height)
    blank = board.codes[column, area.x + cell] == raster.BLANK
    board.codes[column, area.x + cell][blank] = ord(glyphs.cursor)
    board.inks[column, area.x + cell][blank] = Ink.CURSOR


def paint_bands(board: Board, area: Rect, level: Levels | None) -> None:
    """A ground of its own where the reading was false."""
    if level is None:
        return
    false = np.flatnonzero(worst_per_cell(level) == LEVELS.index(Trust.FALSE)) + area.x
    board.inks[area.y : area.y + area.height, false] |= BAND


def paint_ribbon(board: Board, area: Rect, level: Levels, glyphs: Glyphs) -> None:
    """One row of health cells."""
    worst = worst_per_cell(level)
    for rank, trust in enumerate(LEVELS):
        here = np.flatnonzero(worst == rank) + area.x
        board.codes[area.y, here] = ord(glyphs.trust(trust))
        board.inks[area.y, here] = TRUST_INK[trust]
    here = np.flatnonzero(worst == NO_DATA) + area.x
    board.codes[area.y, here] = raster.BLANK


def _put(board: Board, area: Rect, line: Flags, ink: Ink, where: Flags | None = None) -> None:
    """Draw dots; cells without any (of `where`) are left as they are."""
    make = raster.ascii_cells if board.ascii_only else raster.cells
    codes: NDArray[np.uint32] = make(line)
    owned = codes if where is None else make(where)
    rows = slice(area.y, area.y + area.height)
    place = slice(area.x, area.x + area.width)
    drawn = owned != raster.BLANK
    board.codes[rows, place][drawn] = codes[drawn]
    board.inks[rows, place][drawn] = ink


def _axis_labels(board: Board, area: Rect, picture: Picture) -> None:
    axis = picture.axis
    dots = area.height * raster.ROW_DOTS - 1
    taken = -2
    for value in reversed(axis.ticks):
        row = round((axis.top - value) / (axis.top - axis.bottom) * dots) // raster.ROW_DOTS
        if row - taken >= 2 or row == area.height - 1 > taken:
            _label(board, area, area.y + row, f"{value:.{0 if axis.step >= 1 else 1}f}")
            taken = row


def _label(board: Board, area: Rect, y: int, text: str) -> None:
    board.text(area.x - 1 - len(text), y, text, Ink.DIM)


def _clip_marks(
    board: Board, area: Rect, y: int, outside: Flags, edge: NDArray[np.float64], glyph: str
) -> None:
    """Arrows at the edge where the reading leaves the axis, with the farthest value beside."""
    cells = np.flatnonzero(raster.per_cell(outside))
    if not len(cells):
        return
    board.codes[y, area.x + cells] = ord(glyph)
    board.inks[y, area.x + cells] = Ink.ALARM
    sign = 1.0 if glyph in "▲^" else -1.0
    free_from = 0
    for group in np.split(cells, np.flatnonzero(np.diff(cells) > LABEL_CELLS + 1) + 1):
        first, last = int(group[0]), int(group[-1])
        dots = slice(first * raster.COLUMN_DOTS, (last + 1) * raster.COLUMN_DOTS)
        values = sign * edge[dots]
        text = f"{sign * float(np.nanmax(values)):.0f}"
        x = first - len(text)
        if x < free_from:
            x = last + 1
        if x + len(text) > area.width:
            # No room on either side: over the group's own arrows, or before the edge.
            x = max(min(first + 1, area.width - len(text)), free_from)
        if x + len(text) <= area.width:
            board.text(area.x + x, y, text, Ink.ALARM)
        free_from = max(last + 1, x + len(text)) + 1


def _mark(board: Board, area: Rect, cell: int, glyph: str, ink: int) -> None:
    if 0 <= cell < area.width:
        board.text(area.x + cell, area.y, glyph, ink)
