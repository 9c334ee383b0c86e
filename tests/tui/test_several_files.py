"""report, bundle, judge, export and replay over the files of a run, as a person types them."""

import json
import shutil
import zipfile
from itertools import count
from pathlib import Path

import msgspec
import pytest

from client.simulated.plain import updates
from client.simulated.scenario import load_scenario
from recordings.logs import open_log
from recordings.reader import Recording
from recordings.rolling import RollingRecorder
from recordings.several import followed, open_logs
from shared.updates import Entry, EntryKind
from tests.recordings.logs import joined
from tui.commands.judge import judge, judge_log
from tui.main import run
from tui.replay import Replay
from tui.snapshot import LinkState


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The loose terminal for four minutes, a new file each minute or so."""
    scenario = load_scenario("loose-terminal")
    folder = tmp_path_factory.mktemp("run")
    names = (folder / f"janes-{number}.ohmv" for number in count(1))
    meta = {"title": "Jane's garage", "chains": dict(scenario.chains)}
    recorder = RollingRecorder(names, meta, 60.0)
    for number, update in enumerate(updates(scenario, 1, 240.0)):
        recorder.entry(Entry(update.time_s, EntryKind.MESSAGE, msgspec.json.encode(update)))
        recorder.updates([update])
        if number % 40 == 39:
            recorder.flush()
        if recorder._opening is not None:
            recorder._opening.join()
    recorder.close()
    assert len(list(folder.iterdir())) >= 3
    return folder


def ohmvigil(*arguments: object) -> int:
    return run([str(argument) for argument in arguments])


def test_a_run_in_many_files_is_judged_as_in_one(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same events, to the byte, as the plain log that the same command exports."""
    one = tmp_path / "one.csv"
    assert ohmvigil("export", folder, "-o", one) == 0
    scenario = load_scenario("loose-terminal")
    alone = judge(str(one), scenario.chains)
    assert alone.events
    log = open_logs([folder])
    together = judge_log(log, log.chains)
    log.close()
    assert together.events == alone.events
    assert together.causes == alone.causes
    assert together.verdict == alone.verdict
    capsys.readouterr()
    assert ohmvigil("judge", "--joined", "--json", folder) == 1
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [line["record"] for line in lines].count("file") == 1
    assert lines[0]["path"].endswith(f"janes-1.ohmv and {len(list(folder.iterdir())) - 1} more")


def test_one_page_tells_of_the_whole_run(folder: Path, tmp_path: Path) -> None:
    """However the files are named, the page is the same, and its events lie in every file."""
    files = sorted(folder.iterdir())
    assert ohmvigil("report", folder, "-o", tmp_path / "a.html") == 0
    assert ohmvigil("report", *reversed(files), "-o", tmp_path / "b.html") == 0
    page = (tmp_path / "a.html").read_text()
    assert page == (tmp_path / "b.html").read_text()
    assert f"janes-1.ohmv and {len(files) - 1} more" in page
    assert "4 min" in page


def test_a_bundle_of_a_run_names_none_of_its_files(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "a.zip"
    assert ohmvigil("bundle", folder, "-o", out) == 0
    with zipfile.ZipFile(out) as archive:
        for name in archive.namelist():
            assert b"janes" not in archive.read(name)
    bundle, log = open_log(out), open_logs([folder])
    assert [update.time_s for update in joined(bundle.batches())] == [
        update.time_s for update in joined(log.batches())
    ]
    bundle.close()
    log.close()


def test_a_file_of_the_run_is_never_written_over(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    last = tmp_path / "last.csv"
    last.symlink_to(sorted(folder.iterdir())[-1])
    assert ohmvigil("export", folder, "-o", last) == 2
    assert "is the file that is being read" in capsys.readouterr().err


def test_a_run_replays_as_one(folder: Path) -> None:
    """Its outline is of all files at once; judged, it is what `judge --joined` finds."""
    log = open_logs([folder])
    wanted = judge_log(log, log.chains)
    replay = Replay(log, "run")
    replay._glance()
    first_s, last_s = replay.history.span_s
    assert last_s - first_s == log.duration_s
    replay._follow()
    replay._watch.finish()
    replay._show(is_read=True)
    shown = replay.snapshot()
    assert [event for event in shown.events if event.absorbed_by is None] == wanted.events
    assert shown.verdict == wanted.verdict
    replay.close()


def test_a_live_replay_goes_on_into_the_next_file(tmp_path: Path) -> None:
    """The run begins a new file meanwhile: nothing is missing and nothing comes twice."""
    scenario = load_scenario("healthy-print")
    names = (tmp_path / f"night-{number}.ohmv" for number in count(1))
    recorder = RollingRecorder(names, {"title": "garage"}, 40.0)
    given = list(updates(scenario, 1, 150.0))
    replay: Replay | None = None
    for number, update in enumerate(given):
        recorder.entry(Entry(update.time_s, EntryKind.MESSAGE, msgspec.json.encode(update)))
        recorder.updates([update])
        if number % 40 == 39:
            recorder.flush()
        if recorder._opening is not None:
            recorder._opening.join()
        if number == 100:
            recorder.flush()
            replay = Replay(followed(Recording(recorder.path)), "night")
            assert replay.snapshot().link.state is LinkState.LIVE_FILE
            replay._wake.set()
            replay.start()
    recorder.close()
    assert len(list(tmp_path.iterdir())) >= 3
    assert replay is not None
    replay._thread.join(timeout=120.0)
    first_s, last_s = replay.history.span_s
    assert (first_s, last_s) == (given[0].time_s, given[-1].time_s)
    times, _ = replay.history.samples("nozzle.temperature_c", first_s, last_s)
    wanted = [update.time_s for update in given if "nozzle.temperature_c" in update.values]
    assert list(times) == wanted
    assert replay.snapshot().link.state is LinkState.FILE
    replay.close()


def test_a_note_in_a_replay_of_a_run_goes_into_the_file_of_its_time(
    folder: Path, tmp_path: Path
) -> None:
    """Also in the file that is being written, which is followed as a run of one file."""
    files = [Path(shutil.copy(path, tmp_path)) for path in sorted(folder.iterdir())]
    log = open_logs(files)
    replay = Replay(log, "run")
    second = Recording(files[1])
    at_s = (second.first_s or 0.0) + 1.0
    second.close()
    assert replay.note("seen", at_s) == f"stored in {files[1].name}"
    replay.close()
    alone = Replay(followed(Recording(files[0])), "live")
    assert alone.note("there", 2.0) == f"stored in {files[0].name}"
    alone.close()
    joined_again = open_logs(files)
    assert [(note.time_s, note.text) for note in joined_again.notes] == [
        (2.0, "there"),
        (at_s, "seen"),
    ]
    joined_again.close()
