"""Opening a recording for reading, however it got here."""

import sqlite3
from contextlib import suppress
from pathlib import Path
from urllib.parse import quote

from recordings.bounds import survey
from recordings.files import head_of, shown
from recordings.migration import can_migrate, migrated
from recordings.schema import APPLICATION_ID, UNREADABLE, VERSION, expected_parts
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
            survey(connection, path)
        except BaseException:
            connection.close()
            raise
    except UNREADABLE as error:
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
    except UNREADABLE:
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
    odd = strange_part(connection, may_lack=mend)
    if odd is not None:
        do = "it was made to do harm, or by another program: take it for none of ours"
        lacks = odd.endswith(MISSING)
        raise BadInput(shown(path), odd, "try `ohmvigil check`" if lacks else do)


MISSING = "is missing"


def strange_part(connection: sqlite3.Connection, *, may_lack: bool = False) -> str | None:
    """What its schema has that no recording has, or lacks; None where it is exactly ours.

    A stranger's schema may hide anything: triggers that delete what is noted, views in the
    place of tables that never end, columns that are computed. `may_lack`: parts may be missing,
    as in a file that is damaged.
    """
    parts = connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_schema").fetchall()
    found = {(kind, name): sql for kind, name, _, sql in parts}
    expected = expected_parts()
    for (kind, name), sql in found.items():
        if (kind, name) not in expected:
            return f"has a {clean(str(kind))} {clean(str(name))}, which no recording has"
        if sql != expected[kind, name]:
            return f"its {kind} {name} is not as a recording has it"
    lacking = [f"its {kind} {name} {MISSING}" for kind, name in expected.keys() - found.keys()]
    return min(lacking, default=None) if not may_lack else None
