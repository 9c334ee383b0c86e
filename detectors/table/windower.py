"""Rows gathered into windows, whether they come singly or in frames."""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from operator import attrgetter

import numpy as np

from detectors.table.frame import Frame, Row
from detectors.table.windows import CHANNEL_COLUMNS, ROWS, Windows, windows_of
from shared.updates import Floats

_GETTERS: dict[str, Callable[[object], float]] = {
    name: attrgetter(name) for name in CHANNEL_COLUMNS
}


@dataclass(slots=True)
class _Buffer:
    """Rows of the window that is still open: columns by name, and rows to be added to them."""

    columns: dict[str, list[float]] = field(default_factory=dict)
    rows: int = 0
    waiting: list[Row] = field(default_factory=list)

    def add(self, row: Row) -> int:
        """Add a row; how many there are now."""
        # The values in a row's context change with the next row.
        self.waiting.append(Row(row.row, row.time_s, row.channels, row.context.copy()))
        return self.rows + len(self.waiting)

    def whole(self) -> dict[str, list[float]]:
        """All rows as columns; NaN where a channel or key was not there yet."""
        waiting = self.waiting
        if not waiting:
            return self.columns
        self._extend("time_s", [row.time_s for row in waiting], len(waiting))
        # What is there once stays.
        for name in waiting[-1].channels:
            samples = [row.channels[name] for row in waiting if name in row.channels]
            for column, get in _GETTERS.items():
                self._extend(f"{name}/{column}", list(map(get, samples)), len(waiting))
        for key in waiting[-1].context:
            values = [row.context[key] for row in waiting if key in row.context]
            self._extend("/" + key, values, len(waiting))
        self.rows += len(waiting)
        self.waiting = []
        return self.columns

    def _extend(self, name: str, values: list[float], rows: int) -> None:
        """Add the values of the last of so many rows."""
        column = self.columns.get(name)
        if column is None:
            column = self.columns[name] = [math.nan] * self.rows
        column += [math.nan] * (rows - len(values))
        column += values


class Windower:
    """Collects rows and gives the windows they complete."""

    def __init__(self) -> None:
        self._open = _Buffer()
        self._closed = 0
        self._names: list[str] = []
        """Channels in the order in which their windows came: what is carried of them keeps it."""

    def add_row(self, row: Row) -> Windows | None:
        """Add one row; the window it completes, if it does."""
        if self._open.add(row) < ROWS:
            return None
        columns = self._open.whole()
        self._open = _Buffer()
        arrays = {name: np.array(values, dtype=np.float64) for name, values in columns.items()}
        self._closed += 1
        return self._windows(arrays, self._closed - 1, 1)

    def add_frame(self, frame: Frame) -> Windows:
        """Add a frame; the windows that its rows complete (perhaps none)."""
        arrays = dict(_frame_columns(frame))
        held = self._open.whole()
        rows = self._open.rows
        total = rows + len(frame)
        for name in held.keys() | arrays.keys() if rows else ():
            before = np.array(held.get(name, [np.nan] * rows), dtype=np.float64)
            after = arrays.get(name)
            arrays[name] = np.concatenate(
                (before, np.full(len(frame), np.nan) if after is None else after)
            )
        count = total // ROWS
        whole = count * ROWS
        first, self._closed = self._closed, self._closed + count
        ended = {name: column[:whole] for name, column in arrays.items()}
        closed = self._windows(ended, first, count)
        self._open = _Buffer(
            {name: column[whole:].tolist() for name, column in arrays.items()}, total - whole
        )
        return closed

    def _windows(self, arrays: Mapping[str, Floats], first: int, count: int) -> Windows:
        told = {name.removesuffix("/signal") for name in arrays if name.endswith("/signal")}
        self._names += sorted(told.difference(self._names))
        return windows_of(arrays, self._names, first, count)


def _frame_columns(frame: Frame) -> Iterator[tuple[str, Floats]]:
    yield "time_s", frame.time_s
    for name, columns in frame.channels.items():
        for column in CHANNEL_COLUMNS:
            yield f"{name}/{column}", getattr(columns, column)
    for key, values in frame.context.items():
        yield "/" + key, values
