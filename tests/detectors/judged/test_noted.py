"""What notes say: changes, answers, handling and deeds; nonsense says nothing."""

from typing import Any

import pytest

from detectors.diagnosis import Answer
from detectors.judged.noted import noted
from shared.notes import Note
from shared.words import EVERY_CHANNEL

BENT = {"channel": "nozzle", "check": "wiggle-cable", "outcome": "breaks-in-the-cable"}


def test_notes_of_kind_trial_start_trials_in_order_of_time() -> None:
    notes = [
        Note(50.0, "three wires", "trial", {"channel": "nozzle"}),
        Note(10.0, "added 220 nF", "trial", {"change": "add-capacitance"}),
        Note(20.0, "nothing", "note"),
        Note(30.0, "odd", "trial", {"change": "no-such-check", "channel": 7}),
    ]
    found = [(one.time_s, one.channel, one.check) for one in noted(notes).changes]
    assert found == [
        (10.0, EVERY_CHANNEL, "add-capacitance"),
        (30.0, EVERY_CHANNEL, ""),
        (50.0, "nozzle", ""),
    ]


def test_the_last_answer_to_a_check_counts_and_an_unknown_one_is_named() -> None:
    notes = [
        Note(1.0, "", "answer", BENT),
        Note(2.0, "", "answer", {**BENT, "outcome": "breaks-at-an-end"}),
        Note(3.0, "", "answer", {**BENT, "check": "no-such-check"}),
    ]
    said = noted(notes)
    assert said.answers == (
        Answer(channel="nozzle", check="wiggle-cable", outcome="breaks-at-an-end"),
    )
    (line,) = said.unused
    assert "no-such-check" in line


def test_as_of_a_moment_later_notes_are_not_known_but_what_they_provoked_is() -> None:
    """Whoever looks at the time of a check must not take what it did for a fault."""
    notes = [Note(10.0, "new", "trial"), Note(330.0, "found", "answer", {**BENT, "from_s": 90.0})]
    said = noted(notes, 100.0)
    assert len(said.changes) == 1
    assert said.answers == ()
    assert said.handled == ((90.0, 330.0),)


@pytest.mark.parametrize(
    "facts",
    [
        {},
        {"channel": 5, "event_kind": "spike", "start_s": 1.0},
        {"channel": "nozzle", "event_kind": "no such kind", "start_s": 1.0},
        {"channel": "nozzle", "event_kind": ["spike"], "start_s": 1.0},
        {"channel": "nozzle", "event_kind": "spike", "start_s": "soon"},
        {"channel": "nozzle", "event_kind": "spike", "start_s": 1.0, "until_s": []},
    ],
)
def test_nonsense_from_a_strangers_file_is_no_deed(facts: dict[str, Any]) -> None:
    assert noted([Note(5.0, "x", "shelve", facts)]).deeds == ()


def test_a_strangers_file_shelves_nothing_for_ever() -> None:
    facts = {"channel": "nozzle", "event_kind": "spike", "start_s": 1.0, "until_s": 1e15}
    (deed,) = noted([Note(5.0, "x", "shelve", facts)]).deeds
    assert deed.until_s == 5.0 + 24 * 3600.0
