"""Real disks: one of 2 MB that fills, one that turns read-only. They need the right to mount."""

import os
import subprocess
from collections.abc import Iterator, Sequence
from itertools import count
from pathlib import Path

import pytest

from recordings.check import verify
from recordings.reader import Recording
from recordings.rolling import RollingRecorder
from recordings.writer import Recorder
from shared.errors import BadInput
from shared.updates import Update
from tests.recordings.logs import entry_of, finding, joined, night


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 2 MB."""
    folder = tmp_path / "disk"
    folder.mkdir()
    if os.geteuid() != 0:
        pytest.skip("only root may mount a small disk")
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "none", str(folder)],
        check=False,
        capture_output=True,
        text=True,
    )
    if made.returncode != 0:
        pytest.skip(f"no small disk can be mounted here: {made.stderr.strip()}")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def feed(recorder: Recorder | RollingRecorder, log: Sequence[Update]) -> list[str]:
    """Record a log, tried every 10 s of it; the distinct troubles on the way."""
    troubles = []
    for index, update in enumerate(log):
        recorder.entry(entry_of(update))
        recorder.updates([update])
        if index % 40 == 39:
            recorder.flush()
            if recorder.trouble not in troubles:
                troubles.append(recorder.trouble)
    return troubles


def contents(path: Path) -> tuple[int, list[Update]]:
    recording = Recording(path)
    try:
        return len(list(recording.entries())), joined(recording.batches())
    finally:
        recording.close()


def test_a_full_disk_costs_nothing_once_there_is_room(disk: Path) -> None:
    """Recording pauses before the last block, says so, and goes on by itself: nothing is lost."""
    ballast = disk / "ballast"
    ballast.write_bytes(bytes(1_600_000))
    log = night(12_000)
    path = disk / "a.ohmv"
    recorder = Recorder(path, {})
    troubles = feed(recorder, log[:8000])
    assert troubles[0] == ""
    assert "kept in memory, trying again" in troubles[-1]
    recorder.event(finding(1))
    ballast.unlink()
    feed(recorder, log[8000:])
    assert recorder.flush()
    assert recorder.trouble == ""
    recorder.close()
    assert contents(path) == (len(log), log)
    assert verify(path).is_whole


@pytest.mark.long
def test_a_disk_that_stays_full_holds_a_whole_recording_of_what_fitted(disk: Path) -> None:
    """What did not fit is lost when the program ends; what did is complete and says its end."""
    log = night(40_000)
    path = disk / "a.ohmv"
    recorder = Recorder(path, {})
    feed(recorder, log)
    trouble = recorder.trouble
    assert trouble.startswith("cannot store: ")
    recorder.close()
    assert verify(path).is_whole
    _, updates = contents(path)
    assert updates == log[: len(updates)]
    assert len(updates) > 5000


def test_a_full_disk_begins_no_new_file_and_loses_nothing_at_the_seam(disk: Path) -> None:
    """A run over several files, with the disk full in the middle of it."""
    ballast = disk / "ballast"
    ballast.write_bytes(bytes(1_500_000))
    log = night(16_000)
    names = (disk / f"n{number:02}.ohmv" for number in count(1))
    recorder = RollingRecorder(names, {}, new_file_s=400.0)
    troubles = feed(recorder, log[:12_000])
    assert any(words.startswith("cannot store") for words in troubles)
    ballast.unlink()
    feed(recorder, log[12_000:])
    recorder.flush()
    recorder.close()
    assert recorder.trouble == ""
    files = sorted(disk.glob("*.ohmv"))
    assert len(files) >= 3
    assert all(verify(path).is_whole for path in files)
    assert sum(contents(path)[0] for path in files) == len(log)
    times = [update.time_s for path in files for update in contents(path)[1]]
    assert times == [update.time_s for update in log]


def test_a_read_only_disk_is_refused_at_once(disk: Path) -> None:
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    with pytest.raises(BadInput, match="Read-only file system"):
        Recorder(disk / "a.ohmv", {})


def test_a_disk_that_is_pulled_out_is_waited_for(disk: Path) -> None:
    """The folder is empty meanwhile; when the disk is back, what was missed is in a new file."""
    log = night(2000)
    recorder = Recorder(disk / "a.ohmv", {})
    feed(recorder, log[:1000])
    subprocess.run(["umount", "-l", str(disk)], check=True)
    disk.chmod(0o755)
    disk.rmdir()
    troubles = feed(recorder, log[1000:1500])
    assert "No such file" in troubles[-1]
    disk.mkdir()
    feed(recorder, log[1500:])
    assert recorder.flush()
    recorder.close()
    assert recorder.trouble == ""
    assert contents(disk / "a.ohmv")[1] == log[1000:]
    subprocess.run(["mount", "-t", "tmpfs", "none", str(disk)], check=True)
