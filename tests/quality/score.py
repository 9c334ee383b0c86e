"""Scoring of judged cases: recall by kind, delay, false alarms, confusion."""

from collections import Counter
from dataclasses import dataclass, field

from detectors.watch import Watch
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
    score.hours += case.hours
    explained: set[int] = set()
    for label in case.labels:
        score.labels += 1
        hits = [event for event in events if event.kind is label.kind and _meets(event, label)]
        if hits:
            score.found += 1
            if singly:
                score.delays.append(max(0.0, raised[hits[0].id] - label.start_s))
        else:
            others = sorted({str(e.kind) for e in events if _overlaps(e, label)})
            score.missed.append(f"{case.name}: {label.kind} missed; seen {others or 'nothing'}")
        for event in events:
            if _overlaps(event, label):
                explained.add(event.id)
                if event.kind is not label.kind and event.kind not in label.also and _counts(event):
                    score.confused[str(event.kind)] += 1
    for event in events:
        if event.id not in explained and _counts(event):
            score.false_alarms[str(event.kind)] += 1


def _counts(event: Event) -> bool:
    return event.severity is not Severity.NOTICE


def _meets(event: Event, label: Label) -> bool:
    same = event.channel in (label.channel, EVERY_CHANNEL) or label.channel == EVERY_CHANNEL
    return same and _overlaps(event, label)


def _overlaps(event: Event, label: Label) -> bool:
    end_s = float("inf") if event.end_s is None else event.end_s
    return event.start_s <= label.end_s + LATE_S and end_s >= label.start_s - EARLY_S


def kind_names() -> list[str]:
    return [str(kind) for kind in Kind]
