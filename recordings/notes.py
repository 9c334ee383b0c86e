"""Adding a note to a recording that is closed or still being written."""

import sqlite3
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from recordings.files import shown
from recordings.opening import open_recording, strange_part
from recordings.packer import note_row
from recordings.schema import UNREADABLE, VERSION
from recordings.store import BUSY_S, insert_rows
from shared.errors import BadInput
from shared.notes import NOTE
from shared.text import clean


def add_note(
    path: str | Path,
    time_s: float,
    text: str,
    kind: str = NOTE,
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
