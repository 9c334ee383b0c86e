"""A recording that is renamed, removed or replaced while it is written loses nothing."""

import random
from pathlib import Path

import pytest

from recordings.check import verify
from recordings.reader import Recording
from recordings.writer import Recorder
from shared.updates import Update


def row(n: int) -> Update:
    return Update(n * 0.5, {"nozzle.temperature_c": 20.0 + n})


def rows_of(path: Path) -> list[float]:
    """Values of a recording, in order."""
    recording = Recording(path)
    values = [
        float(value)
        for batch in recording.batches()
        for value in batch.numbers["nozzle.temperature_c"]
    ]
    recording.close()
    return values


def record(recorder: Recorder, first: int, last: int) -> list[float]:
    """Rows, each stored before this returns."""
    for n in range(first, last):
        recorder.updates([row(n)])
    assert recorder.flush()
    return [20.0 + n for n in range(first, last)]


@pytest.mark.parametrize("seed", range(20))
def test_a_renamed_recording_keeps_all_that_was_stored(seed: int, tmp_path: Path) -> None:
    """Without its side files, at a random moment; what comes later is in the next file."""
    count = random.Random(seed).randint(1, 200)
    path, moved = tmp_path / "a.ohmv", tmp_path / "b.ohmv"
    recorder = Recorder(path, {"title": "a"})
    before = record(recorder, 0, count)
    recorder.note(1.0, "a note that was confirmed")
    assert recorder.flush()
    path.rename(moved)
    after = record(recorder, count, count + 10)
    assert "moved to b.ohmv" in recorder.trouble
    recorder.close()
    assert rows_of(moved) == before
    assert rows_of(path) == after
    assert verify(moved).is_whole
    assert verify(path).is_whole
    old, new = Recording(moved), Recording(path)
    assert [note.text for note in old.notes] == ["a note that was confirmed"]
    assert new.meta["continues"] == "b.ohmv"
    old.close()
    new.close()


def test_a_removed_recording_is_saved_anew(tmp_path: Path) -> None:
    path = tmp_path / "a.ohmv"
    recorder = Recorder(path, {"title": "a"})
    before = record(recorder, 0, 50)
    path.unlink()
    after = record(recorder, 50, 60)
    assert "saved anew" in recorder.trouble
    recorder.close()
    assert rows_of(path) == before + after
    assert verify(path).is_whole


def test_a_recording_that_was_replaced_is_told_and_the_other_file_is_left_alone(
    tmp_path: Path,
) -> None:
    """What has taken its place belongs to somebody else."""
    path, other = tmp_path / "a.ohmv", tmp_path / "other"
    other.write_text("mine")
    recorder = Recorder(path, {"title": "a"})
    record(recorder, 0, 5)
    path.rename(tmp_path / "kept.ohmv")
    other.rename(path)
    recorder.updates([row(5)])
    assert not recorder.flush()
    assert "another file has taken its place" in recorder.trouble
    recorder.close()
    assert path.read_text() == "mine"
    assert rows_of(tmp_path / "kept.ohmv") == [20.0 + n for n in range(5)]


def test_a_file_copied_alone_after_a_note_has_the_note(tmp_path: Path) -> None:
    """Each note takes the write-ahead log into the file."""
    path = tmp_path / "a.ohmv"
    recorder = Recorder(path, {"title": "a"})
    values = record(recorder, 0, 20)
    recorder.note(1.0, "looked at the plug")
    assert recorder.flush()
    copy = tmp_path / "copy.ohmv"
    copy.write_bytes(path.read_bytes())
    recorder.close()
    assert rows_of(copy) == values
