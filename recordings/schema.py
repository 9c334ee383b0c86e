"""Tables of a recording, and the sum that guards each of their rows.

docs/recording.md describes them for other programs; a change here is a new `VERSION`.
"""

import sqlite3
import zlib
from collections.abc import Sequence
from typing import NamedTuple

import msgspec

APPLICATION_ID = 0x4F484D56
"""`PRAGMA application_id` of a recording: the ASCII letters OHMV."""
VERSION = 1
"""`PRAGMA user_version`: the schema's version."""
ROLL_UP_S = 10.0
"""Width of a roll-up, s of log time."""

UNREADABLE = (sqlite3.Error, UnicodeDecodeError)
"""What reading a damaged database raises; the latter when SQLite's own message quotes it."""

Cell = int | float | str | bytes | None

TABLES = {
    "about": "name TEXT PRIMARY KEY, value TEXT NOT NULL, crc INTEGER NOT NULL",
    "keys": "id INTEGER PRIMARY KEY, name TEXT NOT NULL, crc INTEGER NOT NULL",
    "entry_blocks": (
        "id INTEGER PRIMARY KEY, first_own_s REAL NOT NULL, last_own_s REAL NOT NULL, "
        "count INTEGER NOT NULL, size INTEGER NOT NULL, data BLOB NOT NULL, crc INTEGER NOT NULL"
    ),
    "sample_blocks": (
        "id INTEGER PRIMARY KEY, first_s REAL NOT NULL, last_s REAL NOT NULL, "
        "count INTEGER NOT NULL, readings INTEGER NOT NULL, size INTEGER NOT NULL, "
        "data BLOB NOT NULL, crc INTEGER NOT NULL"
    ),
    "roll_ups": (
        "id INTEGER PRIMARY KEY, start_s REAL NOT NULL, key_id INTEGER NOT NULL, low REAL, "
        "mean REAL, high REAL, count INTEGER NOT NULL, crc INTEGER NOT NULL"
    ),
    "event_changes": (
        "id INTEGER PRIMARY KEY, event_id INTEGER NOT NULL, kind TEXT NOT NULL, "
        "channel TEXT NOT NULL, start_s REAL, end_s REAL, severity TEXT NOT NULL, "
        "count INTEGER NOT NULL, value REAL, unit TEXT NOT NULL, tied_to TEXT, "
        "absorbed_by INTEGER, text TEXT NOT NULL, data BLOB NOT NULL, crc INTEGER NOT NULL"
    ),
    "notes": (
        "id INTEGER PRIMARY KEY, time_s REAL, kind TEXT NOT NULL, text TEXT NOT NULL, "
        "facts TEXT NOT NULL, crc INTEGER NOT NULL"
    ),
    "anchors": (
        "id INTEGER PRIMARY KEY, own_s REAL NOT NULL, wall_s REAL NOT NULL, time_s REAL, "
        "why TEXT NOT NULL, crc INTEGER NOT NULL"
    ),
}
"""Columns of each table. `crc` is always the last."""

VIEWS = {
    "events": (
        "SELECT * FROM event_changes WHERE id IN "
        "(SELECT max(id) FROM event_changes GROUP BY event_id) AND absorbed_by IS NULL"
    ),
    "roll_up": (
        "SELECT keys.name AS key, start_s, low, mean, high, count "
        "FROM roll_ups JOIN keys ON keys.id = roll_ups.key_id"
    ),
}


class StoredRow(NamedTuple):
    """A row on its way to its table: every column but `crc`."""

    table: str
    cells: tuple[Cell, ...]


def crc_of(cells: Sequence[Cell]) -> int:
    """CRC-32 (as zlib's) of the MessagePack array of a row's other columns."""
    # SQLite keeps no negative zero.
    plain = [cell + 0.0 if type(cell) is float else cell for cell in cells]
    return zlib.crc32(msgspec.msgpack.encode(plain))


def create_table(name: str) -> str:
    return f"CREATE TABLE {name} ({TABLES[name]})"


def create_statements() -> list[str]:
    """Statements that make an empty recording's tables and views."""
    tables = [create_table(name) for name in TABLES]
    return tables + [create_view(name) for name in VIEWS]


def expected_parts() -> dict[tuple[str, str], str | None]:
    """All that a recording's schema has: SQL by type and name; None for SQLite's own index."""
    tables: dict[tuple[str, str], str | None] = {
        ("table", name): create_table(name) for name in TABLES
    }
    views = {("view", name): create_view(name) for name in VIEWS}
    return {**tables, **views, ("index", "sqlite_autoindex_about_1"): None}


def create_view(name: str) -> str:
    return f"CREATE VIEW {name} AS {VIEWS[name]}"


def insert_statement(table: str) -> str:
    """Insert that ignores a row whose id is there: the same batch may be tried twice."""
    marks = ", ".join("?" for _ in TABLES[table].split(", "))
    return f"INSERT OR IGNORE INTO {table} VALUES ({marks})"
