"""One channel's case: its events, what others saw at the time, its chain; and how to read them."""

import math
from collections.abc import Iterable, Mapping, Sequence

import msgspec

from shared.chain import Chain
from shared.chainstate import Stage
from shared.events import Event
from shared.kinds import KINDS, Shape
from shared.words import EVERY_CHANNEL, Gate, Kind, Severity

RESTING = {Gate.COLD, Gate.HOLDING}
JOINED = Shape.JUMP, Shape.FLIP, Shape.NOISE
"""What jumps of several channels at once look like on one of them."""
JOINED_S = 60.0
JOINED_TIMES = 1.5
PLACES = ("motion.x_mm", "motion.y_mm", "motion.z_mm")
"""`tied_to` of what comes beyond one place of the carriage."""
AFTER_RESTART_S = 60.0
"""Readings may be absurd for half a minute to a minute after a restart: common practice."""
TOGETHER_S = 2.0
"""Events of two channels this close began together."""


class Fact(msgspec.Struct, frozen=True):
    """One piece of evidence.

    name      of the row in the cause table
    words     plain words, for the person who fitted the sensor
    strength  0…1: how far the data bear it out
    """

    name: str
    words: str
    strength: float = 1.0


class Case(msgspec.Struct, frozen=True):
    """Everything that the facts of one channel are drawn from.

    `events` are this channel's, `others` those of all other channels; absorbed ones are
    in neither. `chain` is None where no chain facts are known, and for channel `*`.
    """

    channel: str
    events: tuple[Event, ...]
    others: tuple[Event, ...]
    chain: Chain | None
    channels: int
    """Channels with chain facts or events."""

    def of(self, *kinds: Kind) -> list[Event]:
        """This channel's events of some kinds."""
        return [event for event in self.events if event.kind in kinds]

    def of_shape(self, *shapes: Shape) -> list[Event]:
        """This channel's events of kinds that look so."""
        return [event for event in self.events if KINDS[event.kind].shape in shapes]

    def of_contact(self) -> list[Event]:
        """This channel's events that show in the leads."""
        return [event for event in self.events if KINDS[event.kind].shows_at is Stage.LEADS]


def cases(events: Sequence[Event], chains: Mapping[str, Chain]) -> list[Case]:
    """A case for every channel that has something to explain.

    That is a channel with an event above a notice, or with a startup transient. A halt or
    a restart of its own makes a case of channel `*` only where no channel's events
    explain it.
    """
    seen = [event for event in events if event.absorbed_by is None]
    channels = dict.fromkeys(event.channel for event in seen)
    known = {name for name in (*channels, *chains) if name != EVERY_CHANNEL}
    joint = [event for event in seen if event.kind is Kind.JOINT_JUMP]
    seen = [event for event in seen if not _is_joint(event, joint)]
    found = []
    for channel in channels:
        own = tuple(event for event in seen if event.channel == channel)
        others = tuple(event for event in seen if event.channel != channel)
        if any(_asks(event, others) for event in own):
            found.append(Case(channel, own, others, chains.get(channel), max(len(known), 1)))
    return found


def _asks(event: Event, others: Sequence[Event]) -> bool:
    """Whether an event asks for a cause."""
    least = KINDS[event.kind].asks_from
    is_grave = least is not None and event.severity.rank >= least.rank
    return is_grave and not is_explained(event, others)


def is_explained(event: Event, others: Sequence[Event]) -> bool:
    """Whether a halt was brought about by a fault of some channel."""
    return event.kind is Kind.HALT and any(
        other.channel != EVERY_CHANNEL
        and other.severity is not Severity.NOTICE
        and other.start_s <= event.start_s
        and end_s(other) >= event.start_s - AFTER_RESTART_S
        for other in others
    )


def _is_joint(event: Event, joint: Sequence[Event]) -> bool:
    """Whether an event of one channel is its part of jumps that several made together."""
    if not joint or event.channel == EVERY_CHANNEL or KINDS[event.kind].shape not in JOINED:
        return False
    first_s = min(jump.start_s for jump in joint) - TOGETHER_S
    last_s = max(map(end_s, joint)) + JOINED_S
    ends_s = event.start_s if event.end_s is None else event.end_s
    often = event.count > JOINED_TIMES * count_of(joint)
    return first_s <= event.start_s and ends_s <= last_s and not often


def number(event: Event, *names: str) -> float | None:
    """First of these facts that the event gives as a finite number."""
    for name in names:
        value = event.facts.get(name)
        if isinstance(value, int | float) and math.isfinite(value):
            return float(value)
    return None


def amount(event: Event, name: str) -> float:
    """A fact of the event as a number; 0 where it is not given."""
    return number(event, name) or 0.0


def word(event: Event, name: str) -> str:
    """A fact of the event as text; empty where there is none."""
    value = event.facts.get(name)
    return value if isinstance(value, str) else ""


def offset_k(event: Event) -> float | None:
    """By how many degrees a cold sensor is off; None where that is not told."""
    given = number(event, "offset_c")
    return event.value if given is None and event.unit == "°C" else given


def end_s(event: Event) -> float:
    """When it ended; inf while it goes on."""
    return math.inf if event.end_s is None else event.end_s


def each_s(event: Event) -> float:
    """How long one of its occurrences was there; inf while it goes on."""
    return (end_s(event) - event.start_s) / max(event.count, 1)


def count_of(events: Iterable[Event]) -> int:
    """Occurrences of some events together."""
    return sum(event.count for event in events)


def moving_share(event: Event) -> float | None:
    """Share of an event's occurrences while the machine moved; None where nothing tells.

    The gate lags behind and is that of the first occurrence: it tells of single ones only.
    """
    given = number(event, "moving")
    if given is not None:
        return min(max(given, 0.0), 1.0)
    if event.gate is Gate.PRINTING:
        return 1.0
    return 0.0 if event.gate in RESTING and event.count == 1 else None


def times(count: int, one: str, many: str) -> str:
    """`once`, `12 times`; `one spike`, `12 spikes`."""
    return one if count == 1 else f"{count} {many}"


def is_place(tied: str | None) -> bool:
    """Whether `tied_to` names a place of the carriage."""
    return tied in PLACES
