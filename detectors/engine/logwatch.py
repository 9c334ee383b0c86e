"""The watch over a log, with what the log was exposed to: live, in a replay, and in `judge`.

A log may be made of stretches, each watched as a log of its own: a bundle may hold only what
is around events. What happened between is not on record, and must not look like silence, or
like a jump, to a detector.
"""

import math
from collections.abc import Mapping, Sequence

import msgspec
import numpy as np

from detectors.engine.watch import Watch
from detectors.judged import Found
from detectors.trials.exposure import Ledger, Usage, joined
from shared.chain import Chain
from shared.events import Event
from shared.updates import Batch


class LogWatch:
    """A `Watch`, with a fresh one at each of `starts` (log times, rising) after the first."""

    def __init__(self, chains: Mapping[str, Chain], starts: Sequence[float] = ()) -> None:
        self._chains = chains
        self._starts = list(starts[1:])
        self._used: list[Usage] = []
        self._done: list[Event] = []
        self._first_id = 0
        self._first_s = math.nan
        self._begin()

    @property
    def events(self) -> list[Event]:
        """Events of every stretch, in order of id; ids go on from one stretch to the next."""
        return [*self._done, *map(self._numbered, self._watch.events)]

    @property
    def now_s(self) -> float:
        """Time of the last update; NaN before the first."""
        return self._watch.now_s

    @property
    def first_s(self) -> float:
        """Time of the first update; NaN before it."""
        return self._first_s

    @property
    def span_s(self) -> float:
        """Time from the first update to the last; 0 before the first."""
        return 0.0 if math.isnan(self._first_s) else self.now_s - self._first_s

    def feed(self, batch: Batch) -> list[Event]:
        """Take a batch in; the events that changed."""
        if not len(batch):
            return []
        if math.isnan(self._first_s):
            self._first_s = float(batch.time_s[0])
        changed: list[Event] = []
        while self._starts and batch.time_s[-1] >= self._starts[0]:
            at = int(np.searchsorted(batch.time_s, self._starts.pop(0)))
            changed += self._feed(batch.cut(0, at))
            changed += self.finish()
            self._next()
            batch = batch.cut(at, len(batch))
        return changed + self._feed(batch)

    def finish(self) -> list[Event]:
        """End the stretch; the events that changed."""
        return [self._numbered(event) for event in self._watch.finish()]

    def found(self) -> Found:
        """What there is to judge up to now."""
        return Found(
            events=tuple(self.events),
            now_s=self.now_s,
            span_s=self.span_s,
            healths=self._watch.health(),
            not_evaluated=self._watch.not_evaluated(),
            chains=self._watch.chain_states(),
        )

    def usage(self) -> Usage:
        """Exposure and faults of every stretch."""
        return joined([*self._used, self._ledger.usage(self._watch.events)])

    def _begin(self) -> None:
        self._ledger = Ledger()
        self._watch = Watch(self._chains, [self._ledger])

    def _feed(self, batch: Batch) -> list[Event]:
        return [self._numbered(event) for event in self._watch.feed(batch)] if len(batch) else []

    def _next(self) -> None:
        self._done = self.events
        self._first_id = max((event.id for event in self._done), default=-1) + 1
        self._used.append(self._ledger.usage(self._watch.events))
        self._begin()

    def _numbered(self, event: Event) -> Event:
        if not self._first_id:
            return event
        absorbed = event.absorbed_by
        return msgspec.structs.replace(
            event,
            id=event.id + self._first_id,
            absorbed_by=None if absorbed is None else absorbed + self._first_id,
        )
