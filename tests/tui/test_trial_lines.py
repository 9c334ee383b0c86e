"""Trials as `judge` tells them, in lines and records."""

import json
import re
from pathlib import Path

import pytest

from client.simulated.plain import updates
from client.simulated.scenario import load_scenario
from detectors.trials.counted import figures
from recordings.writer import Recorder
from shared.notes import Note
from tests.tui.test_guide import TRIALS
from tui.main import run
from tui.trial_lines import trial_record

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


@pytest.mark.long
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
