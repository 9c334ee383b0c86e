"""Opening a recording for reading, however it got here."""

import sqlite3
from contextlib import suppress
from pathlib import Path
from urllib.parse import quote

from recordings.files import head_of, shown
from recordings.migration import can_migrate, migrated
from recordings.schema import APPLICATION_ID, TABLES, VERSION, create_table
from shared.errors import BadInput
from shared.text import clean

MAGIC = b"SQLite format 3\0"
MAX_CELL = 32 << 20
"""Longest value that SQLite may hand over, bytes."""
BUSY_S = 5.0


def is_database(head: bytes) -> bool:
    """Whether a file that begins so is a recording, or at least an SQLite database."""
    return head.startswith(MAGIC)


def open_recording(path: Path, *, mend: bool = False) -> sqlite3.Connection:
    """Open read-only and check that it is a recording that this version can read.

    `mend` lets files pass whose end is missing or whose schema cannot be read whole.
    Raises BadInput.
    """
    if not is_database(head_of(path)):
        raise BadInput(shown(path), "is no recording", "name a recording (.ohmv)")
    try:
        connection = _connect(path, mend)
        try:
            version = _version(connection, path, mend)
            if version < VERSION:
                old, connection = connection, migrated(connection, version)
                old.close()
            _check(connection, path, mend)
        except BaseException:
            connection.close()
            raise
    except sqlite3.Error as error:
        what = f"damaged: {clean(str(error))}"
        do = f"save the rest with `ohmvigil check {shown(path)} --repair NEW`"
        raise BadInput(shown(path), what, do) from None
    return connection


def _connect(path: Path, mend: bool) -> sqlite3.Connection:
    try:
        return _tried(path, "mode=ro", mend)
    except sqlite3.OperationalError:
        # Without side files nobody is writing: a closed recording on a read-only disk.
        if Path(f"{path}-wal").exists():
            raise
        return _tried(path, "mode=ro&immutable=1", mend)


def _tried(path: Path, how: str, mend: bool) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"file:{quote(str(path.absolute()))}?{how}",
        uri=True,
        timeout=BUSY_S,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MAX_CELL)
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA cell_size_check = ON")
        if mend:
            connection.execute("PRAGMA writable_schema = ON")
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchall()
    except sqlite3.Error:
        with suppress(sqlite3.Error):
            connection.close()
        raise
    return connection


def _version(connection: sqlite3.Connection, path: Path, mend: bool) -> int:
    """The version of its schema, which can be read. Raises BadInput."""
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        what = "is an SQLite database but no recording"
        raise BadInput(shown(path), what, "name a recording (.ohmv)")
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    if version > VERSION:
        what = f"has schema version {version}; this ohmvigil reads up to {VERSION}"
        raise BadInput(shown(path), what, "use a newer ohmvigil")
    if mend and not can_migrate(version):
        # Likelier damage than a form that nobody wrote.
        return VERSION
    if not can_migrate(version):
        what = f"has schema version {version}, which this ohmvigil cannot read"
        raise BadInput(shown(path), what, "name another recording, or try `ohmvigil check`")
    return version


def _check(connection: sqlite3.Connection, path: Path, mend: bool) -> None:
    if mend:
        return
    statement = "SELECT name, sql FROM sqlite_schema WHERE type = 'table'"
    tables = dict(connection.execute(statement).fetchall())
    for name in TABLES:
        if tables.get(name) != create_table(name):
            # A stranger's table may hide anything.
            what = f"its table {name} is missing or not as a recording has it"
            raise BadInput(shown(path), what, "name a recording (.ohmv), or try `ohmvigil check`")
