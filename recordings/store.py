"""The recording file while it is written: one connection, one owner, whole batches or nothing."""

import os
import shutil
import sqlite3
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from recordings.cells import MAX_ID, fact_of
from recordings.files import os_error, shown
from recordings.packer import about_row
from recordings.packing import Damaged
from recordings.schema import (
    APPLICATION_ID,
    VERSION,
    StoredRow,
    crc_of,
    create_statements,
    insert_statement,
)
from recordings.seal import OF_TABLES, SEALED, Seal, seal_of
from shared.errors import BadInput
from shared.placing import PRIVATE

FLOOR_BYTES = 16 << 20
FLOOR_PART = 0.02
"""Recording pauses when less than the smaller of these is free on the disk."""
BUSY_S = 5.0


class StoreFailed(Exception):
    """A batch could not be stored; nothing of it is in the file. Its text is one line."""


class Store:
    """Stores rows in a new recording. Not safe to share between threads."""

    def __init__(self, path: Path, run_id: str, first_rows: Sequence[StoredRow]) -> None:
        """Begin a new file. Raises BadInput when there is one, or none can be made."""
        self.path = path
        self._run_id = run_id
        self._connection: sqlite3.Connection | None = None
        self._held = -1
        self._seal = Seal()
        self._is_sealed = False
        self.moved = ""
        """One line once the file was moved or removed while it was written."""
        try:
            self._begin(first_rows)
        except FileExistsError:
            do = "name another file, or move it away"
            raise BadInput(shown(path), "there is a file of this name already", do) from None
        except OSError as error:
            raise os_error(path, error) from None
        except sqlite3.Error as error:
            raise BadInput(shown(path), f"cannot record here: {error}", "check the disk") from None

    def save(
        self, rows: Sequence[StoredRow], again: Sequence[StoredRow], *, seals: bool = False
    ) -> None:
        """Store all rows in one transaction, synced to the disk when this returns.

        `again` are rows that a new file needs first, should the old one have gone. `seals`: with
        how many rows the file has, and their chain.
        Raises StoreFailed; the file is then opened anew at the next call.
        """
        try:
            self._check_disk()
            connection = self._connection or self._reopen(again)
            if not self._is_here():
                again = [*again, *self._save_what_moved(connection)]
                self._drop()
                connection = self._reopen(again)
            self._make_room(connection)
            self._insert(connection, rows, seals)
        except (sqlite3.Error, OSError) as error:
            if self._connection is not None and not _is_full(error):
                self._drop()
            raise StoreFailed(_words(error)) from error

    def _insert(
        self, connection: sqlite3.Connection, rows: Sequence[StoredRow], seals: bool
    ) -> None:
        seal = self._seal.copy()
        insert_rows(connection, rows, seal, stores_seal=seals)
        self._seal, self._is_sealed = seal, seals

    def settle(self) -> None:
        """Take the write-ahead log into the file, as far as readers let it: whoever moves or
        copies the file alone then takes nearly all along."""
        if self._connection is not None:
            with suppress(sqlite3.Error):
                self._connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()

    def size(self) -> int:
        """Bytes on the disk: the file and its write-ahead log; 0 when it has gone."""
        total = 0
        for suffix in ("", "-wal"):
            with suppress(OSError):
                total += Path(f"{self.path}{suffix}").stat().st_size
        return total

    def finish(self) -> None:
        """Close; the file then stands alone, unless a reader still holds it."""
        if self._connection is not None:
            with suppress(sqlite3.Error):
                if not self._is_sealed:
                    self._insert(self._connection, [], True)
                self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
                self._connection.execute("PRAGMA busy_timeout = 100")
                self._connection.execute("PRAGMA journal_mode = DELETE").fetchall()
        self._drop()
        if self._held >= 0:
            os.close(self._held)
            self._held = -1

    def _begin(self, first_rows: Sequence[StoredRow]) -> sqlite3.Connection:
        """Make the file; it must not be there."""
        descriptor = os.open(self.path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, PRIVATE)
        self._hold(descriptor)
        self._seal, self._is_sealed = Seal(), False
        try:
            connection = self._make(first_rows)
        except (sqlite3.Error, OSError):
            with suppress(OSError):
                self.path.unlink()
            raise
        _sync_folder(self.path.parent)
        self._connection = connection
        return connection

    def _make(self, first_rows: Sequence[StoredRow]) -> sqlite3.Connection:
        connection = self._connect()
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {VERSION}")
        connection.execute("BEGIN IMMEDIATE")
        for statement in create_statements():
            connection.execute(statement)
        connection.execute("COMMIT")
        connection.execute("PRAGMA journal_mode = WAL").fetchall()
        self._insert(connection, [about_row("run_id", self._run_id), *first_rows], seals=False)
        return connection

    def _reopen(self, again: Sequence[StoredRow]) -> sqlite3.Connection:
        if not self.path.exists():
            return self._begin(again)
        connection = self._connect()
        try:
            connection.execute("PRAGMA synchronous = FULL")
            found = connection.execute("SELECT value FROM about WHERE name = 'run_id'").fetchone()
        except sqlite3.Error as error:
            connection.close()
            if error.sqlite_errorcode not in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR):
                raise
            found = None
        if found != (f'"{self._run_id}"',):
            connection.close()
            raise FileExistsError(17, "another file has taken its place")
        # One that was saved anew has no write-ahead log yet.
        connection.execute("PRAGMA journal_mode = WAL").fetchall()
        self._hold(os.open(self.path, os.O_RDONLY))
        self._connection = connection
        return connection

    def _hold(self, descriptor: int) -> None:
        """Know the open file by its inode, whatever becomes of its name."""
        if self._held >= 0:
            os.close(self._held)
        self._held = descriptor
        self._inode = _inode(os.fstat(descriptor))

    def _connect(self) -> sqlite3.Connection:
        connection = sqlite3.connect(self.path, timeout=BUSY_S, isolation_level=None)
        connection.execute("PRAGMA trusted_schema = OFF")
        return connection

    def _drop(self) -> None:
        connection, self._connection = self._connection, None
        if connection is not None:
            with suppress(sqlite3.Error):
                connection.close()

    def _is_here(self) -> bool:
        """Whether the path still names the file that is open."""
        try:
            return _inode(self.path.stat()) == self._inode
        except FileNotFoundError:
            return False

    def _save_what_moved(self, connection: sqlite3.Connection) -> list[StoredRow]:
        """The open file is no longer at its path: nothing that is stored in it may be lost.

        One that was renamed takes its log along, and the next file says what it continues;
        one that was removed is written anew, if its place is free.
        """
        if os.fstat(self._held).st_nlink:
            name = _name_of(self._held)
            with suppress(sqlite3.Error):
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
            where = f" to {name}" if name else ""
            self.moved = (
                f"the recording was moved{where}; {self.path.name} goes on with what came since"
            )
            return [about_row("continues", name or "a file that was moved")]
        if self.path.exists():
            self.moved = "the recording was removed, and another file has taken its place"
            return []
        # An empty file is taken as one to fill, and it is nobody else's then.
        os.close(os.open(self.path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, PRIVATE))
        connection.execute("VACUUM INTO ?", (str(self.path),))
        self.moved = (
            f"the recording was removed while it was written: {self.path.name} was saved anew"
        )
        return []

    def _make_room(self, connection: sqlite3.Connection) -> None:
        """Empty the write-ahead log while there is still room to: mostly it holds pages again."""
        with suppress(OSError, sqlite3.Error):
            log_bytes = Path(f"{self.path}-wal").stat().st_size
            if log_bytes >= shutil.disk_usage(self.path.parent).free:
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()

    def _check_disk(self) -> None:
        usage = shutil.disk_usage(self.path.parent)
        if usage.free < min(FLOOR_BYTES, FLOOR_PART * usage.total):
            raise OSError(28, f"only {usage.free >> 20} MiB are free on the disk")


