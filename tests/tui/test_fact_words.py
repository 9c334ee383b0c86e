"""Facts of events in words: none in the detectors' own short names."""

import re

import pytest

from client.simulated.scenario import scenario_names
from detectors.engine.watch import Watch
from shared.events import Event
from shared.words import Kind, Severity
from tests import scenario_logs
from tests.levels import one_in
from tui.fact_words import fact_words


def event(facts: dict[str, float | str], text: str = "") -> Event:
    return Event(
        id=1,
        kind=Kind.CONTACT_BREAK,
        channel="nozzle",
        start_s=0.0,
        end_s=1.0,
        severity=Severity.FAILURE,
        count=1,
        value=0.0,
        unit="Ω",
        text=text,
        facts=facts,
    )


def test_a_place_is_told_as_one() -> None:
    """Axes and speed come last, rounded to what a hand can find again."""
    facts = {"x_mm": 137.21, "y_mm": 53.43, "z_mm": 2.6, "speed_mm_s": 46.6, "moving": 0.97}
    assert fact_words(event({**facts})) == [
        "97% while moving",
        "last at X 137 Y 53 Z 3 mm with 47 mm/s",
    ]


def test_what_the_text_says_is_not_said_again() -> None:
    assert fact_words(event({"settled_s": 11.2}, "settled in 11 s")) == []


def test_a_share_needs_all_its_four_numbers() -> None:
    whole: dict[str, float | str] = {
        "events": 32.0,
        "all_events": 35.0,
        "exposure_s": 128.4,
        "all_exposure_s": 797.2,
    }
    assert fact_words(event(whole)) == ["32 of 35 in 128 of 797 s"]
    whole.pop("exposure_s")
    assert fact_words(event(whole)) == []


@pytest.mark.parametrize("name", one_in(3, scenario_names()))
def test_no_short_name_reaches_the_reader(name: str) -> None:
    """Whatever the scenarios' events carry is a phrase with a unit, or is kept back."""
    watch = Watch({})
    watch.feed(scenario_logs.batch(name, 0, 240.0))
    watch.finish()
    for found in watch.events:
        for phrase in fact_words(found):
            if "message" not in found.facts:
                assert not re.search(r"[a-z]_[a-z]", phrase), phrase
            assert len(phrase) < 90
