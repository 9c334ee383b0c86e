"""Samples to braille dots: lowest and highest value of every dot column, gaps left blank.

A cell has two dot columns and four dot rows. Dot columns are counted from time zero of
the log, not from the window's edge, so that a sample stays in its column while the
window moves. Only NumPy is used.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.updates import Floats

Flags = NDArray[np.bool_]

ROW_DOTS = 4
COLUMN_DOTS = 2
BLANK = ord(" ")
_BRAILLE = 0x2800
_BITS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], np.uint32)


@dataclass(frozen=True, slots=True)
class Grid:
    """Dot columns `first`…`first + count − 1`, each `dot_s` long."""

    first: int
    count: int
    dot_s: float

    @property
    def start_s(self) -> float:
        return self.first * self.dot_s

    @property
    def end_s(self) -> float:
        return (self.first + self.count) * self.dot_s

    def dot_of(self, time_s: float) -> int:
        """Dot column of a time, counted from the window's left edge; may lie outside."""
        return int(np.floor(time_s / self.dot_s)) - self.first

    def cell_of(self, time_s: float) -> int:
        return self.dot_of(time_s) // COLUMN_DOTS


@dataclass(frozen=True, slots=True)
class Columns:
    """Lowest and highest value of each dot column, shape (count,); NaN where nothing holds."""

    low: Floats
    high: Floats


def missing(grid: Grid, gaps: Floats, since_s: float, until_s: float) -> Flags:
    """Dot columns that hold no data, shape (count,).

    `gaps` has shape (k, 2): from the last update before a gap to the first after it.
    """
    left = (grid.first + np.arange(grid.count)) * grid.dot_s
    right = left + grid.dot_s
    blank = (right <= since_s) | (left > until_s)
    for start_s, end_s in gaps:
        blank |= (left > start_s) & (right <= end_s)
    return np.asarray(blank, np.bool_)


def columns(grid: Grid, time_s: Floats, value: Floats, blank: Flags) -> Columns:
    """Extremes per dot column. A value holds until the next one, NaN as none; lines join across
    columns.

    `time_s` is not falling; samples before the window say what holds at its left edge.
    No sample is ever left out, so a spike of one sample is seen at any zoom.
    """
    low = np.full(grid.count, np.nan)
    high = np.full(grid.count, np.nan)
    last = np.full(grid.count, np.nan)
    held = np.full(grid.count, -1)
    dot = np.floor(time_s / grid.dot_s).astype(np.int64) - grid.first
    before = int(np.searchsorted(dot, 0))
    stop = int(np.searchsorted(dot, grid.count))
    carried = value[before - 1] if before else np.nan
    inside, values = dot[before:stop], value[before:stop]
    if len(inside):
        starts = np.flatnonzero(np.diff(inside, prepend=inside[0] - 1))
        at = inside[starts]
        low[at] = np.fmin.reduceat(values, starts)
        high[at] = np.fmax.reduceat(values, starts)
        last[at] = values[np.append(starts[1:], len(values)) - 1]
        held[at] = at
    held = np.maximum.accumulate(held)
    last = np.where(held >= 0, last[held], carried)
    low = np.where(np.isnan(low), last, low)
    high = np.where(np.isnan(high), last, high)
    previous = np.concatenate([[np.nan], np.where(blank[:-1], np.nan, last[:-1])])
    low, high = np.fmin(low, previous), np.fmax(high, previous)
    low[blank] = high[blank] = np.nan
    return Columns(low, high)


def dots(drawn: Columns, bottom: float, top: float, rows: int) -> Flags:
    """Dots of a line in `rows` cell rows, shape (4·rows, count). Values outside are clamped."""
    height = rows * ROW_DOTS
    upper = _dot_row(drawn.high, bottom, top, height)
    lower = _dot_row(drawn.low, bottom, top, height)
    row = np.arange(height)[:, None]
    return np.asarray((row >= upper) & (row <= lower), np.bool_)


def dotted(line: Flags, first: int) -> Flags:
    """Every third dot of a line's level parts left out; its steps stay whole."""
    level = line.sum(axis=0) <= 1
    skipped = (first + np.arange(line.shape[1])) % 3 == 2
    return np.asarray(line & ~(level & skipped), np.bool_)


def cells(line: Flags) -> NDArray[np.uint32]:
    """Braille code points, shape (rows, columns); a space where no dot is set."""
    rows, count = line.shape[0] // ROW_DOTS, line.shape[1] // COLUMN_DOTS
    blocks = line.reshape(rows, ROW_DOTS, count, COLUMN_DOTS)
    bits = (blocks * _BITS[None, :, None, :]).sum(axis=(1, 3)).astype(np.uint32)
    return np.where(bits > 0, _BRAILLE + bits, BLANK).astype(np.uint32)


def ascii_cells(line: Flags) -> NDArray[np.uint32]:
    """The same in ASCII: `'` high, `-` middle, `.` low, `:` both, `|` the whole cell."""
    rows, count = line.shape[0] // ROW_DOTS, line.shape[1] // COLUMN_DOTS
    filled = line.reshape(rows, ROW_DOTS, count, COLUMN_DOTS).any(axis=3)
    weights = np.array([1, 2, 4, 8])[None, :, None]
    return np.asarray(_ASCII_SHAPES[(filled * weights).sum(axis=1)], np.uint32)


def per_cell(flags: Flags) -> Flags:
    """Whether any dot column of each cell is set, shape (count / 2,)."""
    return np.asarray(flags.reshape(-1, COLUMN_DOTS).any(axis=1), np.bool_)


def _dot_row(value: Floats, bottom: float, top: float, height: int) -> NDArray[np.int64]:
    part = (top - value) / (top - bottom) * (height - 1)
    part = np.where(np.isnan(part), -1.0, np.clip(np.rint(part), 0, height - 1))
    return part.astype(np.int64)


def _shape(bits: int) -> int:
    count = bits.bit_count()
    if count >= 3:
        return ord("|")
    if bits in (1, 3):
        return ord("'")
    if bits in (8, 12):
        return ord(".")
    if bits in (2, 4, 6):
        return ord("-")
    return ord(":") if bits else BLANK


_ASCII_SHAPES = np.array([_shape(bits) for bits in range(16)], np.uint32)
