"""The life of events: raised, counted up, returned, explained by another.

The book takes reports in the order of the log and knows no clock, so its events are
the same however the log was cut.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import msgspec

from detectors.reports import Cleared, Sighting
from shared.events import LASTED, Event
from shared.kinds import KINDS, READS_LOW
from shared.words import Gate, Kind


@dataclass(slots=True)
class EventBook:
    """Every event so far, by id, as it stands now."""

    events: list[Event] = field(default_factory=list)
    gate_at: Callable[[str, int], Gate | None] = lambda channel, row: None
    """What a channel was doing at a row of the log."""
    _newest: dict[tuple[str, Kind], int] = field(default_factory=dict)
    _since_s: dict[int, float] = field(default_factory=dict)
    """When the occurrence began that goes on, by id of its event."""
    _changed: dict[int, None] = field(default_factory=dict)

    def sight(self, report: Sighting, gate: Gate | None = None) -> Event:
        """Take a sighting: a new event, or another occurrence of one that is near enough."""
        spec = KINDS[report.kind]
        event = self.newest(report.channel, report.kind)
        if event is not None and event.end_s is None:
            return self._put(self._lasted(self._updated(event, report, event.count)))
        is_near = event is not None and report.start_s - (event.end_s or 0.0) <= spec.join_s
        is_same = event is not None and event.tied_to == report.tied_to and not report.is_apart
        if event is not None and is_near and is_same:
            self._since_s[event.id] = report.start_s
            return self._put(self._lasted(self._updated(event, report, event.count + 1)))
        event = Event(
            id=len(self.events),
            kind=report.kind,
            channel=report.channel,
            start_s=report.start_s,
            end_s=report.end_s,
            severity=READS_LOW if report.reads_low else report.severity or spec.severity,
            count=1,
            value=report.value,
            unit=report.unit,
            text=report.text,
            tied_to=report.tied_to,
            gate=gate or self.gate_at(report.channel, report.row),
            facts=dict(report.facts),
        )
        self.events.append(event)
        self._newest[report.channel, report.kind] = event.id
        self._since_s[event.id] = report.start_s
        return self._put(self._lasted(event))

    def clear(self, report: Cleared) -> Event | None:
        """End the occurrence that is going on; None when there is none.

        Of one that ended at just this time, figures and words are brought up to date.
        """
        event = self.newest(report.channel, report.kind)
        if event is None or event.end_s not in (None, report.end_s):
            return None
        ended = msgspec.structs.replace(
            event,
            end_s=report.end_s,
            value=event.value if report.value is None else report.value,
            text=event.text if report.text is None else report.text,
            facts={**event.facts, **report.facts},
        )
        return self._put(self._lasted(ended))

    def absorb(self, ids: Iterable[int], by: int | None) -> None:
        """Say that other events are explained by event `by`; None gives them back."""
        for id_ in ids:
            if self.events[id_].absorbed_by != by and id_ != by:
                self._put(msgspec.structs.replace(self.events[id_], absorbed_by=by))

    def newest(self, channel: str, kind: Kind) -> Event | None:
        """The newest event of a kind on a channel."""
        id_ = self._newest.get((channel, kind))
        return None if id_ is None else self.events[id_]

    def take_changes(self) -> list[Event]:
        """Events that changed since the last call, in the order of their first change."""
        changed = [self.events[id_] for id_ in self._changed]
        self._changed.clear()
        return changed

    def _updated(self, event: Event, report: Sighting, count: int) -> Event:
        larger = abs(report.value) >= abs(event.value)
        return msgspec.structs.replace(
            event,
            start_s=min(event.start_s, report.start_s),
            end_s=report.end_s,
            count=count,
            severity=READS_LOW if report.reads_low else report.severity or event.severity,
            value=report.value if larger else event.value,
            text=report.text if larger else event.text,
            facts={**event.facts, **report.facts},
        )

    def _lasted(self, event: Event) -> Event:
        """The event with the seconds that its occurrences lasted so far, once one has ended."""
        since_s = self._since_s.get(event.id)
        if event.end_s is None or since_s is None:
            return event
        del self._since_s[event.id]
        lasted_s = float(event.facts.get(LASTED, 0.0)) + max(event.end_s - since_s, 0.0)
        return msgspec.structs.replace(event, facts={**event.facts, LASTED: lasted_s})

    def _put(self, event: Event) -> Event:
        self.events[event.id] = event
        self._changed[event.id] = None
        return event
