"""Recordings that were crafted: nothing of theirs runs, and each ends in one line."""

import sqlite3
from pathlib import Path

import pytest

from recordings.check import verify
from recordings.notes import add_note
from recordings.reader import Recording
from recordings.schema import TABLES, create_table
from recordings.writer import Recorder
from shared.errors import BadInput
from shared.updates import Update

TRAPS = {
    "a trigger on notes": (
        "CREATE TRIGGER t AFTER INSERT ON notes BEGIN DELETE FROM sample_blocks; END",
        "has a trigger t",
    ),
    "a view without an end": (
        "DROP TABLE entry_blocks; CREATE VIEW entry_blocks AS WITH RECURSIVE n(id) AS "
        "(SELECT 1 UNION ALL SELECT id + 1 FROM n) SELECT id, 0.0 AS first_own_s, 0.0 AS "
        "last_own_s, 0 AS count, 0 AS size, x'' AS data, 0 AS crc FROM n",
        "has a view entry_blocks",
    ),
    "a computed column": (
        f"DROP TABLE keys; CREATE TABLE keys ({TABLES['keys']}, x AS (id * 2))",
        "table keys is not as",
    ),
    "a table more": ("CREATE TABLE more (x)", "has a table more"),
    "an index of its own": ("CREATE INDEX i ON notes (lower(text))", "has a index i"),
    "another view of events": (
        "DROP VIEW events; CREATE VIEW events AS SELECT * FROM notes",
        "view events is not as",
    ),
}


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """A small whole recording."""
    path = tmp_path / "a.ohmv"
    recorder = Recorder(path, {"title": "a"})
    recorder.updates([Update(n * 0.5, {"nozzle.temperature_c": 25.0}) for n in range(9)])
    recorder.close()
    return path


@pytest.mark.parametrize("trap", TRAPS)
def test_a_schema_that_is_not_exactly_ours_is_refused_by_all(trap: str, recording: Path) -> None:
    """Reading, noting and checking: one line that names the part, and nothing of it has run."""
    statements, says = TRAPS[trap]
    connection = sqlite3.connect(recording)
    connection.executescript(statements)
    connection.close()
    blocks = rows_of(recording)
    for attempt in (
        lambda: Recording(recording).close(),
        lambda: add_note(recording, 1.0, "note"),
        lambda: verify(recording),
    ):
        with pytest.raises(BadInput, match=says):
            attempt()
    assert rows_of(recording) == blocks


def test_a_recording_that_lacks_a_table_can_still_be_checked(recording: Path) -> None:
    """Damage is no trap: reading refuses it with the way out, checking tells what is whole."""
    connection = sqlite3.connect(recording)
    connection.execute("DROP TABLE anchors")
    connection.close()
    with pytest.raises(BadInput, match="its table anchors is missing; try `ohmvigil check`"):
        Recording(recording)
    assert not verify(recording).is_whole


def test_ours_is_exactly_ours(recording: Path) -> None:
    """What a recorder makes passes, and its tables are as documented."""
    Recording(recording).close()
    connection = sqlite3.connect(recording)
    for name in TABLES:
        (sql,) = connection.execute("SELECT sql FROM sqlite_schema WHERE name = ?", (name,))
        assert sql == (create_table(name),)
    connection.close()


def rows_of(path: Path) -> int:
    connection = sqlite3.connect(path)
    (count,) = connection.execute("SELECT count(*) FROM sample_blocks").fetchone()
    connection.close()
    return int(count)