def insert_rows(
    connection: sqlite3.Connection,
    rows: Sequence[StoredRow],
    seal: Seal | None = None,
    *,
    stores_seal: bool = False,
) -> None:
    """Insert all rows in one transaction, or none. `seal` takes them in."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        for row in rows:
            if row.table == "notes":
                _insert_note(connection, row)
                continue
            crc = crc_of(row.cells)
            connection.execute(insert_statement(row.table), (*row.cells, crc))
            if seal is not None and row.table in OF_TABLES:
                seal.take(row.table, int(str(row.cells[0])), crc)
        if stores_seal and seal is not None:
            _replace_fact(connection, SEALED[0], seal)
        connection.execute("COMMIT")
    except sqlite3.Error:
        with suppress(sqlite3.Error):
            connection.execute("ROLLBACK")
        raise


def _insert_note(connection: sqlite3.Connection, row: StoredRow) -> None:
    """A note gets its id now, since several programs may add some, and so does their seal."""
    newest = connection.execute("SELECT coalesce(max(id), 0) FROM notes").fetchone()
    if newest[0] >= MAX_ID:
        raise sqlite3.DataError("the ids of its notes are used up")
    cells = (newest[0] + 1, *row.cells[1:])
    crc = crc_of(cells)
    connection.execute(insert_statement("notes"), (*cells, crc))
    seal = _notes_seal(connection)
    seal.take("notes", cells[0], crc)
    _replace_fact(connection, SEALED[1], seal)


def _notes_seal(connection: sqlite3.Connection) -> Seal:
    """The seal of the notes so far; of those that older programs wrote, as they stand."""
    found = connection.execute("SELECT value FROM about WHERE name = ?", SEALED[1:]).fetchone()
    try:
        if found is not None:
            return seal_of(fact_of((SEALED[1], found[0])))
    except Damaged:
        # It is told by `check`, and no reason to lose a note.
        pass
    seal = Seal()
    for number, crc in connection.execute("SELECT id, crc FROM notes ORDER BY id").fetchall():
        seal.take("notes", number, crc)
    return seal


def _replace_fact(connection: sqlite3.Connection, name: str, seal: Seal) -> None:
    cells = about_row(name, seal.fact()).cells
    connection.execute("INSERT OR REPLACE INTO about VALUES (?, ?, ?)", (*cells, crc_of(cells)))


def _name_of(descriptor: int) -> str:
    """The name that an open file has now; empty where the system does not tell."""
    with suppress(OSError):
        return Path(f"/proc/self/fd/{descriptor}").readlink().name
    return ""


def _inode(status: os.stat_result) -> tuple[int, int]:
    return status.st_dev, status.st_ino


def _sync_folder(folder: Path) -> None:
    """Make a new name last through a power cut."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _is_full(error: Exception) -> bool:
    return getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL


def _words(error: sqlite3.Error | OSError) -> str:
    if isinstance(error, OSError):
        return error.strerror or str(error)
    return str(error)
