"""The recordings of one host in a folder: what each holds, which one was not closed."""

import sqlite3
import time
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from recordings.files import shown
from recordings.packer import about_row
from recordings.reader import Recording
from recordings.schema import UNREADABLE
from recordings.store import insert_rows
from shared.errors import BadInput
from shared.secrets import public_meta
from shared.words import Severity

SUFFIX = ".ohmv"
MARGIN_S = 60.0
"""What is kept before and after an event, s of log time."""
FOUND_OPEN = "found_open_wall_s"
"""Fact of a recording that was found not closed and had no writer any more: when, Unix time."""
LIVE_WITHIN_S = 60.0
"""A recording that was not closed is taken to be written still if it changed so lately."""
CUT = "cut"
"""Fact of a recording that was cut down to its events: `wall_s` (Unix time), and `starts`, log
times at which its stretches begin."""

Stretch = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Kept:
    """One recording on disk. Times of `first_s`, `last_s`, `stretches` are log time of `series`."""

    path: Path
    size: int
    ended_wall_s: float
    """When its last batch was stored, as well as it can be told (Unix time)."""
    series: str
    first_s: float
    last_s: float
    stretches: tuple[Stretch, ...]
    """Around each event above a notice."""
    is_cut: bool = False
    is_closed: bool = True


def is_of(meta: Mapping[str, Any], like: Mapping[str, Any]) -> bool:
    """Whether a recording's facts name the host of `like`: same title, same addresses."""

    def host(facts: Mapping[str, Any]) -> tuple[object, object]:
        facts = public_meta(facts)
        profile = facts.get("profile")
        addresses = profile.get("addresses") if isinstance(profile, Mapping) else None
        return facts.get("title"), tuple(addresses or ())

    return host(meta) == host(like)


Known = dict[Path, tuple[tuple[int, int], Kept | None]]
"""What files held when they had this time of change and size."""


def recordings_of(
    folder: Path,
    like: Mapping[str, Any],
    leave_out: Iterable[Path] = (),
    known: Known | None = None,
) -> list[Kept]:
    """Recordings of the host of `like` (a recording's facts), oldest first.

    Files that cannot be read are left out: they are left alone. `known` saves reading those
    again that have not changed.
    """
    known = {} if known is None else known
    left_out = {path.absolute() for path in leave_out}
    found = []
    with suppress(OSError):
        for path in sorted(folder.glob(f"*{SUFFIX}")):
            if path.absolute() in left_out or not path.is_file() or path.is_symlink():
                continue
            with suppress(BadInput, OSError):
                status = path.stat()
                mark = (status.st_mtime_ns, status.st_size)
                if known.get(path, (None,))[0] != mark:
                    known[path] = (mark, describe(path, like))
                kept = known[path][1]
                if kept is not None:
                    found.append(kept)
    return sorted(found, key=lambda kept: (kept.ended_wall_s, kept.path.name))


def describe(path: Path, like: Mapping[str, Any]) -> Kept | None:
    """What a recording holds; None when it is another host's. Raises BadInput."""
    recording = Recording(path)
    try:
        meta = recording.meta
        if not is_of(meta, like):
            return None
        status = path.stat()
        ended = meta.get("ended_wall_s")
        anchors = recording.anchors()
        newest_s = anchors[-1][1] if anchors else status.st_mtime
        first_s, last_s = recording.first_s or 0.0, recording.last_s or 0.0
        series = meta.get("series")
        name = series.get("id") if isinstance(series, dict) else None
        return Kept(
            path=path,
            size=size_of(path),
            ended_wall_s=float(ended) if isinstance(ended, int | float) else newest_s,
            series=str(name or meta.get("run_id", path)),
            first_s=first_s,
            last_s=last_s,
            stretches=tuple(_stretches(recording, last_s)),
            is_cut=CUT in meta,
            is_closed=ended is not None or FOUND_OPEN in meta,
        )
    finally:
        recording.close()


def _stretches(recording: Recording, last_s: float) -> Iterable[Stretch]:
    """An event that goes on reaches to the file's end; the next file has it too."""
    for event in recording.events():
        if event.severity is not Severity.NOTICE and event.absorbed_by is None:
            end_s = last_s if event.end_s is None else event.end_s
            yield event.start_s - MARGIN_S, end_s + MARGIN_S


def size_of(path: Path) -> int:
    """Bytes on the disk, side files too."""
    total = 0
    for suffix in ("", "-wal", "-shm"):
        with suppress(OSError):
            total += Path(f"{path}{suffix}").stat().st_size
    return total


def is_being_written(recording: Recording) -> bool:
    """Whether a recording was not closed and has changed in the last minute."""
    if recording.is_closed:
        return False
    changed_s = 0.0
    for suffix in ("", "-wal"):
        with suppress(OSError):
            changed_s = max(changed_s, Path(f"{recording.path}{suffix}").stat().st_mtime)
    return time.time() - changed_s < LIVE_WITHIN_S


def settle_open(path: Path) -> bool:
    """Fold the side files of a recording that was not closed into it, if nobody uses it.

    Returns False when it is in use: another program writes or reads it. Nothing that was
    stored is changed; a fact says that it was found so. Raises BadInput.
    """
    try:
        connection = sqlite3.connect(path, timeout=0.0, isolation_level=None)
        try:
            connection.execute("PRAGMA trusted_schema = OFF")
            connection.execute("PRAGMA synchronous = FULL")
            # Only who is alone may leave the write-ahead log.
            mode = connection.execute("PRAGMA journal_mode = DELETE").fetchone()[0]
            if mode != "delete":
                return False
            insert_rows(connection, [about_row(FOUND_OPEN, time.time())])
        finally:
            connection.close()
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            return False
        raise _bad(path, error) from None
    except UNREADABLE as error:
        raise _bad(path, error) from None
    return True


def _bad(path: Path, error: Exception) -> BadInput:
    return BadInput(shown(path), f"cannot be opened: {error}", "try `ohmvigil check`")


def not_closed(kept: Sequence[Kept]) -> list[Kept]:
    """Those whose writer was killed, or still writes."""
    return [one for one in kept if not one.is_closed]
