"""The recorder: takes what happens into memory at once; a thread of its own stores it.

A batch is stored 5 s after its first item, at 64 KiB, or at once when an event is raised,
in one synced transaction. What cannot be stored stays in memory and is tried again.
"""

import threading
import time
import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from recordings.packer import BLOCK_BYTES, Packer, about_row, note_row
from recordings.schema import StoredRow
from recordings.store import Store, StoreFailed
from shared.clock import own_time
from shared.errors import BadInput
from shared.events import Event
from shared.secrets import public_meta
from shared.text import clean
from shared.updates import Entry, Update, batch_of

BATCH_S = 5.0
SETTLE_S = 60.0
"""At least so often, and at every event and note, the file takes its write-ahead log in."""
MAX_WAITING = 64 << 20
"""Bytes that may wait in memory, before and again after packing; then the oldest are lost."""
LONGEST_RETRY_S = 30.0
CLOSE_S = 30.0

_Item = Entry | list[Update] | Event | StoredRow


class Recorder:
    """Records one host's run into a new file. Every method may be called from any thread.

    `meta` says of what the recording is, as values that JSON can hold, never a secret:
    `title`, `versions`, `profile`, `chains` (channel → `Chain`). Raises BadInput when the
    file exists or cannot be made; after that nothing here raises or waits but `flush` and
    `close`.
    """

    def __init__(self, path: str | Path, meta: Mapping[str, Any]) -> None:
        self.path = Path(path)
        self._about = [about_row(name, value) for name, value in public_meta(meta).items()]
        self._about.append(about_row("started_wall_s", time.time()))
        self._packer = Packer()
        self._changed = threading.Condition()
        self._queue: list[_Item] = []
        self._queue_bytes = 0
        self._due_s = 0.0
        self._put = self._tried = self._stored = self._attempts = 0
        self._raised: set[int] = set()
        self._is_urgent = self._is_flushing = self._is_closing = False
        self._trouble = ""
        self._lost = 0
        self._fault = ""
        self._bytes_written = 0
        # The thread's own: rows not stored yet, and how often that failed in a row.
        self._rows: list[StoredRow] = []
        self._failures = 0
        self._moved = ""
        self._settled_s = time.monotonic()
        self._refusal: BadInput | None = None
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._run, name="recorder", daemon=True)
        self._thread.start()
        self._ready.wait()
        if self._refusal is not None:
            raise self._refusal

    def entry(self, entry: Entry) -> None:
        """Record one entry as it came."""
        self._add(entry, 64 + len(entry.payload))

    def updates(self, updates: Sequence[Update]) -> None:
        """Record what detectors are given, in order."""
        if updates:
            size = sum(32 + 32 * len(update.values) for update in updates)
            self._add(list(updates), size)

    def event(self, event: Event) -> None:
        """Record an event as it now stands; a new one is stored at once."""
        is_new = event.id not in self._raised
        self._raised.add(event.id)
        self._add(event, 512, urgent=is_new)

    def note(
        self, time_s: float, text: str, kind: str = "note", facts: Mapping[str, Any] | None = None
    ) -> None:
        """Record a note; stored at once. `kind` and `facts`: see `recordings.logs.Note`."""
        self._add(note_row(time_s, text, kind, dict(facts or {})), 512, urgent=True)

    def fact(self, name: str, value: object) -> None:
        """Record a fact about the file that was not known when it was begun."""
        row = about_row(name, value)
        self._about.append(row)
        self._add(row, 512)

    @property
    def trouble(self) -> str:
        """One line while storing fails, or once something was lost; else empty."""
        with self._changed:
            return self._trouble

    @property
    def bytes_written(self) -> int:
        """Bytes of the recording on the disk, as of the last batch."""
        with self._changed:
            return self._bytes_written

    def flush(self, wait: bool = True, timeout: float = 10.0) -> bool:
        """Store what is waiting now; whether all of it is stored when this returns."""
        with self._changed:
            target, attempts = self._put, self._attempts
            self._is_flushing = True
            self._changed.notify_all()
            if wait:
                self._changed.wait_for(lambda: self._was_tried(target, attempts), timeout)
            return self._stored >= target

    def close(self) -> None:
        """Store the rest and close the file. What cannot be stored now is lost."""
        with self._changed:
            self._is_closing = True
            self._changed.notify_all()
        self._thread.join(CLOSE_S)

    def _add(self, item: _Item, size: int, urgent: bool = False) -> None:
        with self._changed:
            if self._is_closing:
                return
            is_first = not self._queue
            if is_first and not self._failures:
                self._due_s = time.monotonic() + BATCH_S
            self._queue.append(item)
            self._queue_bytes += size
            self._put += 1
            self._is_urgent = self._is_urgent or urgent
            if is_first or urgent or self._queue_bytes >= BLOCK_BYTES:
                self._changed.notify_all()

    def _was_tried(self, target: int, attempts: int) -> bool:
        """Whether everything up to `target` is stored, or failed in an attempt since."""
        failed = self._tried >= target and self._attempts > attempts
        return self._stored >= target or failed or not self._thread.is_alive()

    # -- the thread --

    def _run(self) -> None:
        try:
            store = Store(self.path, uuid.uuid4().hex, self._about)
        except BadInput as bad:
            self._refusal = bad
            return
        finally:
            self._ready.set()
        while self._wait():
            self._store_batch(store)
        self._store_batch(store, last=True)
        store.finish()
        with self._changed:
            self._bytes_written = store.size()

    def _wait(self) -> bool:
        """Wait until a batch is due; False when the recorder is closing."""
        with self._changed:
            while not self._is_closing and not self._is_due():
                has_work = bool(self._queue or self._rows)
                left_s = max(self._due_s - time.monotonic(), 0.0)
                self._changed.wait(left_s if has_work else None)
            return not self._is_closing

    def _is_due(self) -> bool:
        if not self._queue and not self._rows:
            return False
        if self._is_flushing or time.monotonic() >= self._due_s:
            return True
        return not self._failures and (self._is_urgent or self._queue_bytes >= BLOCK_BYTES)

    def _store_batch(self, store: Store, last: bool = False) -> None:
        with self._changed:
            items, self._queue = self._queue, []
            self._queue_bytes = 0
            is_urgent = self._is_urgent
            self._is_urgent = self._is_flushing = False
            put = self._put
        self._pack(items)
        if last:
            self._rows += [*self._packer.finish(), about_row("ended_wall_s", time.time())]
        failure = ""
        try:
            settles = is_urgent or time.monotonic() >= self._settled_s + SETTLE_S
            again = [*self._about, *self._packer.keys()]
            store.save(self._rows, again, seals=settles or last)
            self._rows = []
            if settles:
                self._settled_s = time.monotonic()
                store.settle()
            self._moved = store.moved
        except StoreFailed as failed:
            failure = clean(str(failed))
            self._bound()
        with self._changed:
            self._attempts += 1
            self._tried = put
            if failure:
                self._failures += 1
                self._due_s = time.monotonic() + min(2.0 ** (self._failures - 1), LONGEST_RETRY_S)
            else:
                self._failures = 0
                self._due_s = time.monotonic() + BATCH_S
                self._stored = put
                self._bytes_written = store.size()
            self._trouble = self._say(failure)
            self._changed.notify_all()

    def _pack(self, items: Sequence[_Item]) -> None:
        """Rows of a batch: entries, samples, anchor, then events and notes in their order."""
        entries = [item for item in items if isinstance(item, Entry)]
        updates = [update for item in items if isinstance(item, list) for update in item]
        makers: list[Callable[[], Iterable[StoredRow]]] = [
            lambda: self._packer.entries(entries),
            lambda: self._packer.samples(batch_of(updates)),
            lambda: self._anchor(items),
        ]
        for item in items:
            if isinstance(item, Event):
                makers.append(partial(self._packer.event, item))
            elif isinstance(item, StoredRow):
                self._rows.append(item)
        for make in makers:
            try:
                self._rows += make()
            except Exception as error:
                # A fault of ours; the rest of the batch, and all later ones, must go on.
                self._lost += 1
                self._fault = f" ({type(error).__name__}: {clean(str(error))})"

    def _anchor(self, items: Sequence[_Item]) -> list[StoredRow]:
        """An anchor at the newest entry that gave updates: its three times belong together."""
        entry: Entry | None = None
        found: tuple[float, float | None] | None = None
        for item in items:
            if isinstance(item, Entry):
                entry = item
                found = found or (item.own_s, None)
            elif isinstance(item, list) and entry is not None:
                found = (entry.own_s, item[-1].time_s)
        if found is None:
            return []
        own_s, time_s = found
        wall_s = time.time() - (own_time() - own_s)
        return list(self._packer.anchor(own_s, wall_s, time_s))

    def _bound(self) -> None:
        """Let go of the oldest blocks when memory fills; later ones say more."""
        excess = sum(_size(row) for row in self._rows) - MAX_WAITING
        if excess <= 0:
            return
        kept: list[StoredRow] = []
        for row in self._rows:
            if excess > 0 and row.table in ("entry_blocks", "sample_blocks"):
                excess -= _size(row)
                self._lost += 1
            else:
                kept.append(row)
        self._rows = kept

    def _say(self, failure: str) -> str:
        lost = f"{self._lost} blocks were lost{self._fault}" if self._lost else ""
        lost = "; ".join(words for words in (self._moved, lost) if words)
        if not failure:
            return lost
        waiting = f"cannot store: {failure}; kept in memory, trying again"
        return f"{waiting}; {lost}" if lost else waiting


def _size(row: StoredRow) -> int:
    return 256 + sum(len(cell) for cell in row.cells if isinstance(cell, str | bytes))
