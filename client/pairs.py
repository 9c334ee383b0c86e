"""Rows that are named by their first cell, read as one object."""

from typing import Any

MAX_ROWS = 1000
"""Rows of one message that are read."""
MAX_NAME = 10**9
"""Whole numbers below this, of either sign, may be names."""


def object_of(rows: Any) -> tuple[Any, int]:
    """The object that rows amount to, and how many of them were refused.

    `[name, value]` gives `name: value`, a longer row `name: [the other cells]`; a later row
    of a name replaces an earlier one. A list that begins with a name is one row. None for what
    is no list.
    """
    if type(rows) is not list:
        return None, 1
    if rows and is_name(rows[0]):
        rows = [rows]
    found: dict[str, Any] = {}
    refused = max(len(rows) - MAX_ROWS, 0)
    for row in rows[:MAX_ROWS]:
        if type(row) is list and len(row) > 1 and is_name(row[0]):
            found[str(row[0])] = row[1] if len(row) == 2 else row[1:]
        else:
            refused += 1
    return found, refused


def is_name(cell: Any) -> bool:
    """Whether it is a text or a whole number that may name something."""
    return type(cell) is str or (type(cell) is int and abs(cell) < MAX_NAME)
