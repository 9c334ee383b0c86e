"""Recordings of other versions: an older one is read through its steps, a newer one refused."""

import sqlite3
from pathlib import Path

import pytest

from recordings import migration
from recordings.check import repair, verify
from recordings.notes import add_note
from recordings.reader import Recording
from recordings.schema import VERSION, create_table
from shared.errors import BadInput
from shared.notes import Note
from tests.recordings.logs import joined, night, record


def kind_added(connection: sqlite3.Connection) -> None:
    """A step as a real one would be: an older form knew no kinds of notes."""
    connection.execute("ALTER TABLE notes RENAME TO old_notes")
    connection.execute(create_table("notes"))
    connection.execute(
        "INSERT INTO notes SELECT id, time_s, 'note', text, facts, 0 FROM old_notes ORDER BY id"
    )
    connection.execute("DROP TABLE old_notes")
    migration.sum_rows(connection, "notes")


@pytest.fixture
def older(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A recording of an imagined version before the first, with the step that it takes."""
    monkeypatch.setattr(migration, "STEPS", {VERSION - 1: kind_added})
    path = tmp_path / "older.ohmv"
    record(path, night(120))
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("ALTER TABLE notes DROP COLUMN kind")
    connection.execute(f"PRAGMA user_version = {VERSION - 1}")
    connection.close()
    return path


def test_an_older_recording_reads_as_one_of_today_and_stays_as_it_is(older: Path) -> None:
    before = older.read_bytes()
    recording = Recording(older)
    assert recording.notes == (Note(3.25, "tightened the terminal"),)
    assert joined(recording.batches()) == night(120)
    recording.close()
    assert verify(older).is_whole
    assert older.read_bytes() == before


def test_repair_brings_it_up_to_date(older: Path, tmp_path: Path) -> None:
    """Notes can then be added, which an older file does not take."""
    with pytest.raises(BadInput, match="is of an older ohmvigil; bring it up to date with"):
        add_note(older, 1.0, "more")
    out = tmp_path / "today.ohmv"
    assert repair(older, out).is_whole
    connection = sqlite3.connect(out)
    assert connection.execute("PRAGMA user_version").fetchone() == (VERSION,)
    connection.close()
    add_note(out, 1.0, "more")
    recording = Recording(out)
    assert [note.text for note in recording.notes] == ["tightened the terminal", "more"]
    recording.close()


def test_a_step_that_fails_is_one_line(older: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(connection: sqlite3.Connection) -> None:
        connection.execute("SELECT * FROM a_table_that_is_not_there")

    monkeypatch.setattr(migration, "STEPS", {VERSION - 1: failing})
    with pytest.raises(BadInput, match="damaged: no such table") as caught:
        Recording(older)
    assert "\n" not in str(caught.value)


def test_versions_without_a_way_are_refused(
    older: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(migration, "STEPS", {})
    with pytest.raises(BadInput, match="schema version 0, which this ohmvigil cannot read"):
        Recording(older)
    newer = tmp_path / "newer.ohmv"
    record(newer, night(20))
    connection = sqlite3.connect(newer)
    connection.execute(f"PRAGMA user_version = {VERSION + 1}")
    connection.close()
    words = f"newer.ohmv: has schema version {VERSION + 1}; this ohmvigil reads up to {VERSION}"
    for open_it in (Recording, verify):
        with pytest.raises(BadInput, match=f"{words}; use a newer ohmvigil"):
            open_it(newer)
