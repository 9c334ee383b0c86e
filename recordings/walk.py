"""Going through a table that may be damaged."""

import sqlite3
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Any

from recordings.schema import UNREADABLE
from shared.text import clean

AT_ONCE = 64
"""Rows fetched at once, as long as they can be read."""
SKIPS = 256
"""Ids that are tried one by one beyond a page that cannot be read; then the steps double."""


def walk(connection: sqlite3.Connection, table: str) -> Iterator[tuple[int, tuple[Any, ...] | str]]:
    """Rows of a table with their rowids, in order; for what cannot be read, a line instead."""
    statement = f"SELECT rowid, * FROM {table} WHERE rowid > ? ORDER BY rowid LIMIT ?"
    after, at_once = 0, AT_ONCE
    while True:
        try:
            rows = _following(connection, statement, after, at_once)
        except UNREADABLE as error:
            if at_once > 1:
                at_once = 1
                continue
            yield after, f"cannot be read after id {after}: {clean(str(error))}"
            rows = _next_readable(connection, statement, after)
        if not rows:
            return
        for number, *row in rows:
            after = number
            yield number, tuple(row)
        at_once = min(2 * at_once, AT_ONCE)


def _following(
    connection: sqlite3.Connection, statement: str, after: int, at_once: int = 1
) -> list[tuple[Any, ...]]:
    """Rows after an id, none at the end; in a damaged tree they may be earlier ones."""
    rows = connection.execute(statement, (after, at_once)).fetchall()
    numbers = [after, *(row[0] for row in rows)]
    if any(number <= before for before, number in pairwise(numbers)):
        raise sqlite3.DatabaseError("ids are out of order")
    return rows


def _next_readable(
    connection: sqlite3.Connection, statement: str, after: int
) -> list[tuple[Any, ...]]:
    """First row beyond a damaged page."""
    for skip in _skips():
        try:
            return _following(connection, statement, after + skip)
        except UNREADABLE:
            continue
    return []


def _skips() -> Iterable[int]:
    yield from range(1, SKIPS)
    yield from (SKIPS << power for power in range(1, 32))
