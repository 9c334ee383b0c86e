"""From events and notes to trials, causes and verdict."""

from dataclasses import replace

import msgspec
import pytest

from detectors.health import healths_beside
from detectors.judged import Found, Judge, headed, watched
from detectors.judged.noted import Noted, noted
from detectors.shelf import Deed
from detectors.trials.counted import trials
from detectors.trials.exposure import Occurrence, Span, Usage
from shared.events import Event
from shared.health import ChannelHealth, Trust
from shared.notes import Note
from shared.words import Act, Cause, Gate, Kind, Severity
from tests.detectors.diagnosis.found import PLUGGED, event

CHAINS = {"nozzle": PLUGGED, "bed": PLUGGED}
BREAKS = event(Kind.CONTACT_BREAK, start_s=100.0, end_s=160.0, count=6, full=0.5)
HEALTHS = tuple(
    ChannelHealth(channel=name, trust=Trust.TRUE, since_s=0.0, why="", gate=Gate.HOLDING)
    for name in ("nozzle", "bed")
)


def found(*events: Event, now_s: float = 600.0) -> Found:
    numbered = tuple(msgspec.structs.replace(e, id=number) for number, e in enumerate(events))
    return Found(events=numbered, now_s=now_s, span_s=now_s, healths=HEALTHS)


def test_a_measured_check_is_left_out_of_exposure_and_faults() -> None:
    """Ten minutes, of which a check took four with five provoked faults."""
    spans = tuple(Span(60.0 * i, 60.0 * (i + 1), Gate.COLD, False, 60.0, 0.0) for i in range(10))
    faults = tuple(Occurrence("nozzle", Kind.CONTACT_BREAK, at) for at in (10, 150, 160, 170, 500))
    said = noted([Note(330.0, "found", "answer", {"from_s": 90.0})])
    (only,) = trials([watched(Usage({"nozzle": spans}, {}, faults), said)])
    assert said.handled == ((90.0, 330.0),)
    assert only.count == 2
    assert only.hours == pytest.approx(6.0 / 60.0)


def test_what_a_check_provoked_has_no_cause_and_no_part_in_the_verdict() -> None:
    judged = Judge(CHAINS).judged(found(BREAKS), Noted(handled=((90.0, 170.0),)))
    assert judged.causes == ()
    assert judged.verdict.severity is Severity.NOTICE


def test_causes_are_ranked_anew_when_evidence_changes_and_only_then() -> None:
    """Time alone changes the verdict's words, an answer the ranking."""
    judge = Judge(CHAINS)
    first = judge.judged(found(BREAKS), Noted())
    later = judge.judged(found(BREAKS, now_s=900.0), Noted())
    assert first.causes
    assert all(one is other for one, other in zip(first.causes, later.causes, strict=True))
    facts = {"channel": "nozzle", "check": "wiggle-cable", "outcome": "breaks-in-the-cable"}
    answered = judge.judged(found(BREAKS), noted([Note(200.0, "", "answer", facts)]))
    assert first.causes[0].cause is not Cause.BROKEN_LEAD
    assert answered.causes[0].cause is Cause.BROKEN_LEAD
    assert judge.judged(found(), Noted()).causes == ()


def test_the_headline_names_what_is_shelved_and_is_led_by_the_rest() -> None:
    high = event(Kind.CODE_HIGH, end_s=None, severity=Severity.FAILURE)
    step = event(Kind.STEP, channel="bed", severity=Severity.OUT_OF_SPECIFICATION)
    both = found(high, step)
    said = Noted(deeds=(Deed(Act.SHELVE, 500.0, "nozzle", Kind.CODE_HIGH, 100.0, 1100.0),))
    ranked = Judge(CHAINS).judged(both, Noted()).causes
    assert ranked[0].channel == "nozzle"
    judged = headed(both, said, ranked)
    assert judged.causes[0].channel == "bed"
    assert judged.causes[-1].channel == "nozzle"
    assert judged.verdict.severity is Severity.OUT_OF_SPECIFICATION
    assert judged.verdict.text.startswith("bed: ")
    assert judged.verdict.text.endswith("; shelved: code-high on nozzle")
    alone = headed(replace(both, events=both.events[:1]), said, ranked)
    assert alone.verdict.severity is Severity.NOTICE
    assert alone.verdict.text.startswith("no other fault found in 10 min of 2 channels")
    healths = healths_beside(HEALTHS, both.events[:1], alone.stand.shelved, "up", 600.0)
    assert [health.trust for health in healths] == [Trust.SHELVED, Trust.TRUE]
