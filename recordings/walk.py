"""Going through a table that may be damaged."""

import sqlite3
from collections.abc import Iterable, Iterator
from typing import Any

from recordings.schema import UNREADABLE
from shared.text import clean

SKIPS = 256
"""Ids that are tried one by one beyond a page that cannot be read; then the steps double."""


def walk(connection: sqlite3.Connection, table: str) -> Iterator[tuple[int, tuple[Any, ...] | str]]:
    """Rows of a table with their rowids, in order; for what cannot be read, a line instead."""
    statement = f"SELECT rowid, * FROM {table} WHERE rowid > ? ORDER BY rowid LIMIT 1"
    after = 0
    while True:
        try:
            found = _following(connection, statement, after)
        except UNREADABLE as error:
            yield after, f"cannot be read after id {after}: {clean(str(error))}"
            found = _next_readable(connection, statement, after)
        if found is None:
            return
        after = found[0]
        yield after, tuple(found[1:])


def _following(connection: sqlite3.Connection, statement: str, after: int) -> Any:
    """The row after an id, None at the end; in a damaged tree it may be an earlier one."""
    found = connection.execute(statement, (after,)).fetchone()
    if found is not None and found[0] <= after:
        raise sqlite3.DatabaseError("ids are out of order")
    return found


def _next_readable(connection: sqlite3.Connection, statement: str, after: int) -> Any:
    """First row beyond a damaged page."""
    for skip in _skips():
        try:
            return _following(connection, statement, after + skip)
        except UNREADABLE:
            continue
    return None


def _skips() -> Iterable[int]:
    yield from range(1, SKIPS)
    yield from (SKIPS << power for power in range(1, 32))
