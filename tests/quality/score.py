"""Scoring of judged cases: recall by kind, delay, false alarms, confusion."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from detectors.engine.watch import Watch
from shared.events import Event
from shared.words import EVERY_CHANNEL, Kind, Severity
from tests.quality.cases import Case, Label

LATE_S = 120.0
"""How long after its label's end an event may still begin."""
EARLY_S = 10.0


@dataclass(slots=True)
class Score:
    """Counts over cases of one name."""

    labels: int = 0
    found: int = 0
    delays: list[float] = field(default_factory=list)
    confused: Counter[str] = field(default_factory=Counter)
    false_alarms: Counter[str] = field(default_factory=Counter)
    hours: float = 0.0
    missed: list[str] = field(default_factory=list)


def judge(case: Case, *, singly: bool = False) -> tuple[list[Event], dict[int, float]]:
    """Events of a case, and when each was first raised (only where fed singly)."""
    watch = Watch(case.chains)
    raised: dict[int, float] = {}
    if singly:
        for start in range(0, len(case.batch), 4):
            for event in watch.feed(case.batch.cut(start, min(start + 4, len(case.batch)))):
                raised.setdefault(event.id, watch.now_s)
    else:
        watch.feed(case.batch)
    watch.finish()
    return [event for event in watch.events if event.absorbed_by is None], raised


def add(score: Score, case: Case, *, singly: bool = False) -> None:
    """Judge a case and add it to the score."""
    events, raised = judge(case, singly=singly)
    count(score, case, events)
    for label in case.labels if singly else ():
        hit = first_hit(events, label)
        if hit is not None:
            score.delays.append(max(0.0, raised[hit.id] - label.start_s))


def count(score: Score, case: Case, events: Sequence[Event]) -> None:
    """Add a judged case to the score."""
    score.hours += case.hours
    explained: set[int] = set()
    for label in case.labels:
        score.labels += 1
        if first_hit(events, label) is not None:
            score.found += 1
        else:
            others = sorted({str(e.kind) for e in events if overlaps(e, label)})
            score.missed.append(f"{case.name}: {label.kind} missed; seen {others or 'nothing'}")
        for event in events:
            if overlaps(event, label):
                explained.add(event.id)
                if event.kind is not label.kind and event.kind not in label.also and _counts(event):
                    score.confused[str(event.kind)] += 1
    for event in events:
        if event.id not in explained and _counts(event):
            score.false_alarms[str(event.kind)] += 1


def first_hit(events: Sequence[Event], label: Label) -> Event | None:
    """The event that a label was found by; None where it was missed."""
    return next((e for e in events if e.kind is label.kind and _meets(e, label)), None)


def _counts(event: Event) -> bool:
    return event.severity is not Severity.NOTICE


def _meets(event: Event, label: Label) -> bool:
    same = event.channel in (label.channel, EVERY_CHANNEL) or label.channel == EVERY_CHANNEL
    return same and overlaps(event, label)


def overlaps(event: Event, label: Label) -> bool:
    """Whether an event may be about a label, in time."""
    end_s = float("inf") if event.end_s is None else event.end_s
    return event.start_s <= label.end_s + LATE_S and end_s >= label.start_s - EARLY_S


def kind_names() -> list[str]:
    return [str(kind) for kind in Kind]
