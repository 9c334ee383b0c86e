"""Older forms of a recording, brought to today's in a copy; the file itself stays as it is.

Version 1 is the first. A change of `schema.TABLES` raises `schema.VERSION` and adds here the
step from the version before: it makes the tables exactly as `create_table` has them, and each
row's CRC anew.
"""

import sqlite3
from collections.abc import Callable, Mapping

from recordings.schema import VERSION, crc_of

Step = Callable[[sqlite3.Connection], None]

STEPS: Mapping[int, Step] = {}
"""By version: what takes a recording of it to the next one."""


def can_migrate(version: int) -> bool:
    """Whether a recording of this version can be read today."""
    return all(each in STEPS for each in range(version, VERSION))


def migrated(old: sqlite3.Connection, version: int) -> sqlite3.Connection:
    """A copy of an older recording as one of today, which goes when it is closed.

    It is a picture of one moment: what an older program still writes is not in it. Raises
    sqlite3.Error for what is damaged.
    """
    # Without a name: SQLite's own temporary file.
    new = sqlite3.connect("", isolation_level=None, check_same_thread=False)
    try:
        old.backup(new)
        new.execute("PRAGMA trusted_schema = OFF")
        new.execute("BEGIN")
        for each in range(version, VERSION):
            STEPS[each](new)
        new.execute(f"PRAGMA user_version = {VERSION}")
        new.execute("COMMIT")
        new.execute("PRAGMA query_only = ON")
    except BaseException:
        new.close()
        raise
    return new


def sum_rows(connection: sqlite3.Connection, table: str) -> None:
    """Give every row of a table its CRC; for steps that changed its columns."""
    rows = connection.execute(f"SELECT rowid, * FROM {table}").fetchall()
    for rowid, *cells, _ in rows:
        values = (crc_of(cells), rowid)
        connection.execute(f"UPDATE {table} SET crc = ? WHERE rowid = ?", values)
