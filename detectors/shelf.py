"""What persons did with events, and what stands of it: acknowledged, shelved, back again.

To acknowledge is to have seen one event. To shelve is to set aside a kind on a channel for
a time, or until the event has returned: it is found, recorded and listed all the same, but
leads no headline; when the time is over, what is still going on is back (alarm shelving of
ISA-18.2 and IEC 62682; from memory). An event has returned when it has ended and its kind's
joining time has passed without another occurrence, as the book has it.

What was done never touches the events themselves: a recording that is judged again gives
the same ones.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from shared.events import Event
from shared.kinds import KINDS
from shared.words import Act, Kind, Severity

LONGEST_SHELF_S = 24 * 3600.0
"""Nothing is set aside for longer in one go: what is forgotten on a shelf is no longer watched."""


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that a person did at `time_s` (log time) with the event that began at `start_s`."""

    act: Act
    time_s: float
    channel: str
    kind: Kind
    start_s: float
    until_s: float | None = None
    """Of a shelving: its end in log time; None is until the event has returned."""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Shelf:
    """A kind on a channel set aside; `until_s` None: until the event has returned."""

    from_s: float
    until_s: float | None
    reason: str


@dataclass(frozen=True, slots=True)
class Stand:
    """Where events stand at a moment, as far as persons have a part in it."""

    acknowledged: frozenset[int] = frozenset()
    """Ids of events that were acknowledged."""
    shelved: Mapping[int, Shelf] = field(default_factory=dict)
    """By id: events that are on a shelf now: going on, or seen since it began."""
    shelves: Mapping[tuple[str, Kind], Shelf] = field(default_factory=dict)
    """By channel and kind: what is in force now."""

    def is_aside(self, event: Event) -> bool:
        """Whether headlines pass the event over: also earlier ones of what is shelved."""
        return (event.channel, event.kind) in self.shelves

    def loud(self, events: Iterable[Event]) -> list[Event]:
        """Events that may lead a headline."""
        return [event for event in events if not self.is_aside(event)]

    def quiet(self, events: Iterable[Event]) -> frozenset[str]:
        """Channels on which nothing above a notice is wrong but what is shelved."""
        if not self.shelves:
            return frozenset()
        faults = [
            event
            for event in events
            if event.absorbed_by is None and event.severity is not Severity.NOTICE
        ]
        aside = {event.channel for event in faults if self.is_aside(event)}
        return frozenset(aside - {event.channel for event in faults if not self.is_aside(event)})


def stand_at(events: Sequence[Event], deeds: Iterable[Deed], now_s: float) -> Stand:
    """What stands at `now_s` of what was done up to then."""
    done = [deed for deed in deeds if deed.time_s <= now_s]
    if not done:
        return Stand()
    wanted = {(deed.channel, deed.kind) for deed in done}
    found: dict[tuple[str, Kind], list[Event]] = {key: [] for key in wanted}
    for event in events:
        key = event.channel, event.kind
        if key in wanted:
            found[key].append(event)
    acknowledged = set()
    shelvings: dict[tuple[str, Kind], Deed] = {}
    for deed in done:
        key = deed.channel, deed.kind
        if deed.act is Act.SHELVE:
            shelvings[key] = deed
        elif deed.act is Act.UNSHELVE:
            shelvings.pop(key, None)
        elif (seen := meant(deed, found[key])) is not None:
            acknowledged.add(seen.id)
    shelved: dict[int, Shelf] = {}
    shelves: dict[tuple[str, Kind], Shelf] = {}
    for key, deed in shelvings.items():
        target = meant(deed, found[key])
        if not _is_in_force(deed, target, now_s):
            continue
        shelf = shelves[key] = Shelf(deed.time_s, deed.until_s, deed.reason)
        for event in found[key]:
            # Those that ended before the shelf began stay as they were, but the one it is for.
            if event.end_s is None or event.end_s >= shelf.from_s or event is target:
                shelved[event.id] = shelf
    return Stand(frozenset(acknowledged), shelved, shelves)


def meant(deed: Deed, events: Iterable[Event]) -> Event | None:
    """The event that a deed was done to: of these of its kind and channel, begun nearest to it.

    Not by id: stretches of a cut recording have ids of their own.
    """
    found = [event for event in events if event.start_s <= deed.time_s]
    return min(found, key=lambda event: abs(event.start_s - deed.start_s), default=None)


def has_returned(event: Event, now_s: float) -> bool:
    """Whether an event has ended and can no longer be joined by another occurrence."""
    return event.end_s is not None and now_s > event.end_s + KINDS[event.kind].join_s


def _is_in_force(deed: Deed, target: Event | None, now_s: float) -> bool:
    if deed.until_s is not None:
        return now_s < deed.until_s
    return target is not None and not has_returned(target, now_s)
