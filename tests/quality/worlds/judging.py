"""A world judged: what was found, what was told wrongly, which cause leads."""

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from detectors.diagnosis.diagnose import diagnose
from detectors.engine.watch import Watch
from shared.events import Event, RankedCause
from shared.words import EVERY_CHANNEL, Cause, Severity
from tests.quality.score import EARLY_S, first_hit, overlaps
from tests.quality.worlds.world import HEALTHY, Truth, World, make_world

WINDOW_S = 600.0
"""An event of a faulty channel may be said to begin so long before the fault: windows are long."""
ROWS = 16_384
"""Rows fed at once, as many as the reader of plain logs gives."""
UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Task:
    """One world to make and to judge."""

    seed: int
    hours: float
    kind: str | None


@dataclass(frozen=True, slots=True)
class Found:
    """One planted fault, judged. `instead`: kinds told of its channel in its time."""

    kind: str
    channel: str
    size: str
    is_found: bool
    is_told: bool
    """Found as its own kind, or as one that is right as well."""
    instead: tuple[str, ...]
    cause: str | None
    leads: str | None
    """The true cause and the leading one; None where none was asked, or none given."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """One event above a notice where nothing is wrong."""

    kind: str
    channel: str
    at_s: float
    text: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """One world, judged."""

    seed: int
    kind: str
    hours: float
    healthy_hours: float
    """Of a healthy world all; of another those before its fault."""
    found: tuple[Found, ...]
    alarms: tuple[Alarm, ...]
    beside: tuple[str, ...]
    """Kinds told of other channels, or later, in a world with a fault."""
    traits: dict[str, str]
    spent_s: float

    @property
    def missed(self) -> int:
        return sum(not each.is_found for each in self.found)

    @property
    def is_wrong(self) -> bool:
        return bool(self.missed or self.alarms)


def judged(task: Task) -> Outcome:
    """Make a world and judge it."""
    began_s = time.monotonic()
    world = make_world(task.seed, task.hours, task.kind)
    events, causes = told_of(world)
    alarms = tuple(
        Alarm(str(each.kind), each.channel, each.start_s - float(world.batch.time_s[0]), each.text)
        for each in false_alarms(world, events)
    )
    return Outcome(
        world.seed,
        world.kind,
        world.hours,
        healthy_s(world) / 3600.0,
        tuple(_found(each, events, causes) for each in world.truths),
        alarms,
        tuple(_beside(world, events)),
        world.traits,
        time.monotonic() - began_s,
    )


def told_of(world: World) -> tuple[list[Event], Sequence[RankedCause]]:
    """Events of a world, absorbed ones left out, and the causes drawn from them."""
    watch = Watch(world.chains)
    for start in range(0, len(world.batch), ROWS):
        watch.feed(world.batch.cut(start, min(start + ROWS, len(world.batch))))
    watch.finish()
    causes = diagnose(watch.events, world.chains)
    return [event for event in watch.events if event.absorbed_by is None], causes


def healthy_s(world: World) -> float:
    """How long nothing was wrong: up to the first fault."""
    begins_s = min(
        (each.label.start_s for each in world.truths), default=float(world.batch.time_s[-1])
    )
    return max(begins_s - float(world.batch.time_s[0]), 0.0)


def false_alarms(world: World, events: Sequence[Event]) -> Iterator[Event]:
    """Events above a notice that began while nothing was wrong, and are about no fault.

    What a faulty channel's window told from shortly before its fault on may be its own.
    """
    until_s = float(world.batch.time_s[0]) + healthy_s(world)
    for event in events:
        is_early = world.kind == HEALTHY or event.start_s < until_s - EARLY_S
        is_meant = any(_is_about(event, each) for each in world.truths)
        if is_early and not is_meant and event.severity is not Severity.NOTICE:
            yield event


def _is_about(event: Event, truth: Truth) -> bool:
    """Whether an event may be told of a fault: by its kind, or because it begins beside it."""
    if not (overlaps(event, truth.label) and _same(event, truth)):
        return False
    kinds = (truth.label.kind, *truth.label.also)
    return event.kind in kinds or event.start_s > truth.label.start_s - WINDOW_S


def _same(event: Event, truth: Truth) -> bool:
    channel = truth.label.channel
    return event.channel in (channel, EVERY_CHANNEL) or channel == EVERY_CHANNEL


def _found(truth: Truth, events: Sequence[Event], causes: Sequence[RankedCause]) -> Found:
    label = truth.label
    near = [each for each in events if overlaps(each, label) and _same(each, truth)]
    kinds = {each.kind for each in near}
    is_found = first_hit(events, label) is not None
    return Found(
        str(label.kind),
        label.channel,
        truth.size,
        is_found,
        is_found or bool(kinds & label.also),
        tuple(sorted({str(each) for each in kinds})),
        None if truth.cause is None else str(truth.cause),
        None if truth.cause is None or not kinds else _leading(label.channel, causes),
    )


def _leading(channel: str, causes: Sequence[RankedCause]) -> str | None:
    """The first cause that is given for a channel."""
    for each in causes:
        if each.channel == channel or channel == EVERY_CHANNEL:
            return UNKNOWN if each.cause is None else str(Cause(each.cause))
    return None


def _beside(world: World, events: Sequence[Event]) -> Iterator[str]:
    """Kinds above a notice that are neither the fault's nor early: its wake, or chance."""
    if world.kind == HEALTHY:
        return
    early = {event.id for event in false_alarms(world, events)}
    for event in events:
        near = any(overlaps(event, each.label) and _same(event, each) for each in world.truths)
        if event.id not in early and not near and event.severity is not Severity.NOTICE:
            yield str(event.kind)
