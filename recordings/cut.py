"""Less of a log: a span of it, or stretches around some moments."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from recordings.logs import Log
from recordings.losses import losses_of, restarts
from recordings.samples import count_samples
from shared.absent import hold
from shared.chain import Chain
from shared.notes import Note
from shared.updates import Batch, Update, Value, batch_of, updates_of


class CutLog:
    """A log between two times, as a `Log`."""

    def __init__(self, log: Log, start_s: float, end_s: float) -> None:
        self._log = log
        self._start_s = start_s
        self._end_s = end_s
        self._survey: tuple[float, int] | None = None
        self.path: Path = log.path
        self.keys = log.keys
        self.channels = log.channels
        self.unknown = log.unknown
        self.chains: Mapping[str, Chain] = log.chains
        self.meta: Mapping[str, Any] = log.meta
        self.notes: tuple[Note, ...] = tuple(
            note for note in log.notes if start_s <= note.time_s <= end_s
        )

    @property
    def duration_s(self) -> float:
        return self._surveyed()[0]

    @property
    def samples(self) -> int:
        return self._surveyed()[1]

    def batches(self) -> Iterator[Batch]:
        """What lies in the span; begun by an update with the values that held before it."""
        held: dict[str, Value] = {}
        first_s: float | None = None
        last_s = 0.0
        samples = 0
        for batch in self._log.batches():
            if batch.time_s[0] > self._end_s:
                break
            low = int(np.searchsorted(batch.time_s, self._start_s))
            high = int(np.searchsorted(batch.time_s, self._end_s, "right"))
            if first_s is None:
                for update in updates_of(batch.cut(0, low)):
                    hold(held, update.values)
            if high <= low:
                continue
            part = batch.cut(low, high)
            if first_s is None and held:
                first, *rest = updates_of(part)
                hold(held, first.values)
                part = batch_of([Update(first.time_s, held), *rest])
            first_s = float(part.time_s[0]) if first_s is None else first_s
            last_s = float(part.time_s[-1])
            samples += count_samples(part)
            yield part
        self._survey = (last_s - (first_s or 0.0), samples)

    def close(self) -> None:
        self._log.close()

    def _surveyed(self) -> tuple[float, int]:
        if self._survey is None:
            for _ in self.batches():
                pass
        assert self._survey is not None
        return self._survey


def around(batches: Iterable[Batch], stretches: Sequence[tuple[float, float]]) -> Iterator[Batch]:
    """Only the updates inside the stretches (in order, apart).

    The first update of each stretch also has the values that held before it.
    """
    held: dict[str, Value] = {}
    was_in = -1
    for batch in batches:
        rows: list[Update] = []
        numbers = np.searchsorted([end_s for _, end_s in stretches], batch.time_s)
        for number, update in zip(numbers.tolist(), updates_of(batch), strict=True):
            hold(held, update.values)
            if number < len(stretches) and update.time_s >= stretches[number][0]:
                rows.append(update if number == was_in else Update(update.time_s, dict(held)))
                was_in = number
        if rows:
            yield batch_of(rows)


def starts_of(meta: Mapping[str, Any]) -> tuple[float, ...]:
    """Log times at which the stretches of a recording begin that was cut, or repaired with
    long gaps in it; empty for a whole one."""
    bundle = meta.get("bundle") or meta.get("cut")
    said = bundle.get("starts", ()) if isinstance(bundle, dict) else ()
    if not isinstance(said, list) or not all(type(start) in (int, float) for start in said):
        said = []
    after_gaps = restarts(losses_of(meta))
    if after_gaps and not said:
        said = [-np.inf]
    return tuple(sorted(map(float, [*said, *after_gaps])))


def joined(stretches: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Stretches in order, those that touch made one."""
    found: list[tuple[float, float]] = []
    for start_s, end_s in sorted(stretches):
        if found and start_s <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end_s))
        else:
            found.append((start_s, end_s))
    return found
