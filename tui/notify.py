"""When to tell someone, and what: bursts grouped, quiet hours, heartbeats. No clock, no I/O.

An event above a notice is news when it is raised, and again when it grows worse. News
waits `GROUP_S` for what comes with it, so that a burst is one message that begins with
what came first; and no two messages are closer than `every_s`. In quiet hours news waits
for their end, except failures where `urgent` says so. A heartbeat says that the watch
goes on, when nothing else has been said for `heartbeat_s`.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from shared.when import spelt
from shared.words import EVERY_CHANNEL, Severity

if TYPE_CHECKING:
    from shared.events import Event

GROUP_S = 10.0
"""How long the first event of a burst waits for the others."""
EVERY_S = 300.0
MORE_NAMED = 5
"""Further events of a burst that a message names."""
DAY_MIN = 24 * 60


@dataclass(frozen=True, slots=True)
class Policy:
    """What the user wants to be told, and when.

    `quiet` is from and to, in minutes of the day, local time; it may go over midnight.
    """

    every_s: float = EVERY_S
    quiet: tuple[int, int] | None = None
    urgent: bool = False
    heartbeat_s: float | None = None

    def is_quiet(self, minute: int) -> bool:
        """Whether a minute of the day lies in the quiet hours."""
        if self.quiet is None:
            return False
        start, end = self.quiet
        return (minute - start) % DAY_MIN < (end - start) % DAY_MIN


@dataclass(frozen=True, slots=True)
class Message:
    """What is told. `kind`, `channel`, `severity` and `log_s` are those of the first event."""

    reason: str
    """`event`, `heartbeat` or `test`."""
    host: str
    text: str
    kind: str = ""
    channel: str = ""
    severity: str = str(Severity.NOTICE)
    log_s: float | None = None
    more: int = 0
    """Further events that the message joins."""

    @property
    def title(self) -> str:
        return f"ohmvigil: {self.host}: {self.severity if self.reason == 'event' else self.reason}"


@dataclass(slots=True)
class _News:
    event: "Event"
    told: int
    """Rank of severity that was told already."""


@dataclass(slots=True)
class Desk:
    """Decides for one host. `now_s` is any clock that does not fall."""

    host: str
    policy: Policy
    start_s: float
    _waiting: dict[int, _News] = field(default_factory=dict)
    _told: dict[int, int] = field(default_factory=dict)
    _first_s: float | None = None
    _sent_s: float | None = None
    _found: int = 0

    def event(self, event: "Event", now_s: float) -> None:
        """Take an event as it now stands."""
        told = self._told.get(event.id, 0)
        if event.absorbed_by is not None:
            self._waiting.pop(event.id, None)
        elif event.id in self._waiting:
            self._waiting[event.id].event = event
        elif event.severity.rank > told:
            self._waiting[event.id] = _News(event, told)
            if self._first_s is None:
                self._first_s = now_s

    @property
    def waiting(self) -> "tuple[Event, ...]":
        """Events that are news and not told yet."""
        return tuple(each.event for each in self._waiting.values())

    def withdraw(self, event_id: int) -> None:
        """An event is no news any more; should it come again, it is."""
        self._waiting.pop(event_id, None)

    def due(self, now_s: float, minute: int, *, is_heard: bool = True) -> list[Message]:
        """Messages to send now. `minute` of the day; `is_heard`: whether the link is up."""
        is_quiet = self.policy.is_quiet(minute)
        news = self._ripe(now_s, is_quiet)
        if news:
            for each in news:
                self._found += each.id not in self._told
                del self._waiting[each.id]
                self._told[each.id] = each.severity.rank
            self._first_s = now_s if self._waiting else None
            self._sent_s = now_s
            return [grouped(self.host, news)]
        beat_s = self.policy.heartbeat_s
        last_s = self.start_s if self._sent_s is None else self._sent_s
        if beat_s is None or is_quiet or self._waiting:
            return []
        if now_s - last_s >= beat_s:
            self._sent_s = now_s
            return [self._heartbeat(now_s - last_s, is_heard)]
        return []

    def rest(self) -> list[Message]:
        """What is still waiting, when the watch ends."""
        news = _in_order(each.event for each in self._waiting.values())
        self._waiting.clear()
        return [grouped(self.host, news)] if news else []

    def _ripe(self, now_s: float, is_quiet: bool) -> "list[Event]":
        if self._first_s is None or now_s - self._first_s < GROUP_S:
            return []
        if not self._waiting:
            self._first_s = None
            return []
        if self._sent_s is not None and now_s - self._sent_s < self.policy.every_s:
            return []
        news = _in_order(each.event for each in self._waiting.values())
        if not is_quiet:
            return news
        if not self.policy.urgent:
            return []
        return [event for event in news if event.severity is Severity.FAILURE]

    def _heartbeat(self, silence_s: float, is_heard: bool) -> Message:
        span = spelt(silence_s)
        if not is_heard:
            text = "still watching, but the link to the host is down"
        elif self._found:
            text = f"still watching, nothing new found in {span}; {self._found} before"
        else:
            text = f"still watching, nothing found in {span}"
        return Message("heartbeat", self.host, text)


def grouped(host: str, events: "list[Event]") -> Message:
    """One message for a burst; it begins with the event that came first."""
    first, *others = events
    text = f"{_place(first)}: {first.kind}: {first.text}"
    if others:
        named = [f"{_place(event)} {event.kind}" for event in others[:MORE_NAMED]]
        left = len(others) - len(named)
        text += f"; then {', '.join(named)}" + (f" and {left} more" if left else "")
    worst = max(events, key=lambda event: event.severity.rank).severity
    return Message(
        "event",
        host,
        text,
        str(first.kind),
        first.channel,
        str(worst),
        first.start_s,
        len(others),
    )


def _in_order(events: "Iterable[Event]") -> "list[Event]":
    """First-out first."""
    return sorted(events, key=lambda event: (event.start_s, event.id))


def _place(event: "Event") -> str:
    return "all channels" if event.channel == EVERY_CHANNEL else event.channel
