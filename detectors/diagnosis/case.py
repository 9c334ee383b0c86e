"""One channel's case: its events, what others saw at the time, its chain."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

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
ABSURD_K = 150.0
"""A jump that no heater, no seat and no contact with some ohms makes: open or shorted."""
TOGETHER_S = 2.0
"""Events of two channels this close began together."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One piece of evidence.

    name      of the row in the cause table
    words     plain words, for the person who fitted the sensor
    strength  0…1: how far the data bear it out
    """

    name: str
    words: str
    strength: float = 1.0


@dataclass(frozen=True, slots=True)
class Case:
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

    def electrical(self) -> list[Event]:
        return [event for event in self.events if KINDS[event.kind].is_electrical]

    def restarts_s(self) -> list[float]:
        return [event.start_s for event in self.all if event.kind is Kind.RESTART]

    @property
    def all(self) -> tuple[Event, ...]:
        return self.events + self.others


def cases(events: Sequence[Event], chains: Mapping[str, Chain]) -> list[Case]:
    """A case for every channel that has something to explain.

    That is a channel with an event above a notice, or with a startup transient. A halt or
    a restart of its own makes a case of channel `*` only where no channel's events
    explain it.
    """
    seen = [event for event in events if event.absorbed_by is None]
    channels = dict.fromkeys(event.channel for event in seen)
    known = {name for name in (*channels, *chains) if name != EVERY_CHANNEL}
    found = []
    joint = [event for event in seen if event.kind is Kind.JOINT_JUMP]
    seen = [event for event in seen if not _is_joint(event, joint)]
    for channel in channels:
        own = tuple(event for event in seen if event.channel == channel)
        others = tuple(event for event in seen if event.channel != channel)
        if asks(own, others):
            found.append(Case(channel, own, others, chains.get(channel), max(len(known), 1)))
    return found


def asks(own: Sequence[Event], others: Sequence[Event]) -> bool:
    """Whether events ask for a cause."""
    return any(
        (least := KINDS[event.kind].asks_from) is not None
        and event.severity.rank >= least.rank
        and not is_explained(event, others)
        for event in own
    )


def is_explained(event: Event, others: Sequence[Event]) -> bool:
    """Whether a halt was brought about by a fault of some channel."""
    return event.kind is Kind.HALT and any(
        other.channel != EVERY_CHANNEL
        and other.severity is not Severity.NOTICE
        and other.start_s <= event.start_s
        and (other.end_s is None or other.end_s >= event.start_s - AFTER_RESTART_S)
        for other in others
    )


def _is_joint(event: Event, joint: Sequence[Event]) -> bool:
    """Whether an event of one channel is its part of jumps that several made together."""
    if not joint or event.channel == EVERY_CHANNEL or KINDS[event.kind].shape not in JOINED:
        return False
    first_s = min(jump.start_s for jump in joint) - TOGETHER_S
    last_s = max(math.inf if jump.end_s is None else jump.end_s for jump in joint) + JOINED_S
    ends_s = event.start_s if event.end_s is None else event.end_s
    often = event.count > JOINED_TIMES * sum(jump.count for jump in joint)
    return first_s <= event.start_s and ends_s <= last_s and not often


def number(event: Event, *names: str) -> float | None:
    """First of these facts that the event gives as a finite number."""
    for name in names:
        value = event.facts.get(name)
        if isinstance(value, int | float) and value == value and abs(value) != float("inf"):
            return float(value)
    return None


def word(event: Event, name: str) -> str:
    """A fact of the event as text; empty where there is none."""
    value = event.facts.get(name)
    return value if isinstance(value, str) else ""


def duration_s(event: Event) -> float:
    """How long one occurrence lasted; inf while it goes on."""
    given = number(event, "duration_s", "longest_s")
    if event.end_s is None:
        return float("inf")
    return given if given is not None else (event.end_s - event.start_s) / max(event.count, 1)


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
