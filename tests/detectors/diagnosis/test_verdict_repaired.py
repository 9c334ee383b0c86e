"""The verdict after a repair: proven, too early, or not repaired."""

from typing import Any

import pytest

from detectors.diagnosis import diagnose, verdict
from detectors.trials.compared import TrialOutcome
from detectors.trials.counted import KindTrial
from shared.events import Event, Verdict
from shared.words import Gate, Kind, Severity
from tests.detectors.diagnosis.found import PLUGGED, event

BREAKS = event(Kind.CONTACT_BREAK, count=21, full=0.3, gate=Gate.PRINTING, moving=1.0)
FLAG = event(Kind.CONVERTER_FLAG, count=6, flags="open")


def trial(number: int, count: int, hours: float, outcome: TrialOutcome, **more: Any) -> KindTrial:
    facts: dict[str, Any] = {"channel": "nozzle", "kind": Kind.CONTACT_BREAK} | more
    return KindTrial(
        trial=number,
        name="tightened the terminal" if number else "as found",
        change="",
        state="moving",
        count=count,
        outside=0,
        hours=hours,
        rate_per_h=count / hours,
        low_per_h=0.0,
        high_per_h=1.0,
        metres=None,
        heat_ups=None,
        outcome=outcome,
        **facts,
    )


BEFORE = trial(0, 21, 0.6, TrialOutcome.FIRST, also=(Kind.CONVERTER_FLAG,))
PROVEN = trial(1, 0, 0.8, TrialOutcome.BETTER, p=1e-6, also=(Kind.CONVERTER_FLAG,))
EARLY = trial(1, 0, 0.05, TrialOutcome.TOO_EARLY, further_h=0.19, also=(Kind.CONVERTER_FLAG,))


def of(trials: list[KindTrial], *events: Event) -> Verdict:
    found = events or (BREAKS, FLAG)
    causes = diagnose(found, {"nozzle": PLUGGED, "bed": PLUGGED})
    return verdict(found, causes, span_s=9000.0, channels=5, trials=trials)


def test_a_proven_repair_is_what_the_verdict_says() -> None:
    """With its count, hours, the rate before and p; and it asks for nothing any more."""
    found = of([BEFORE, PROVEN])
    assert found.severity is Severity.NOTICE
    assert found.text.startswith(
        "nozzle repaired by “tightened the terminal”: 0 contact-break in 48 min moving "
        "against 35/h before, p 1e-06"
    )
    assert "it was, most likely, nozzle: loose connection (" in found.text


def test_before_that_it_says_for_how_long_to_go_on() -> None:
    """The reading is right again but may not stay so: NE 107's maintenance required."""
    found = of([BEFORE, EARLY])
    assert found.severity is Severity.MAINTENANCE_REQUIRED
    assert "too early to call “tightened the terminal” a repair" in found.text
    assert "12 min more without a fault" in found.text


@pytest.mark.parametrize(
    "outcome", [TrialOutcome.NO_CHANGE, TrialOutcome.TOO_EARLY, TrialOutcome.BETTER]
)
def test_a_fault_that_came_again_keeps_its_name(outcome: TrialOutcome) -> None:
    """Fewer is not gone."""
    found = of([BEFORE, trial(1, 3, 0.8, outcome)])
    assert found.severity is Severity.FAILURE
    assert found.text.startswith("nozzle: loose connection")


def test_a_repair_stays_proven_through_a_change_that_brings_nothing_back() -> None:
    """None before the second change, none since."""
    later = trial(2, 0, 0.3, TrialOutcome.NO_FAULT, also=(Kind.CONVERTER_FLAG,))
    assert of([BEFORE, PROVEN, later]).severity is Severity.NOTICE


def test_another_fault_is_still_named_first() -> None:
    """The nozzle is repaired; the bed is open."""
    bed = event(Kind.CODE_HIGH, channel="bed", end_s=None, first_reading=1.0)
    found = of([BEFORE, PROVEN], BREAKS, FLAG, bed)
    assert found.severity is Severity.FAILURE
    assert found.text.startswith("bed: ")
    assert "nozzle repaired by" in found.text


def test_a_halt_that_the_fault_brought_about_goes_with_it() -> None:
    """The host stopped because the nozzle read nonsense; that is repaired."""
    halt = event(Kind.HALT, channel="*", start_s=105.0, end_s=None, message="nozzle beyond limits")
    halts = [
        trial(0, 1, 0.6, TrialOutcome.FIRST, channel="*", kind=Kind.HALT),
        trial(1, 0, 0.8, TrialOutcome.TOO_EARLY, channel="*", kind=Kind.HALT, further_h=9.0),
    ]
    found = of([*halts, BEFORE, PROVEN], BREAKS, FLAG, halt)
    assert found.severity is Severity.NOTICE
    assert "halt" not in found.text


def test_without_a_change_the_verdict_is_as_ever() -> None:
    """Trials of a machine as found say nothing of repairs."""
    assert of([BEFORE]) == of([])
