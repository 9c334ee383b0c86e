"""Notes of a log, and adding one to a recording that is closed or still being written."""

import sqlite3
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec

from recordings.files import shown
from recordings.opening import open_recording, strange_part
from recordings.packer import note_row
from recordings.schema import UNREADABLE, VERSION
from recordings.store import BUSY_S, insert_rows
from shared.errors import BadInput
from shared.text import clean


class Note(msgspec.Struct, frozen=True):
    """What a person wrote at a moment of the log.

    `kind` is `note`, or another word for what a tool can use (an answer to a check, the
    start of a trial), with what belongs to it in `facts`.
    """

    time_s: float
    text: str
    kind: str = "note"
    facts: dict[str, Any] = {}


def add_note(
    path: str | Path,
    time_s: float,
    text: str,
    kind: str = "note",
    facts: Mapping[str, Any] | None = None,
) -> None:
    """Add a note to a recording; another program may be recording into it. Raises BadInput."""
    path = Path(path)
    open_recording(path).close()
    try:
        connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
        try:
            if connection.execute("PRAGMA user_version").fetchone()[0] < VERSION:
                do = f"bring it up to date with `ohmvigil check {shown(path)} --repair NEW`"
                raise BadInput(shown(path), "is of an older ohmvigil", do)
            connection.execute("PRAGMA trusted_schema = OFF")
            odd = strange_part(connection)
            if odd is not None:
                raise BadInput(shown(path), odd, "name a recording that ohmvigil made")
            connection.execute("PRAGMA synchronous = FULL")
            # The recorder alone empties its log.
            connection.execute("PRAGMA wal_autocheckpoint = 0").fetchall()
            insert_rows(connection, [note_row(time_s, text, kind, dict(facts or {}))])
            # A file that is moved alone takes what was confirmed along.
            connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()
        finally:
            connection.close()
    except UNREADABLE as error:
        what = f"the note cannot be stored: {clean(str(error))}"
        raise BadInput(shown(path), what, "check the file's permissions and its disk") from None
