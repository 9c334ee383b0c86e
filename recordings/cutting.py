"""Cutting a recording down to its events, in its place."""

import os
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path

import numpy as np

from recordings.cut import around, joined
from recordings.files import os_error, shown
from recordings.folder import CUT, Stretch
from recordings.packer import Packer, about_row, note_row
from recordings.reader import Recording
from recordings.schema import StoredRow
from recordings.seal import SEALED
from recordings.store import Store, StoreFailed
from shared.errors import BadInput
from shared.placing import leftovers, placed_path
from shared.updates import Entry

AT_ONCE = 500
ENTRIES_AT_ONCE = 1000


def cut_to_events(path: Path, stretches: Sequence[Stretch]) -> None:
    """Keep updates and messages of these stretches alone.

    Events, notes, anchors and facts stay. The new file takes the old one's name at once and
    whole, or not at all. Raises BadInput, also when the recording is damaged.
    """
    stretches = joined(stretches)
    for left in leftovers(path):
        with suppress(OSError):
            left.unlink()
    recording = Recording(path)
    try:
        times = path.stat()
        about = [about_row(name, value) for name, value in recording.meta.items()]
        about = [row for row in about if row.cells[0] not in ("run_id", *SEALED)]
        first_s = recording.first_s or 0.0
        starts = [max(start_s, first_s) for start_s, _ in stretches]
        about.append(about_row(CUT, {"wall_s": time.time(), "starts": starts}))
        with placed_path(path) as out:
            store = Store(out, str(recording.meta.get("run_id", "")), about)
            try:
                _save(store, _rows(recording, stretches), about)
            finally:
                store.finish()
            os.utime(out, (times.st_atime, times.st_mtime))
    except StoreFailed as failed:
        raise BadInput(shown(path), str(failed), "check the disk") from None
    except OSError as error:
        raise os_error(path, error) from None
    finally:
        recording.close()


def _rows(recording: Recording, stretches: Sequence[Stretch]) -> Iterator[StoredRow]:
    packer = Packer()
    held: list[Entry] = []
    log_time = _log_time(recording)
    for entry in recording.entries():
        time_s = log_time(entry.own_s)
        if any(start_s <= time_s <= end_s for start_s, end_s in stretches):
            held.append(entry)
        if len(held) >= ENTRIES_AT_ONCE:
            yield from packer.entries(held)
            held = []
    yield from packer.entries(held)
    for batch in around(recording.batches(), stretches):
        yield from packer.samples(batch)
    yield from packer.finish()
    for event in recording.event_changes():
        yield from packer.event(event)
    for note in recording.notes:
        yield note_row(note.time_s, note.text, note.kind, note.facts)
    for anchor in recording.anchors():
        yield from packer.anchor(*anchor)


def _log_time(recording: Recording) -> Callable[[float], float]:
    """Log time that belongs to an own time, by the clock anchors."""
    pairs = sorted((own, log) for own, _, log in recording.anchors() if log is not None)
    if not pairs:
        return lambda own_s: own_s
    own = np.array([own for own, _ in pairs])
    log = np.array([log for _, log in pairs])

    def log_time(own_s: float) -> float:
        beyond_s = own_s - float(np.clip(own_s, own[0], own[-1]))
        return float(np.interp(own_s, own, log)) + beyond_s

    return log_time


def _save(store: Store, rows: Iterator[StoredRow], about: Sequence[StoredRow]) -> None:
    held: list[StoredRow] = []
    for row in rows:
        held.append(row)
        if len(held) >= AT_ONCE:
            store.save(held, about)
            held = []
    store.save(held, about)
