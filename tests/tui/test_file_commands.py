"""report, bundle, export, import, note and check, as a person types them."""

import json
import os
import sqlite3
import zipfile
from pathlib import Path

import msgspec
import pytest

from client.simulated.plain import updates
from client.simulated.scenario import load_scenario
from recordings.logs import open_log
from recordings.plain_writer import write_plain_log
from recordings.private import Scrubber
from recordings.reader import Recording
from recordings.sending import clean_profile
from recordings.writer import Recorder
from shared.updates import Update, batch_of
from tests.recordings.logs import joined, night, record
from tui.main import run


@pytest.fixture(scope="module")
def loose(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The loose terminal for two minutes, with texts in which private strings stand."""
    scenario = load_scenario("loose-terminal")
    path = tmp_path_factory.mktemp("loose") / "janes-night.ohmv"
    found = list(updates(scenario, 1, 120.0))
    profile = {
        "title": "Jane's garage",
        "addresses": ["ws://garage-pi.local:7950"],
        "token": {"file": "/home/jane/.token"},
    }
    meta = {"title": "Jane's garage", "profile": profile, "chains": dict(scenario.chains)}
    recorder = Recorder(path, meta)
    said = "printing jane_cat.gcode from /home/jane/prints for 192.168.1.20"
    for update in found[:8]:
        recorder.updates([update])
    recorder.updates([Update(found[8].time_s, found[8].values | {"host.message": said})])
    recorder.updates(found[9:])
    recorder.note(30.0, "Jane's garage: pressed the plug home, see garage-pi")
    recorder.note(40.0, "more turns", "trial", {"channel": "nozzle"})
    recorder.close()
    return path


@pytest.fixture
def plain(tmp_path: Path) -> Path:
    write_plain_log(tmp_path / "a.csv", [batch_of(night(300))])
    return tmp_path / "a.csv"


def line_of(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    """The one line that bad input gets."""
    assert run([str(argument) for argument in arguments]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    return line


def ohmvigil(*arguments: object) -> int:
    return run([str(argument) for argument in arguments])


def test_a_plain_log_goes_into_a_recording_and_back_to_the_byte(
    plain: Path, tmp_path: Path
) -> None:
    """Columns keep their order, also one that is never filled."""
    text = plain.read_text().splitlines()
    text = [f"{line},{'fan.speed' if number == 0 else ''}" for number, line in enumerate(text)]
    plain.write_text("\r\n".join(text) + "\r\n", newline="")
    assert ohmvigil("import", plain, "-o", tmp_path / "a.ohmv") == 0
    assert ohmvigil("export", tmp_path / "a.ohmv", "-o", tmp_path / "b.csv") == 0
    assert (tmp_path / "b.csv").read_bytes() == plain.read_bytes()


def test_captured_frames_become_a_recording_with_every_frame(tmp_path: Path) -> None:
    frames = [
        {
            "jsonrpc": "2.0",
            "method": "picture.lines",
            "params": {
                "no": number + 1,
                "clock_ms": 300 * number,
                "lines": [["nozzle.celsius", 20.0 + number]],
            },
        }
        for number in range(50)
    ]
    path = tmp_path / "a.ndjson"
    path.write_text("".join(json.dumps(frame) + "\n" for frame in frames))
    out = tmp_path / "a.ohmv"
    assert ohmvigil("import", path, "--profile", "simulated", "-o", out) == 0
    recording = Recording(out)
    payloads = [entry.payload for entry in recording.entries()][1:]
    assert [json.loads(payload) for payload in payloads] == frames
    found = [update.values["nozzle.temperature_c"] for update in joined(recording.batches())]
    assert found == [20.0 + number for number in range(50)]
    recording.close()


def test_a_failed_import_leaves_no_recording(
    plain: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plain.write_text(plain.read_text() + "not,a,row\n")
    assert "a.csv:302" in line_of(capsys, "import", plain, "-o", tmp_path / "a.ohmv")
    assert not (tmp_path / "a.ohmv").exists()


def test_an_existing_file_is_never_overwritten_by_import(
    plain: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.ohmv").write_text("dear")
    assert "a.ohmv" in line_of(capsys, "import", plain, "-o", tmp_path / "a.ohmv")
    assert (tmp_path / "a.ohmv").read_text() == "dear"


def test_frames_without_a_profile_ask_for_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.ndjson").write_text("{}\n")
    assert "--profile" in line_of(capsys, "import", tmp_path / "a.ndjson", "-o", tmp_path / "o")


def test_an_output_of_unknown_form_is_named(
    plain: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for command, good in (("export", ".parquet"), ("report", ".html"), ("bundle", ".zip")):
        assert good in line_of(capsys, command, plain, "-o", tmp_path / "out.docx")


def test_a_log_is_never_written_onto_itself(
    plain: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = plain.read_bytes()
    assert "is being read" in line_of(capsys, "export", plain, "-o", plain)
    assert plain.read_bytes() == before


def test_an_answer_counts_in_the_diagnosis(
    loose: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """ "The cable broke nowhere when moved" makes a broken lead less likely than before."""
    path = tmp_path / "a.ohmv"
    path.write_bytes(loose.read_bytes())
    before = causes(path, capsys)
    answer = ("note", path, "--answer", "wiggle-cable=breaks-in-the-cable", "--channel", "nozzle")
    assert ohmvigil(*answer) == 0
    capsys.readouterr()
    after = causes(path, capsys)
    assert after["broken-lead"] > 1.5 * before["broken-lead"]
    assert after["loose-connection"] < before["loose-connection"]


def causes(path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, float]:
    assert ohmvigil("judge", path, "--json") == 1
    records = map(json.loads, capsys.readouterr().out.splitlines())
    return {
        record["cause"]: record["probability"]
        for record in records
        if record["record"] == "cause" and record["channel"] == "nozzle"
    }


def test_an_answer_of_another_catalogue_is_said_and_not_used(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.ohmv"
    record(path, night(100))
    recording = sqlite3.connect(path)
    recording.close()
    from recordings.notes import add_note

    add_note(path, 1.0, "x", "answer", {"channel": "nozzle", "check": "new-check", "outcome": "y"})
    ohmvigil("judge", path)
    assert "an answer is not used: check 'new-check'" in capsys.readouterr().out


def test_notes_stand_where_they_were_put(tmp_path: Path) -> None:
    path = tmp_path / "a.ohmv"
    record(path, night(100))
    assert ohmvigil("note", path, "first", "--at", "0:20") == 0
    assert ohmvigil("note", path, "more turns", "--trial", "--channel", "nozzle") == 0
    log = Recording(path)
    notes = log.notes[1:]
    assert [(note.time_s, note.kind, note.text) for note in notes] == [
        (20.0, "note", "first"),
        (log.last_s, "trial", "more turns"),
    ]
    assert notes[1].facts == {"channel": "nozzle"}
    log.close()


def test_a_trial_may_name_the_check_that_was_done(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Then what it shows is evidence; a check that changes nothing starts no trial."""
    path = tmp_path / "a.ohmv"
    record(path, night(100))
    assert ohmvigil("note", path, "--trial", "--change", "add-capacitance") == 0
    log = Recording(path)
    assert log.notes[-1].text == "add capacitance"
    assert log.notes[-1].facts == {"change": "add-capacitance"}
    log.close()
    assert "add --trial" in line_of(capsys, "note", path, "x", "--change", "add-capacitance")
    assert "add-capacitance" in line_of(capsys, "note", path, "--trial", "--change", "look-at-seat")


def test_a_note_that_cannot_be_is_one_line(
    plain: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.ohmv"
    record(path, night(100))
    for arguments, what in (
        ((plain, "x"), "only a recording"),
        ((path,), "there is no text"),
        ((path, "x", "--at", "1:77"), "'1:77' is no time"),
        ((path, "--answer", "wiggle-cable"), "CHECK=OUTCOME"),
        ((path, "--answer", "dance=yes", "--channel", "nozzle"), "no such check"),
        ((path, "--answer", "wiggle-cable=maybe", "--channel", "nozzle"), "no outcome 'maybe'"),
        ((path, "--answer", "wiggle-cable=no-break"), "--channel"),
        ((path, "x", "--channel", "left"), "no channel 'left'"),
    ):
        assert what in line_of(capsys, "note", *arguments)
    log = Recording(path)
    assert len(log.notes) == 1
    log.close()


def test_check_says_what_is_damaged_and_repair_saves_the_rest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.ohmv"
    record(path, night(400))
    assert ohmvigil("check", path) == 0
    assert "nothing is damaged" in capsys.readouterr().out
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE sample_blocks SET data = x'00' WHERE id = 2")
    connection.close()
    assert ohmvigil("check", path, "--repair", tmp_path / "b.ohmv") == 1
    assert "damaged: sample_blocks 2" in capsys.readouterr().out
    log = open_log(tmp_path / "b.ohmv")
    assert 300 < len(joined(log.batches())) < 400
    log.close()


PRIVATE = ("jane", "garage", "192.168", "/home", ".gcode", ".token")


def test_a_bundle_holds_nothing_private_in_any_of_its_files(
    loose: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every byte of every file, unpacked as far as it goes."""
    out = tmp_path / "b.zip"
    assert ohmvigil("bundle", loose, "-o", out) == 0
    said = capsys.readouterr().out
    assert "for 192.168.1.20" in said
    with zipfile.ZipFile(out) as archive:
        assert set(archive.namelist()) == {
            "recording.ohmv",
            "report.html",
            "profile.json",
            "about.json",
            "replaced.txt",
        }
        contents = {name: archive.read(name) for name in archive.namelist()}
    log = open_log(out)
    texts = [text for batch in log.batches() for pairs in batch.texts.values() for _, text in pairs]
    assert isinstance(log, Recording)
    events = msgspec.json.encode(log.events())
    everything = b"\n".join(
        [
            *contents.values(),
            "\n".join(texts).encode(),
            events,
            msgspec.json.encode(log.notes),
            msgspec.json.encode(log.meta),
        ]
    ).lower()
    log.close()
    for word in PRIVATE:
        assert word.encode() not in everything, word
    assert b"file-1" in everything


def test_a_bundles_profile_still_says_where_readings_stand() -> None:
    """Pointers and requests stay what they are; tokens and private names in them do not."""
    scrub = Scrubber({"user": ["jane"]})
    request = {"method": "picture.follow", "params": {"token": "abc123", "file": "/home/jane/x"}}
    profile = {
        "title": "garage",
        "addresses": ["ws://garage.local:9000"],
        "token": {"file": "/home/jane/.token"},
        "requests": [{"json": json.dumps(request)}],
        "channels": {"nozzle": {"temperature_c": "/status/jane/reading", "state": None}},
    }
    found = clean_profile(profile, scrub)
    assert found["channels"]["nozzle"]["temperature_c"] == "/status/user-1/reading"
    sent = json.loads(found["requests"][0]["json"])
    assert sent == {"method": "picture.follow", "params": {"token": "token-1", "file": "file-1"}}
    assert "jane" not in json.dumps(found)
    assert "token" not in found
    assert found["title"] != "garage"


def test_a_bundle_judges_like_its_recording(
    loose: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "b.zip"
    assert ohmvigil("bundle", loose, "-o", out) == 0
    capsys.readouterr()
    assert ohmvigil("judge", loose, "--json") == 1
    whole = capsys.readouterr().out.splitlines()[1:]
    assert ohmvigil("judge", out, "--json") == 1
    assert capsys.readouterr().out.splitlines()[1:] == whole


@pytest.mark.long
def test_a_bundle_around_events_holds_nothing_else_and_judges_alike(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two losses of the link, six minutes apart: no silence is found between them."""
    found = list(updates(load_scenario("healthy-print"), 1, 900.0))
    log = list(found)
    lost = []
    for at in (2400, 1000):
        lost.append(log[at].time_s)
        back = Update(log[at + 40].time_s, log[at + 40].values | {"host.state": "up"})
        log[at : at + 41] = [Update(log[at].time_s, {"host.state": "gone"}), back]
    recorder = Recorder(tmp_path / "a.ohmv", {"title": "x"})
    recorder.updates(log)
    recorder.close()
    out = tmp_path / "b.zip"
    assert ohmvigil("bundle", tmp_path / "a.ohmv", "-o", out, "--around", "60") == 0
    bundle = open_log(out)
    kept = joined(bundle.batches())
    bundle.close()
    assert len(kept) < len(log) / 2
    assert all(min(abs(update.time_s - at_s) for at_s in lost) < 80.0 for update in kept)
    assert kinds(tmp_path / "a.ohmv", capsys) == kinds(out, capsys) == ["link-loss", "link-loss"]


def kinds(path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    capsys.readouterr()
    ohmvigil("judge", path, "--json")
    records = map(json.loads, capsys.readouterr().out.splitlines())
    return [record["kind"] for record in records if record["record"] == "event"]


def test_there_must_be_events_to_keep_something_around(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plain = tmp_path / "a.csv"
    rows = "".join(f"{second},21.5\n" for second in range(20))
    plain.write_text(f"time_s,chamber.temperature_c\n{rows}")
    assert "--around" in line_of(capsys, "bundle", plain, "-o", tmp_path / "b.zip", "--around", "9")


def test_a_span_without_samples_is_named(
    loose: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "b.zip"
    line = line_of(capsys, "bundle", loose, "-o", out, "--from", "9:00:00")
    assert "no sample" in line
    assert not out.exists()


def test_bundle_options_that_cannot_be_are_named(
    loose: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "b.zip"
    for more, what in (
        (("--from", "60", "--to", "30"), "--to"),
        (("--from", "soon"), "--from"),
        (("--around", "lots"), "--around"),
        (("--around", "nan"), "--around"),
        (("--hide", "x"), "--hide"),
    ):
        assert what in line_of(capsys, "bundle", loose, "-o", out, *more)


def test_a_replay_of_a_bundle_gets_as_far_as_the_terminal(
    loose: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "b.zip"
    assert ohmvigil("bundle", loose, "-o", out, "--to", "60") == 0
    capsys.readouterr()
    assert "needs a terminal" in line_of(capsys, "replay", out)


def test_the_report_of_a_log_is_the_same_to_the_byte_each_time(loose: Path, tmp_path: Path) -> None:
    for name in ("a.html", "b.html"):
        assert ohmvigil("report", loose, "-o", tmp_path / name) == 0
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


def test_a_folder_that_is_not_there_is_one_line(
    loose: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = tmp_path / "none"
    for command, name in (("report", "a.html"), ("bundle", "a.zip"), ("export", "a.csv")):
        assert os.fspath(where) in line_of(capsys, command, loose, "-o", where / name)
