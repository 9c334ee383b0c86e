"""Bringing a log into a new recording, a batch at a time."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from recordings.files import shown
from recordings.writer import Recorder
from shared.errors import BadInput
from shared.updates import Batch, Entry, Update, updates_of

ENTRIES_AT_ONCE = 5000


def bring_batches(out: str | Path, batches: Iterable[Batch], meta: Mapping[str, Any]) -> Recorder:
    """A recorder at `out` that holds these updates, to be added to and closed by the caller.

    Raises BadInput when `out` exists or cannot be written, and what `batches` raises; the
    recording is then closed with what it has.
    """
    recorder = Recorder(out, meta)
    try:
        for batch in batches:
            recorder.updates(updates_of(batch))
            store(recorder)
    except BaseException:
        recorder.close()
        raise
    return recorder


def bring_entries(
    out: str | Path, entries: Iterable[tuple[Entry, list[Update]]], meta: Mapping[str, Any]
) -> tuple[Recorder, int]:
    """Same for entries, each with the updates it amounts to; and the number of updates."""
    recorder = Recorder(out, meta)
    count = 0
    try:
        for number, (entry, updates) in enumerate(entries, 1):
            recorder.entry(entry)
            recorder.updates(updates)
            count += len(updates)
            if number % ENTRIES_AT_ONCE == 0:
                store(recorder)
        store(recorder)
    except BaseException:
        recorder.close()
        raise
    return recorder, count


def store(recorder: Recorder) -> None:
    """Wait until all is stored; BadInput where the disk refuses."""
    if not recorder.flush(timeout=60.0):
        raise BadInput(shown(recorder.path), recorder.trouble or "cannot store", "check the disk")
