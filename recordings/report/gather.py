"""One pass over a log for all that a report draws: the whole run, and stretches of it in full."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.updates import Batch, Floats
from shared.words import quantity_of

COLUMNS = 600
"""Columns of the whole run; each keeps its lowest and highest value, so no spike is lost."""
LEAST_GAP_S = 2.0
"""A pause shorter than this is jitter, not a gap."""
GAP_IN_SPACINGS = 8.0
MOST_POINTS = 4000
"""Points of one line; beyond this, each column of the window keeps its lowest and highest."""

OVERVIEW = frozenset({"temperature_c", "target_c"})


@dataclass(frozen=True, slots=True)
class ReportLine:
    """Values over time, shapes (n,). NaN stands where the log has a gap."""

    time_s: Floats
    value: Floats

    @property
    def known(self) -> Floats:
        """Values without the gaps."""
        return self.value[~np.isnan(self.value)]


@dataclass(slots=True)
class ReportWindow:
    """A stretch of the log in full: lines by key, each with the value that held before it."""

    start_s: float
    end_s: float
    lines: dict[str, ReportLine] = field(default_factory=dict)
    before: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Overview:
    """The whole run in columns: `time_s` their middles; lowest, highest and newest by key."""

    time_s: Floats
    low: dict[str, Floats]
    high: dict[str, Floats]
    is_gap: NDArray[np.bool_]
    """Columns in which the log says nothing at all."""


def gather(
    batches: Iterable[Batch], first_s: float, last_s: float, windows: Sequence[ReportWindow]
) -> Overview:
    """Fill `windows`, and give the whole run between `first_s` and `last_s`."""
    whole = _Whole(first_s, max(last_s, first_s + 1.0))
    parts = [_Part(window) for window in windows]
    for batch in batches:
        whole.add(batch)
        for part in parts:
            part.add(batch)
    for part in parts:
        part.finish()
    return whole.overview()


class _Whole:
    def __init__(self, first_s: float, last_s: float) -> None:
        self._edges = np.linspace(first_s, last_s, COLUMNS + 1)
        self._low: dict[str, Floats] = {}
        self._high: dict[str, Floats] = {}
        self._heard = np.zeros(COLUMNS, dtype=bool)
        self._before_s: float | None = None

    def add(self, batch: Batch) -> None:
        column = np.searchsorted(self._edges, batch.time_s, "right") - 1
        column = np.clip(column, 0, COLUMNS - 1)
        self._hear(batch.time_s[_says_something(batch)])
        for key, values in batch.numbers.items():
            if quantity_of(key) not in OVERVIEW:
                continue
            if key not in self._low:
                self._low[key] = np.full(COLUMNS, np.nan)
                self._high[key] = np.full(COLUMNS, np.nan)
            there = ~np.isnan(values)
            np.fmin.at(self._low[key], column[there], values[there])
            np.fmax.at(self._high[key], column[there], values[there])

    def _hear(self, time_s: Floats) -> None:
        """Mark the columns between updates that are no gap apart."""
        if not len(time_s):
            return
        begin = time_s[0] if self._before_s is None else self._before_s
        starts = np.concatenate([[begin], time_s[:-1]])
        self._before_s = float(time_s[-1])
        apart = time_s - starts
        near = apart <= np.maximum(5.0, 2 * GAP_IN_SPACINGS * np.median(apart))
        first = np.searchsorted(self._edges, starts[near], "right") - 1
        last = np.searchsorted(self._edges, time_s[near], "right")
        marks = np.zeros(COLUMNS + 2)
        np.add.at(marks, np.clip(first, 0, COLUMNS), 1.0)
        np.add.at(marks, np.clip(last, 0, COLUMNS + 1), -1.0)
        self._heard |= np.cumsum(marks)[:COLUMNS] > 0.0

    def overview(self) -> Overview:
        middles = (self._edges[:-1] + self._edges[1:]) / 2
        return Overview(middles, self._low, self._high, ~self._heard)


class _Part:
    """One window on its way."""

    def __init__(self, window: ReportWindow) -> None:
        self._window = window
        self._times: list[Floats] = []
        self._found: dict[str, list[tuple[Floats, Floats]]] = {}

    def add(self, batch: Batch) -> None:
        window = self._window
        if not len(batch) or batch.time_s[0] > window.end_s:
            return
        low = int(np.searchsorted(batch.time_s, window.start_s))
        high = int(np.searchsorted(batch.time_s, window.end_s, "right"))
        self._times.append(batch.time_s[low:high][_says_something(batch)[low:high]])
        for key, values in batch.numbers.items():
            earlier = np.flatnonzero(~np.isnan(values[:low]))
            if len(earlier):
                window.before[key] = float(values[earlier[-1]])
            there = low + np.flatnonzero(~np.isnan(values[low:high]))
            if len(there):
                self._found.setdefault(key, []).append((batch.time_s[there], values[there]))

    def finish(self) -> None:
        times = np.concatenate([np.empty(0), *self._times])
        gaps = _gaps(times)
        for key, pieces in self._found.items():
            time_s = np.concatenate([piece[0] for piece in pieces])
            value = np.concatenate([piece[1] for piece in pieces])
            time_s, value = thinned(time_s, value)
            self._window.lines[key] = _held(time_s, value, gaps, times[-1])


def _says_something(batch: Batch) -> NDArray[np.bool_]:
    """Rows with a number, shape (n,); others only say that time passed, or that the link did."""
    rows = np.zeros(len(batch), dtype=bool)
    for values in batch.numbers.values():
        rows |= ~np.isnan(values)
    return rows


def _gaps(time_s: Floats) -> Floats:
    """Times after which the log says nothing for a while."""
    apart = np.diff(time_s)
    if not len(apart):
        return np.empty(0)
    longest = max(LEAST_GAP_S, GAP_IN_SPACINGS * float(np.median(apart)))
    return time_s[:-1][apart > longest]


def _held(time_s: Floats, value: Floats, gaps: Floats, last_s: float) -> ReportLine:
    """A line whose values hold until the next, to the gap, or to the last update."""
    before = np.searchsorted(time_s, gaps, "right")
    gaps, before = gaps[before > 0], before[before > 0]
    at = np.repeat(before, 2)
    held = np.column_stack([value[before - 1], np.full(len(gaps), np.nan)]).ravel()
    time_s = np.insert(time_s, at, np.repeat(gaps, 2))
    value = np.insert(value, at, held)
    if time_s[-1] < last_s:
        time_s, value = np.append(time_s, last_s), np.append(value, value[-1])
    return ReportLine(time_s, value)


def thinned(time_s: Floats, value: Floats, most: int = MOST_POINTS) -> tuple[Floats, Floats]:
    """At most about `most` points: the lowest and the highest of each run, in their order."""
    if len(value) <= most:
        return time_s, value
    run = -(-len(value) // (most // 2))
    padded = np.pad(value, (0, -len(value) % run), mode="edge").reshape(-1, run)
    starts = np.arange(len(padded)) * run
    both = np.concatenate([starts + padded.argmin(axis=1), starts + padded.argmax(axis=1)])
    picked = np.unique(np.minimum(both, len(value) - 1))
    return time_s[picked], value[picked]
