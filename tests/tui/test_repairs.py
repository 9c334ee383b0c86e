"""Notes become trials and evidence; `judge` tells them as lines and records."""

import json
import re
from pathlib import Path

import msgspec
import pytest

from client.simulated.plain import updates
from client.simulated.scenario import load_scenario
from detectors.diagnosis import Answer
from detectors.exposure import Occurrence, Span, Usage
from detectors.trials import KindTrial, figures
from detectors.verdicts import Outcome
from recordings.notes import Note
from recordings.writer import Recorder
from shared.words import EVERY_CHANNEL, Gate, Kind
from tests.tui.test_guide import TRIALS
from tui.main import run
from tui.repairs import pauses_in, starts_in, told, trial_record, trials_of

DOC = (Path(__file__).parents[2] / "docs" / "json.md").read_text(encoding="utf-8")


def night(path: Path, scenario: str, seed: int, for_s: float, *notes: Note) -> str:
    """A recording of a scenario with notes; its path."""
    found = load_scenario(scenario)
    recorder = Recorder(path, {"title": "night", "chains": dict(found.chains)})
    recorder.updates(list(updates(found, seed, for_s)))
    for note in notes:
        recorder.note(note.time_s, note.text, note.kind, note.facts)
    recorder.close()
    return str(path)


def records(out: str, name: str = "trial") -> list[dict[str, object]]:
    found = [json.loads(line) for line in out.splitlines()]
    return [one for one in found if one["record"] == name]


def test_notes_of_kind_trial_start_trials_in_order_of_time() -> None:
    notes = [
        Note(50.0, "three wires", "trial", {"channel": "nozzle"}),
        Note(10.0, "added 220 nF", "trial", {"change": "add-capacitance"}),
        Note(20.0, "nothing", "note"),
        Note(30.0, "odd", "trial", {"change": "no-such-check", "channel": 7}),
    ]
    found = [(one.time_s, one.channel, one.change) for one in starts_in(notes)]
    assert found == [
        (10.0, EVERY_CHANNEL, "add-capacitance"),
        (30.0, EVERY_CHANNEL, ""),
        (50.0, "nozzle", ""),
    ]


def test_a_measured_check_is_left_out_of_exposure_and_faults() -> None:
    """Ten minutes, of which a check took four with five provoked faults."""
    spans = tuple(Span(60.0 * i, 60.0 * (i + 1), Gate.COLD, False, 60.0, 0.0) for i in range(10))
    faults = tuple(Occurrence("nozzle", Kind.CONTACT_BREAK, at) for at in (10, 150, 160, 170, 500))
    notes = [Note(330.0, "found", "answer", {"from_s": 90.0})]
    (only,) = trials_of(Usage({"nozzle": spans}, {}, faults), notes)
    assert pauses_in(notes) == ((90.0, 330.0),)
    assert only.count == 2
    assert only.hours == pytest.approx(6.0 / 60.0)


@pytest.mark.parametrize(
    ("outcome", "count", "result"),
    [
        (Outcome.BETTER, 0, "gone"),
        (Outcome.BETTER, 3, "fewer"),
        (Outcome.NO_CHANGE, 9, "same"),
        (Outcome.WORSE, 30, "same"),
        (Outcome.TOO_EARLY, 0, "too-early"),
    ],
)
def test_a_change_of_the_catalogue_is_evidence(outcome: Outcome, count: int, result: str) -> None:
    """Unless the person has answered it by hand."""
    changed: KindTrial = msgspec.structs.replace(
        TRIALS[1], change="add-capacitance", outcome=outcome, count=count
    )
    (found,) = told([TRIALS[0], changed])
    assert (found.channel, found.change, found.result) == ("nozzle", "add-capacitance", result)
    answer = Answer(channel="nozzle", check="add-capacitance", outcome="gone")
    assert told([TRIALS[0], changed], [answer]) == ()
    assert told([TRIALS[0], msgspec.structs.replace(changed, change="reseat-bus")]) == ()


def test_judge_gives_trials_before_the_verdict_as_documented(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The keys are those of docs/json.md; without such a note there are none."""
    note = Note(150.0, "hoped for the best", "trial")
    path = night(tmp_path / "a.ohmv", "loose-terminal", 1, 300.0, note)
    assert run(["judge", path, "--json"]) == 1
    out = capsys.readouterr().out
    found = records(out)
    assert [json.loads(line)["record"] for line in out.splitlines()][-1] == "verdict"
    breaks = [one for one in found if one["kind"] == "contact-break"]
    assert [one["trial"] for one in breaks] == [0, 1]
    assert breaks[1]["outcome"] == "no change seen"
    example = re.search(r'    \{"record": "trial".*?\}\n', DOC, re.DOTALL)
    assert example
    assert list(json.loads(example[0])) == list(breaks[0]) == list(trial_record(TRIALS[0]))
    for key in breaks[0]:
        assert f"`{key}`" in DOC or f'"{key}"' in DOC
    plain = night(tmp_path / "b.ohmv", "loose-terminal", 1, 60.0)
    run(["judge", plain, "--json"])
    assert records(capsys.readouterr().out) == []


def test_trials_go_on_over_nights(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two nights with a loose terminal, then a repaired one: told once, with the last file."""
    first = night(tmp_path / "1.ohmv", "loose-terminal", 1, 200.0)
    second = night(tmp_path / "2.ohmv", "loose-terminal", 2, 200.0)
    start = Note(0.0, "new terminal", "trial")
    third = night(tmp_path / "3.ohmv", "healthy-print", 3, 900.0, start)
    assert run(["judge", first, second, third, "--trials", "--json"]) == 1
    out = capsys.readouterr().out
    breaks = [one for one in records(out) if one["kind"] == "contact-break"]
    assert [(one["trial"], one["outcome"]) for one in breaks] == [(0, "first"), (1, "better")]
    views = ("contact-break", "spike")  # A contact that opens for one reading is a spike.
    events = [one for one in records(out, "event") if one["kind"] in views]
    counted = sum(int(str(one["count"])) for one in events)
    assert breaks[0]["count"] == counted
    assert run(["judge", first, second, third, "--trials"]) == 1
    lines = capsys.readouterr().out
    assert lines.count("trials: nozzle contact-break") == 1
    assert "1 new terminal: 0 in" in lines


def test_an_answer_of_one_night_counts_in_the_next(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The cable was moved in the first night; the second, judged after it, knows."""
    facts = {"channel": "nozzle", "check": "wiggle-cable", "outcome": "breaks-in-the-cable"}
    note = Note(100.0, "", "answer", facts)
    first = night(tmp_path / "1.ohmv", "loose-terminal", 1, 120.0, note)
    second = night(tmp_path / "2.ohmv", "loose-terminal", 2, 200.0)
    lead: list[dict[str, object]] = []
    for options in ([second], [first, second, "--trials"]):
        run(["judge", *options, "--json"])
        found = records(capsys.readouterr().out, "cause")
        lead.append([one for one in found if one["cause"] == "broken-lead"][-1])
    alone, after = lead
    assert float(str(after["probability"])) > 2.0 * float(str(alone["probability"]))
    words = "wiggle-cable: it jumps when the cable bends"
    assert words in str(after["for"])
    assert words not in str(alone["for"])


@pytest.mark.parametrize(
    ("value", "words"), [(0.00123, "0.0012"), (3.456, "3.5"), (12.7, "13"), (1234.0, "1234")]
)
def test_figures_are_two_and_need_no_powers_of_ten(value: float, words: str) -> None:
    assert figures(value) == words
