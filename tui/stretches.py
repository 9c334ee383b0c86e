"""A watch over a log that is made of stretches, each judged as a log of its own.

A bundle may hold only what is around events. What happened between is not on record, and
must not look like silence, or like a jump, to a detector.
"""

from collections.abc import Mapping, Sequence

import msgspec
import numpy as np

from detectors.exposure import Ledger, Usage, joined
from detectors.watch import Watch
from shared.chain import Chain
from shared.chainstate import ChainState
from shared.events import Event, NotEvaluated
from shared.health import ChannelHealth
from shared.updates import Batch


class StretchWatch:
    """As `Watch`, with a fresh one at each of `starts` (log times, rising) after the first."""

    def __init__(self, chains: Mapping[str, Chain], starts: Sequence[float] = ()) -> None:
        self._chains = chains
        self._starts = list(starts[1:])
        self._ledger = Ledger()
        self._used: list[Usage] = []
        self._watch = Watch(chains, [self._ledger])
        self._done: list[Event] = []
        self._first_id = 0

    @property
    def events(self) -> list[Event]:
        """Events of every stretch, in order of id; ids go on from one stretch to the next."""
        return [*self._done, *map(self._numbered, self._watch.events)]

    @property
    def now_s(self) -> float:
        return self._watch.now_s

    def feed(self, batch: Batch) -> list[Event]:
        """Take a batch in; the events that changed."""
        changed: list[Event] = []
        while self._starts and len(batch) and batch.time_s[-1] >= self._starts[0]:
            at = int(np.searchsorted(batch.time_s, self._starts.pop(0)))
            changed += self._feed(batch.cut(0, at))
            changed += self.finish()
            self._next()
            batch = batch.cut(at, len(batch))
        return changed + self._feed(batch)

    def finish(self) -> list[Event]:
        """End the stretch; the events that changed."""
        return [self._numbered(event) for event in self._watch.finish()]

    def assumed(self) -> list[str]:
        return self._watch.assumed()

    def health(self) -> tuple[ChannelHealth, ...]:
        return self._watch.health()

    def not_evaluated(self) -> tuple[NotEvaluated, ...]:
        return self._watch.not_evaluated()

    def chain_states(self) -> tuple[ChainState, ...]:
        return self._watch.chain_states()

    def usage(self) -> Usage:
        """Exposure and faults of every stretch."""
        return joined([*self._used, self._ledger.usage(self._watch.events)])

    def _feed(self, batch: Batch) -> list[Event]:
        return [self._numbered(event) for event in self._watch.feed(batch)] if len(batch) else []

    def _next(self) -> None:
        self._done = self.events
        self._first_id = max((event.id for event in self._done), default=-1) + 1
        self._used.append(self._ledger.usage(self._watch.events))
        self._ledger = Ledger()
        self._watch = Watch(self._chains, [self._ledger])

    def _numbered(self, event: Event) -> Event:
        if not self._first_id:
            return event
        absorbed = event.absorbed_by
        return msgspec.structs.replace(
            event,
            id=event.id + self._first_id,
            absorbed_by=None if absorbed is None else absorbed + self._first_id,
        )
