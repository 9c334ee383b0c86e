"""Blocks that are missing or were swapped: the seal tells, where ids and sums cannot."""

import sqlite3
import stat
from pathlib import Path

import pytest

from recordings.check import repair, verify
from recordings.notes import add_note
from recordings.reader import Recording
from recordings.schema import crc_of
from recordings.seal import SEALED
from recordings.writer import Recorder
from shared.updates import Update
from tests.recordings.logs import entry_of, finding, night, record


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "a.ohmv"
    record(path, night(200))
    return path


def change(path: Path, statement: str, *values: object) -> None:
    connection = sqlite3.connect(path, isolation_level=None)
    assert connection.execute(statement, values).rowcount > 0
    connection.close()


def faults_of(path: Path) -> list[str]:
    return [str(fault) for fault in verify(path).faults]


@pytest.mark.parametrize(
    ("table", "last"),
    [("sample_blocks", 10), ("entry_blocks", 10), ("event_changes", 3), ("anchors", 1)],
)
def test_rows_missing_at_the_end_are_told(recording: Path, table: str, last: int) -> None:
    assert verify(recording).is_whole
    change(recording, f"DELETE FROM {table} WHERE id = ?", last)
    report = verify(recording)
    assert f"{table}: ids {last} to {last} are missing at the end" in map(str, report.faults)
    assert any(loss.table == table and loss.last == last for loss in report.lost)


def test_all_rows_of_a_table_missing_are_told(recording: Path) -> None:
    change(recording, "DELETE FROM sample_blocks")
    assert "sample_blocks: ids 1 to 10 are missing at the end" in faults_of(recording)


def test_a_note_and_a_key_that_are_missing_are_told(recording: Path) -> None:
    """Notes have no gaps by themselves, whoever wrote them."""
    for text in ("one", "two", "three"):
        add_note(recording, 1.0, text)
    assert verify(recording).is_whole
    change(recording, "DELETE FROM notes WHERE text = 'two'")
    assert faults_of(recording) == ["notes: 1 of 4 rows up to 4 are missing"]


def test_a_block_of_an_older_copy_is_told(recording: Path) -> None:
    """Its own sum holds: it is a block of ours, but not this one."""
    connection = sqlite3.connect(recording, isolation_level=None)
    row = list(connection.execute("SELECT * FROM entry_blocks WHERE id = 4").fetchone())
    row[0] = 5
    connection.execute("DELETE FROM entry_blocks WHERE id = 5")
    connection.execute(
        "INSERT INTO entry_blocks VALUES (?, ?, ?, ?, ?, ?, ?)", (*row[:-1], crc_of(row[:-1]))
    )
    connection.close()
    assert faults_of(recording) == ["entry_blocks: rows up to 10 are not those that were recorded"]


def test_a_repaired_file_is_sealed_anew_and_names_what_is_gone(
    recording: Path, tmp_path: Path
) -> None:
    change(recording, "DELETE FROM sample_blocks WHERE id >= 8")
    out = tmp_path / "saved.ohmv"
    assert not repair(recording, out).is_whole
    saved = verify(out)
    assert saved.is_whole
    assert saved.is_sealed
    assert [(loss.first, loss.last) for loss in saved.lost if loss.table == "sample_blocks"] == [
        (8, 10)
    ]
    change(out, "DELETE FROM sample_blocks WHERE id = 7")
    assert "sample_blocks: ids 7 to 7 are missing at the end" in faults_of(out)


def test_a_live_file_is_sealed_at_an_event(tmp_path: Path) -> None:
    """What came after it may be cut off; what came before it may not."""
    path = tmp_path / "live.ohmv"
    recorder = Recorder(path, {"title": "live"})
    for number in range(3):
        update = Update(float(number), {"nozzle.temperature_c": 25.0})
        recorder.entry(entry_of(update))
        recorder.updates([update])
        if number == 1:
            recorder.event(finding(1))
        recorder.flush()
    report = verify(path)
    assert report.is_sealed
    assert report.is_whole
    recorder.close()
    assert verify(path).is_whole


def test_a_recording_without_a_seal_opens_and_takes_notes(recording: Path) -> None:
    """As older recorders wrote them."""
    change(recording, "DELETE FROM about WHERE name IN (?, ?)", *SEALED)
    Recording(recording).close()
    report = verify(recording)
    assert report.is_whole
    assert not report.is_sealed
    add_note(recording, 1.0, "more")
    assert verify(recording).is_whole


def test_a_name_that_is_lost_is_given_by_number(recording: Path, tmp_path: Path) -> None:
    """Of keys with numbers as of keys with texts."""
    connection = sqlite3.connect(recording, isolation_level=None)
    lost = dict(connection.execute("SELECT name, id FROM keys").fetchall())
    connection.close()
    numbers = [lost["nozzle.flags"], lost["nozzle.code"]]
    change(recording, f"DELETE FROM keys WHERE id IN ({numbers[0]}, {numbers[1]})")
    out = tmp_path / "saved.ohmv"
    repair(recording, out)
    assert verify(out).is_whole
    saved = Recording(out)
    assert {f"lost.key-{number}" for number in numbers} < set(saved.keys)
    texts = {key for batch in saved.batches() for key in batch.texts}
    assert texts == {f"lost.key-{numbers[0]}"}
    saved.close()


def test_recordings_are_their_owner_s_alone(recording: Path, tmp_path: Path) -> None:
    out = tmp_path / "saved.ohmv"
    repair(recording, out)
    assert {stat.S_IMODE(path.stat().st_mode) for path in (recording, out)} == {0o600}
