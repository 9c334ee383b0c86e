"""How much a recording may hold, told by its tables before anything of it is unpacked.

Any file of up to `SMALL_BYTES` is answered in bounded time and memory, or refused. The bounds
grow with the file: what a recorder wrote, however long the night, stays within them.
"""

import sqlite3
from pathlib import Path

from recordings.files import shown
from recordings.packing import MAX_KEYS, Damaged
from recordings.schema import UNREADABLE
from shared.errors import BadInput
from shared.words import channel_of

SMALL_BYTES = 64 << 20
"""Up to this size a file is surveyed; a larger one takes its time, block by block."""
MAX_CHANNELS = 256
LOST = "lost"
"""Channel of keys whose name is lost; it may be one more."""
MAX_LOG_ROWS = 2_500_000
MAX_NUMBERS_BYTES = 64 << 20
NUMBERS_PART = 2
"""Rows of a log in a small file, and its numbers unpacked, or so many times the file's size."""
HELD_BYTES = 8 << 20
"""Numbers and texts that are joined to one batch."""
MAX_ROWS = {
    "about": 1000,
    "keys": MAX_KEYS,
    "entry_blocks": 40_000,
    "sample_blocks": 40_000,
    "roll_ups": 400_000,
    "event_changes": 100_000,
    "notes": 20_000,
    "anchors": 200_000,
}
"""Rows of each table of a small file: days of what a recorder writes."""
MAX_SUMS = (
    ("about", "length(value)", 4 << 20, 0, "characters of facts"),
    ("notes", "length(text) + length(facts)", 16 << 20, 0, "characters of notes"),
    ("event_changes", "length(data)", 32 << 20, 0, "bytes of events"),
    ("sample_blocks", "count", MAX_LOG_ROWS, 0, "rows"),
    ("sample_blocks", "size", MAX_NUMBERS_BYTES, NUMBERS_PART, "bytes of samples"),
    ("entry_blocks", "size", 512 << 20, 8, "bytes of messages"),
)
"""Table, what is summed, how much is allowed, and how many times the file's size if that is
more."""


def survey(connection: sqlite3.Connection, path: Path) -> None:
    """Raise BadInput for a small file that says that it holds far more than recorders write.

    `path` is what the user has: the recording, or the archive that it was in. A table that
    cannot be read is left to who reads it.
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


class KeyNames:
    """Names of a recording's keys by number: each once, no more than a host has."""

    def __init__(self) -> None:
        self.names: dict[int, str] = {}
        self.numbers: dict[str, int] = {}
        self._channels: set[str] = set()

    def add(self, number: int, name: str) -> None:
        """Take a key in; raises Damaged."""
        if name in self.numbers:
            raise Damaged("its name is there already")
        if len(self.names) >= MAX_KEYS:
            raise Damaged(f"is one more than {MAX_KEYS} keys")
        channel = channel_of(name)
        if channel != LOST:
            if channel not in self._channels and len(self._channels) >= MAX_CHANNELS:
                raise Damaged(f"is of one more than {MAX_CHANNELS} channels")
            self._channels.add(channel)
        self.names[number] = name
        self.numbers[name] = number

    def add_lost(self, number: int) -> None:
        """Take in a key whose name is lost, under its number; raises Damaged."""
        name = f"{LOST}.key-{number}"
        if name in self.numbers:
            raise Damaged(f"names key {number}, whose name another has")
        self.add(number, name)


def check_log(rows: int, columns: int, size: int) -> None:
    """Raise Damaged for a plain log of so many rows, bytes and columns that nobody waits for it."""
    if size <= SMALL_BYTES and rows > MAX_LOG_ROWS:
        raise Damaged(f"more than {MAX_LOG_ROWS} rows in {size >> 20} MiB")
    most = max(MAX_NUMBERS_BYTES, NUMBERS_PART * size)
    if 8 * rows * columns > most:
        raise Damaged(f"more than {most // 8} cells in {size >> 20} MiB")


def _number(connection: sqlite3.Connection, statement: str) -> float:
    try:
        return float(connection.execute(statement).fetchone()[0] or 0.0)
    except UNREADABLE:
        return 0.0


def _too_much(path: Path, what: str) -> BadInput:
    do = "no recorder writes so much into so small a file: ask who sent it for another"
    return BadInput(shown(path), what, do)
