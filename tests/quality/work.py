"""Pieces of the full bench that a worker process can do alone."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from detectors.engine.watch import Watch
from shared.events import Event
from shared.words import EVERY_CHANNEL, Severity
from tests.quality import outsiders, score
from tests.quality.cases import Case, Label, faulty, healthy
from tests.quality.score import EARLY_S, LATE_S, Score

OURS = "ohmvigil"
Chosen = dict[str, tuple[float, ...]]
"""Thresholds of each outsider that judges."""
Key = tuple[str, float]
"""A detector and its threshold; ours has none and gives 0."""


@dataclass(frozen=True, slots=True)
class Task:
    """Cases of one fault, or a healthy night (`fault` is empty).

    The first `singly` cases are fed row by row as well, for delays; `outside` says which
    outsiders judge the cases, with which thresholds.
    """

    fault: str
    seed: int
    machines: int
    hours: float = 0.0
    singly: int = 0
    outside: Chosen = field(default_factory=dict)


@dataclass(slots=True)
class Tally:
    """What any detector gave, whatever the kind: labels found on the right channel, alarms."""

    labels: int = 0
    found: int = 0
    alarms: int = 0
    hours: float = 0.0

    def add(self, other: "Tally") -> None:
        self.labels += other.labels
        self.found += other.found
        self.alarms += other.alarms
        self.hours += other.hours


@dataclass(slots=True)
class Result:
    """A task's counts."""

    fault: str
    score: Score
    cases: int = 0
    seen: Counter[str] = field(default_factory=Counter)
    """Cases in which each kind above a notice was seen while the fault was there."""
    any_kind: dict[Key, Tally] = field(default_factory=dict)


def done(task: Task) -> Result:
    """Draw the cases and judge them."""
    result = Result(task.fault, Score())
    logs = (
        faulty(task.fault, task.seed, task.machines)
        if task.fault
        else healthy(task.seed, task.machines, task.hours)
    )
    for place, case in enumerate(logs):
        result.cases += 1
        events = _judge(result.score, case, singly=place < task.singly)
        _see(result, case, events)
        if task.outside:
            _compare(result, case, events, task.outside)
    return result


def _judge(total: Score, case: Case, *, singly: bool) -> list[Event]:
    events, raised = score.judge(case)
    score.count(total, case, events)
    if singly:
        # Live: one row at a time, which changes no event but says when each was raised.
        for event_id, at_s in _raised(case).items():
            raised[event_id] = at_s
        for label in case.labels:
            hit = score.first_hit(events, label)
            if hit is not None and hit.id in raised:
                total.delays.append(max(0.0, raised[hit.id] - label.start_s))
    return events


def _raised(case: Case) -> dict[int, float]:
    watch = Watch(case.chains)
    raised: dict[int, float] = {}
    for row in range(len(case.batch)):
        for event in watch.feed(case.batch.cut(row, row + 1)):
            raised.setdefault(event.id, watch.now_s)
    for event in watch.finish():
        raised.setdefault(event.id, watch.now_s)
    return raised


def _see(result: Result, case: Case, events: Sequence[Event]) -> None:
    kinds = {
        str(event.kind)
        for label in case.labels
        for event in events
        if event.severity is not Severity.NOTICE and score.overlaps(event, label)
    }
    result.seen.update(kinds)


def _compare(result: Result, case: Case, events: Sequence[Event], chosen: Chosen) -> None:
    """Ours and the outsiders by the same rule: an alarm on the right channel, of any kind."""
    told = [event for event in events if event.severity is not Severity.NOTICE or case.labels]
    ours: dict[str, list[tuple[float, float]]] = {}
    for event in told:
        end_s = float("inf") if event.end_s is None else event.end_s
        ours.setdefault(event.channel, []).append((event.start_s, end_s))
    _tally(result, (OURS, 0.0), case, ours)
    for key, spans in outsiders.judged(case.batch, dict(chosen)).items():
        _tally(result, key, case, spans)


def _tally(
    result: Result, key: Key, case: Case, spans: dict[str, list[tuple[float, float]]]
) -> None:
    tally = result.any_kind.setdefault(key, Tally())
    tally.labels += len(case.labels)
    tally.found += sum(_is_met(label, spans) for label in case.labels)
    if not case.labels:
        tally.hours += case.hours
        tally.alarms += sum(len(each) for each in spans.values())


def _is_met(label: Label, spans: dict[str, list[tuple[float, float]]]) -> bool:
    return any(
        start_s <= label.end_s + LATE_S and end_s >= label.start_s - EARLY_S
        for channel, each in spans.items()
        if channel in (label.channel, EVERY_CHANNEL) or label.channel == EVERY_CHANNEL
        for start_s, end_s in each
    )
