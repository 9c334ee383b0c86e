"""Roll-ups: low, mean, high and count of every numeric key in stretches of 10 s of log time."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from recordings.schema import ROLL_UP_S
from shared.updates import Batch, Floats


@dataclass(frozen=True, slots=True)
class Rolled:
    """One key in one stretch that begins at `start_s`, a multiple of 10 s."""

    start_s: float
    key: str
    low: float
    mean: float
    high: float
    count: int


@dataclass(slots=True)
class _Open:
    low: float
    total: float
    high: float
    count: int


def start_of(time_s: Floats) -> Floats:
    """Starts of the stretches in which times lie."""
    return np.floor(time_s / ROLL_UP_S) * ROLL_UP_S


class RollUps:
    """Rolls up batches as they come; the newest stretch stays open until time has left it."""

    def __init__(self) -> None:
        self._start_s = -np.inf
        self._open: dict[str, _Open] = {}

    def add(self, batch: Batch) -> list[Rolled]:
        """Take a batch in; stretches that are now complete, in order."""
        if not len(batch):
            return []
        done: list[Rolled] = []
        starts = start_of(batch.time_s)
        edges = [0, *(np.flatnonzero(np.diff(starts)) + 1).tolist(), len(batch)]
        for first, last in pairwise(edges):
            if starts[first] != self._start_s:
                done += self.finish()
                self._start_s = float(starts[first])
            for key, column in batch.numbers.items():
                self._take(key, column[first:last])
        return done

    def finish(self) -> list[Rolled]:
        """Close the open stretch."""
        done = list(self._stretches())
        self._open.clear()
        return done

    def _take(self, key: str, column: Floats) -> None:
        present = column[~np.isnan(column)]
        if not len(present):
            return
        low, high = float(present.min()), float(present.max())
        with np.errstate(over="ignore"):
            total = float(present.sum())
        held = self._open.get(key)
        if held is None:
            self._open[key] = _Open(low, total, high, len(present))
            return
        held.low = min(held.low, low)
        held.high = max(held.high, high)
        held.total += total
        held.count += len(present)

    def _stretches(self) -> Iterator[Rolled]:
        for key, held in self._open.items():
            mean = held.total / held.count
            yield Rolled(self._start_s, key, held.low, mean, held.high, held.count)
