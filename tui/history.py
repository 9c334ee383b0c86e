"""Recent samples of every key, held for the chart and reduced to columns on demand."""

import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.absent import number_key
from shared.updates import Batch, Floats
from shared.words import HostState

LEAST_GAP_S = 2.0
"""A pause shorter than this is jitter, not a gap."""
GAP_IN_SPACINGS = 8.0
"""How many usual spacings a pause lasts before it is a gap."""

USUAL_OF = 64
"""Newest updates from which the usual spacing is taken."""


OUTLINE_POINTS = 11
"""Moments in a stretch of an outline at which the host counts as heard, its ends included."""


MOST_SAMPLES = 32_768
"""Of each key: more than two hours at 4 Hz in full."""
MOST_HEARD = 4 * MOST_SAMPLES
"""Of the moments at which the host was heard: so many that in 12 h none seem a pause apart."""


class _Track:
    """Growing arrays of one key's samples, in time order."""

    def __init__(self) -> None:
        self.time_s = np.empty(1024)
        self.value = np.empty(1024)
        self.size = 0

    def append(self, time_s: Floats, value: Floats) -> None:
        needed = self.size + len(time_s)
        if needed > len(self.time_s):
            room = max(needed, 2 * len(self.time_s))
            self.time_s = np.concatenate([self.time_s[: self.size], np.empty(room - self.size)])
            self.value = np.concatenate([self.value[: self.size], np.empty(room - self.size)])
        self.time_s[self.size : needed] = time_s
        self.value[self.size : needed] = value
        self.size = needed

    def thin(self, most: int) -> None:
        """Bring it to about half of `most` samples, the newest eighth whole.

        Of the older ones the lowest and the highest stay in equal stretches of time.
        """
        older = self.size - most // 8
        times, values = self.time_s[:older], self.value[:older]
        width_s = max((times[-1] - times[0]) / (most // 4), 1e-9)
        stretch = ((times - times[0]) / width_s).astype(np.int64)
        order = np.lexsort((values, stretch))
        ends = np.flatnonzero(np.diff(stretch[order], prepend=-1, append=stretch[-1] + 1))
        # Where there was no value, it is sorted behind the highest.
        highest = order[np.flatnonzero(np.diff(np.isnan(values[order]).astype(np.int8)) > 0)]
        kept = np.unique(np.concatenate([order[ends[:-1]], order[ends[1:] - 1], highest]))
        self.time_s = np.concatenate([times[kept], self.time_s[older : self.size]])
        self.value = np.concatenate([values[kept], self.value[older : self.size]])
        self.size = len(self.time_s)

    def drop_before(self, time_s: float) -> None:
        first = int(np.searchsorted(self.time_s[: self.size], time_s))
        if first > self.size // 2:
            self.time_s = self.time_s[first : self.size].copy()
            self.value = self.value[first : self.size].copy()
            self.size -= first


@dataclass(frozen=True, slots=True)
class Coarse:
    """A key at a glance: its lowest and highest values in stretches of time, and the means.

    time_s    shape (2 n,), rising: each stretch has a point for its low and one for its high
    value     shape (2 n,)
    mean      shape (n,), of each stretch
    """

    time_s: Floats
    value: Floats
    mean: Floats


class History:
    """Samples by key. One thread appends, another reads; both may call at any time.

    `keep_s` and `MOST_SAMPLES` of a key bound memory: samples older than that before the newest
    are dropped, and of others only the lowest and highest of a stretch are kept (None keeps
    all, for replay).
    """

    def __init__(self, keep_s: float | None = 12 * 3600.0) -> None:
        self._keep_s = keep_s
        self._lock = threading.Lock()
        self._tracks: dict[str, _Track] = {}
        self._heard = _Track()
        self._first_s = np.nan
        self._last_s = np.nan
        self._coarse: Mapping[str, Coarse] = {}
        self._coarse_s: Floats = np.empty(0)

    def outline(self, coarse: Mapping[str, Coarse]) -> None:
        """What a log holds at a glance, shown where its samples have not been appended yet."""
        with self._lock:
            self._coarse = dict(coarse)
            # Points within a stretch are so near that none is a gap.
            times = [
                np.linspace(item.time_s[::2], item.time_s[1::2], OUTLINE_POINTS).ravel()
                for item in coarse.values()
            ]
            self._coarse_s = np.unique(np.concatenate(times)) if times else np.empty(0)

    @property
    def span_s(self) -> tuple[float, float]:
        """First and last time held; NaN when empty."""
        with self._lock:
            ends = self._coarse_s[[0, -1]] if len(self._coarse_s) else np.full(2, np.nan)
            return (
                float(np.fmin(self._first_s, ends[0])),
                float(np.fmax(self._last_s, ends[1])),
            )

    @property
    def detailed_to_s(self) -> float:
        """Up to when samples are held, not just an outline; NaN before the first."""
        with self._lock:
            return float(self._last_s)

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys seen so far, in order of appearance."""
        with self._lock:
            return tuple(dict.fromkeys((*self._tracks, *self._coarse)))

    def append(self, batch: Batch) -> None:
        """Add a batch's numbers."""
        if not len(batch):
            return
        with self._lock:
            if np.isnan(self._first_s):
                self._first_s = batch.time_s[0]
            self._last_s = batch.time_s[-1]
            heard = batch.time_s[_heard_rows(batch)]
            self._heard.append(heard, heard)
            for key, column, present in _said(batch):
                track = self._tracks.setdefault(key, _Track())
                track.append(batch.time_s[present], column[present])
            if self._keep_s is not None:
                for track in self._tracks.values():
                    if track.size > MOST_SAMPLES:
                        track.thin(MOST_SAMPLES)
                if self._heard.size > MOST_HEARD:
                    self._heard.thin(MOST_HEARD)
                horizon = float(self._last_s) - self._keep_s
                if horizon > self._first_s:
                    for track in self._tracks.values():
                        track.drop_before(horizon)
                    self._heard.drop_before(horizon)
                    self._first_s = horizon

    @property
    def heard_s(self) -> tuple[float, float]:
        """First and last time at which the host said anything; NaN before that."""
        with self._lock:
            times = self._all_heard()
            return (float(times[0]), float(times[-1])) if len(times) else (np.nan, np.nan)

    @property
    def late_after_s(self) -> float:
        """How long after the newest update the next one is late, by their usual spacing."""
        with self._lock:
            first = max(self._heard.size - USUAL_OF, 0)
            return _late_after_s(self._heard.time_s[first : self._heard.size])

    def gaps(self, start_s: float, end_s: float, now_s: float) -> Floats:
        """Stretches in start_s…end_s without any update, shape (k, 2): last before, first after.

        A value that is not repeated did not change; only silence in every key is a gap,
        against the usual spacing of updates in that stretch. A gap that lasts ends at `now_s`.
        """
        with self._lock:
            times = self._all_heard()
            held = len(times)
            first = max(int(np.searchsorted(times, start_s)) - 1, 0)
            last = int(np.searchsorted(times, end_s, side="right")) + 1
            times = times[first:last].copy()
            is_newest = last > held
        if not len(times):
            return np.empty((0, 2))
        if is_newest:
            times = np.append(times, max(now_s, times[-1]))
        found = np.flatnonzero(np.diff(times) > _late_after_s(times))
        return np.stack([times[found], times[found + 1]], axis=1)

    def last(self, key: str, time_s: float) -> float | None:
        """Value that held at a time; None before the first, and where there was none."""
        with self._lock:
            coarse = self._coarse.get(key)
            if coarse is not None and not time_s <= self._last_s:
                at = int(np.searchsorted(coarse.time_s, time_s, side="right"))
                return float(coarse.mean[max(at - 1, 0) // 2])
            track = self._tracks.get(key)
            if track is None:
                return None
            index = int(np.searchsorted(track.time_s[: track.size], time_s, side="right"))
            value = track.value[index - 1] if index else np.nan
            return None if np.isnan(value) else float(value)

    def samples(self, key: str, start_s: float, end_s: float) -> tuple[Floats, Floats]:
        """Times and values of a key in start_s…end_s, and one sample before, as copies.

        NaN is where the host said that there is no value any more.

        The sample before says what still holds at `start_s`, since hosts may send
        only changes.
        """
        with self._lock:
            times, values = self._all_of(key, end_s)
            first = max(int(np.searchsorted(times, start_s)) - 1, 0)
            last = int(np.searchsorted(times, end_s, side="right"))
            return times[first:last].copy(), values[first:last].copy()

    def beside(self, time_s: float, step: int) -> float | None:
        """Time of the next (step 1) or the last (−1) thing the host said, seen from a time."""
        with self._lock:
            times = self._all_heard()
            if step > 0:
                at = int(np.searchsorted(times, time_s, side="right"))
            else:
                at = int(np.searchsorted(times, time_s)) - 1
            return float(times[at]) if 0 <= at < len(times) else None

    def _all_heard(self) -> Floats:
        """When the host said anything, shape (n,); from the outline where there is no more."""
        times = self._heard.time_s[: self._heard.size]
        if not len(self._coarse_s):
            return times
        return np.concatenate([times, self._coarse_s[self._beyond(self._coarse_s) :]])

    def _all_of(self, key: str, end_s: float) -> tuple[Floats, Floats]:
        """A key's times and values; from the outline where there is no more."""
        track = self._tracks.get(key)
        size = 0 if track is None else track.size
        times = np.empty(0) if track is None else track.time_s[:size]
        values = np.empty(0) if track is None else track.value[:size]
        coarse = self._coarse.get(key)
        if coarse is None or end_s <= self._last_s:
            return times, values
        first = self._beyond(coarse.time_s)
        return (
            np.concatenate([times, coarse.time_s[first:]]),
            np.concatenate([values, coarse.value[first:]]),
        )

    def _beyond(self, time_s: Floats) -> int:
        """First index of what lies after the newest sample."""
        if np.isnan(self._last_s):
            return 0
        return int(np.searchsorted(time_s, self._last_s, side="right"))

    def columns(self, key: str, start_s: float, end_s: float, count: int) -> tuple[Floats, Floats]:
        """Lowest and highest value in each of `count` equal columns, shape (count,) each.

        Every sample lies in one column, so no spike is lost. NaN where a column has none.
        """
        times, values = self.samples(key, start_s, end_s)
        low = np.full(count, np.nan)
        high = np.full(count, np.nan)
        inside = times >= start_s
        times, values = times[inside], values[inside]
        if not len(times) or end_s <= start_s:
            return low, high
        column = np.minimum(((times - start_s) / (end_s - start_s) * count).astype(int), count - 1)
        starts = np.flatnonzero(np.diff(column, prepend=-1))
        low[column[starts]] = np.fmin.reduceat(values, starts)
        high[column[starts]] = np.fmax.reduceat(values, starts)
        return low, high


def _said(batch: Batch) -> Iterator[tuple[str, Floats, NDArray[np.bool_]]]:
    """Keys of numbers, their columns, and the rows that give one or say that there is none."""
    absent = {n: key for key in batch.texts if (n := number_key(key)) is not None}
    none = np.full(len(batch), np.nan)
    for number in dict.fromkeys((*batch.numbers, *absent)):
        column = batch.numbers.get(number, none)
        said = ~np.isnan(column)
        said[[row for row, _ in batch.texts.get(absent.get(number, ""), ())]] = True
        yield number, column, said


def _late_after_s(time_s: Floats) -> float:
    """Limit for a pause between updates at these times, shape (n,)."""
    usual_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0
    return max(LEAST_GAP_S, GAP_IN_SPACINGS * usual_s)


def _heard_rows(batch: Batch) -> NDArray[np.bool_]:
    """Rows in which the host said something, shape (n,): neither a tick nor its going."""
    heard = np.zeros(len(batch), bool)
    for column in batch.numbers.values():
        heard |= ~np.isnan(column)
    for pairs in batch.texts.values():
        for row, text in pairs:
            if text != HostState.GONE:
                heard[row] = True
    return heard
