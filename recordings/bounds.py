"""How much a recording may hold, told by its tables before anything of it is unpacked.

Any file of up to `SMALL_BYTES` is answered in bounded time and memory, or refused. The bounds
grow with the file: what a recorder wrote, however long the night, stays within them.
"""

import sqlite3
from collections.abc import Iterable
from pathlib import Path

from recordings.files import shown
from recordings.packing import MAX_KEYS, Damaged
from shared.errors import BadInput
from shared.words import channel_of

SMALL_BYTES = 64 << 20
"""Up to this size a file is surveyed; a larger one takes its time, block by block."""
MAX_CHANNELS = 256
HELD_BYTES = 8 << 20
"""Numbers and texts that are joined to one batch."""
MAX_ROWS = {
    "about": 1000,
    "keys": MAX_KEYS,
    "entry_blocks": 250_000,
    "sample_blocks": 250_000,
    "roll_ups": 800_000,
    "event_changes": 100_000,
    "notes": 20_000,
    "anchors": 200_000,
}
"""Rows of each table of a small file: days of what a recorder writes."""
MAX_SUMS = (
    ("about", "length(value)", 4 << 20, 0, "characters of facts"),
    ("notes", "length(text) + length(facts)", 16 << 20, 0, "characters of notes"),
    ("event_changes", "length(data)", 32 << 20, 0, "bytes of events"),
    ("sample_blocks", "count", 4_000_000, 0, "rows"),
    ("sample_blocks", "size", 128 << 20, 2, "bytes of samples"),
    ("entry_blocks", "size", 512 << 20, 8, "bytes of messages"),
)
"""Table, what is summed, how much is allowed, and how many times the file's size if that is
more."""


def survey(connection: sqlite3.Connection, path: Path) -> None:
    """Raise BadInput for a small file that says that it holds far more than recorders write.

    A table that cannot be read is left to who reads it.
    """
    try:
        size = path.stat().st_size
    except OSError:
        return
    if size > SMALL_BYTES:
        return
    for table, most in MAX_ROWS.items():
        found = _number(
            connection, f"SELECT count(*) FROM (SELECT 1 FROM {table} LIMIT {most + 1})"
        )
        if found > most:
            raise _too_much(path, f"{table} has more than {most} rows")
    for table, summed, least, times, words in MAX_SUMS:
        most = max(least, times * size)
        total = _number(connection, f"SELECT total(max({summed}, 0)) FROM {table}")
        if total > most:
            raise _too_much(path, f"{table} says {total:.0f} {words}, of at most {most}")


def check_keys(names: Iterable[str]) -> None:
    """Raise Damaged for more keys, or more channels, than a host has."""
    names = list(names)
    if len(names) > MAX_KEYS:
        raise Damaged(f"it has more than {MAX_KEYS} keys")
    channels = len(set(map(channel_of, names)))
    if channels > MAX_CHANNELS:
        raise Damaged(f"it has {channels} channels; at most {MAX_CHANNELS} are read")


def _number(connection: sqlite3.Connection, statement: str) -> float:
    try:
        return float(connection.execute(statement).fetchone()[0] or 0.0)
    except sqlite3.Error:
        return 0.0


def _too_much(path: Path, what: str) -> BadInput:
    do = "no recorder wrote so much into so small a file: ask for it again, or record in parts"
    return BadInput(shown(path), what, do)
