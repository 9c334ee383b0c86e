"""Rows of a plain log whose cells are looked at singly, so that a fault is named by its place."""

import math
import re
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

import numpy as np

from recordings.cells import MAX_TIME_S
from recordings.files import shown
from shared.errors import BadInput
from shared.text import clean
from shared.updates import Batch, Floats
from shared.words import is_number_key

TIME = "time_s"
SAVE = "save it as UTF-8 CSV, as in docs/recording.md"
_LINE_END = re.compile(r"\r\n|\r|\n")


def no_log(path: Path, line: int | None, what: str, do: str = SAVE) -> BadInput:
    """A plain log's fault."""
    place = shown(path) if line is None else f"{shown(path)}:{line}"
    return BadInput(place, what, do)


class Block:
    """Some rows of cells, on their way to a batch."""

    def __init__(self, path: Path, keys: Sequence[str], rows: list[list[str]], line: int) -> None:
        self._path = path
        self._keys = keys
        self._all = rows
        self._line = line
        self._rows = rows if all(rows) else [row for row in rows if row]

    @property
    def is_empty(self) -> bool:
        """Whether there are blank lines only."""
        return not self._rows

    def batch(self, before_s: float, before: str) -> tuple[Batch, str]:
        """The rows as a batch, and the last row's time as it is written.

        `before_s` and `before` are the time of the row before, as number and as text.
        """
        width = len(self._keys) + 1
        if set(map(len, self._rows)) != {width}:
            raise self._wrong_width(width)
        columns: list[Sequence[str]] = list(zip(*self._rows, strict=True))
        time_s = self._times(columns[0], before_s, before)
        numbers: dict[str, Floats] = {}
        texts: dict[str, list[tuple[int, str]]] = {}
        for key, cells in zip(self._keys, columns[1:], strict=True):
            if not any(cells):
                continue
            if is_number_key(key):
                numbers[key] = self._numbers(key, cells)
            elif pairs := _texts(cells):
                texts[key] = pairs
        return Batch(time_s, numbers, texts), columns[0][-1]

    def _times(self, cells: Sequence[str], before_s: float, before: str) -> Floats:
        time_s = self._numbers(TIME, cells)
        if np.isnan(time_s).any():
            row = int(np.flatnonzero(np.isnan(time_s))[0])
            raise self._fault(row, TIME, "empty", "give each row its time in seconds")
        for row in np.flatnonzero(np.abs(time_s) > MAX_TIME_S)[:1].tolist():
            what = f"{clean(cells[row].strip(), 60)} is beyond all times"
            raise self._fault(row, TIME, what, "give each row its time in seconds")
        late = np.diff(time_s, prepend=before_s) <= 0.0
        for row in np.flatnonzero(late).tolist():
            earlier_s = float(time_s[row - 1]) if row else before_s
            earlier = cells[row - 1] if row else before
            # Times may differ beyond a double's digits; see `plain_writer`.
            if time_s[row] == earlier_s and _is_later(cells[row], earlier):
                continue
            what = f"{cells[row].strip()} is not after {earlier.strip()}, the row before"
            raise self._fault(row, TIME, what, "sort the rows by time, one row for each time")
        return time_s

    def _numbers(self, key: str, cells: Sequence[str]) -> Floats:
        """Cells as numbers, NaN where empty."""
        try:
            column = np.array([float(cell) if cell else math.nan for cell in cells])
        except ValueError:
            raise self._no_number(key, cells) from None
        joined = "".join(cells)
        finite = int(np.count_nonzero(np.isfinite(column)))
        if "_" in joined or not joined.isascii() or finite + cells.count("") != len(cells):
            raise self._no_number(key, cells)
        return column

    def _no_number(self, key: str, cells: Sequence[str]) -> BadInput:
        row = next(row for row, cell in enumerate(cells) if cell and not _is_number(cell))
        what = f"'{clean(cells[row], 60)}' is no number"
        do = "write it as 209.75, or leave the cell empty if it is not in this update"
        return self._fault(row, key, what, do)

    def _wrong_width(self, width: int) -> BadInput:
        row = next(row for row, cells in enumerate(self._rows) if len(cells) != width)
        cells = self._rows[row]
        last = (TIME, *self._keys)[min(len(cells), width) - 1]
        what = f"{len(cells)} cells, but the header has {width} columns"
        return self._fault(row, f"after {last}", what, "give each row a cell for each column")

    def _fault(self, row: int, key: str, what: str, do: str) -> BadInput:
        """A fault in a row, counted without blank lines."""
        line = self._line
        left = row
        for cells in self._all:
            if cells and left == 0:
                break
            left -= bool(cells)
            line += 1 + sum(len(_LINE_END.findall(cell)) for cell in cells)
        return BadInput(f"{shown(self._path)}:{line}: {clean(key)}", what, do)


def _is_number(cell: str) -> bool:
    try:
        return cell.isascii() and "_" not in cell and math.isfinite(float(cell))
    except ValueError:
        return False


def _is_later(cell: str, earlier: str) -> bool:
    """Whether one decimal is greater than another by its digits."""
    return Decimal(cell.strip()) > Decimal(earlier.strip())


def _texts(cells: Sequence[str]) -> list[tuple[int, str]]:
    cleaned = {cell: clean(cell) for cell in set(cells)}
    return [(row, text) for row, cell in enumerate(cells) if cell and (text := cleaned[cell])]
