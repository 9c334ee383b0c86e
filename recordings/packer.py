"""From what happens to rows of a recording: numbering, blocks, roll-ups, anchors. No I/O."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

import msgspec

from recordings.cells import event_cells, plain_number
from recordings.packing import (
    MAX_ENTRIES,
    MAX_TEXT_BYTES,
    MAX_TEXTS,
    MAX_UNPACKED,
    compress,
    pack_entries,
    pack_samples,
)
from recordings.rollup import Rolled, RollUps
from recordings.samples import count_samples
from recordings.schema import Cell, StoredRow
from shared.events import Event
from shared.text import clean
from shared.updates import Batch, Entry

BLOCK_BYTES = 64 << 10
"""Payload after which an entry block is closed."""
BLOCK_ROWS = 1024
"""Most rows of a sample block."""
ANCHOR_S = 60.0
"""Own time between two clock anchors."""
STEP_S = 0.5
"""How far the wall clock moves against own time before that is a step."""
MAX_NOTE = 2000


class Packer:
    """Makes the rows of one recording, in order. Ids rise by one in each table."""

    def __init__(self) -> None:
        self._next: Counter[str] = Counter()
        self._keys: dict[str, int] = {}
        self._new_keys: list[StoredRow] = []
        self._roll_ups = RollUps()
        self._anchor: tuple[float, float] | None = None

    def entries(self, entries: Sequence[Entry]) -> Iterator[StoredRow]:
        """Entry blocks."""
        start, size = 0, 0
        for index, entry in enumerate(entries):
            size += len(entry.payload)
            is_full = size >= BLOCK_BYTES or index + 1 - start >= MAX_ENTRIES
            if is_full or index + 1 == len(entries):
                block = entries[start : index + 1]
                raw = pack_entries(block)
                times = [item.own_s for item in block]
                cells = (min(times), max(times), len(block), len(raw), compress(raw))
                yield self._row("entry_blocks", *cells)
                start, size = index + 1, 0

    def samples(self, batch: Batch) -> Iterator[StoredRow]:
        """New keys, sample blocks, and the roll-ups that they complete."""
        for part in _parts(batch):
            raw = pack_samples(part, self._id_of)
            yield from self._take_new_keys()
            yield self._row(
                "sample_blocks",
                float(part.time_s[0]),
                float(part.time_s[-1]),
                len(part),
                count_samples(part),
                len(raw),
                compress(raw),
            )
            yield from map(self._roll_up, self._roll_ups.add(part))

    def event(self, event: Event) -> Iterator[StoredRow]:
        """One change of an event."""
        yield self._row(
            "event_changes",
            *event_cells(event),
            msgspec.msgpack.encode(event),
        )

    def anchor(self, own_s: float, wall_s: float, time_s: float | None) -> Iterator[StoredRow]:
        """A clock anchor, if a minute has passed since the last or the wall clock stepped."""
        why = "start"
        if self._anchor is not None:
            last_own_s, last_wall_s = self._anchor
            moved_s = (wall_s - last_wall_s) - (own_s - last_own_s)
            if abs(moved_s) >= STEP_S:
                why = "step"
            elif own_s - last_own_s >= ANCHOR_S:
                why = "minute"
            else:
                return
        self._anchor = (own_s, wall_s)
        yield self._row("anchors", own_s, wall_s, time_s, why)

    def finish(self) -> Iterator[StoredRow]:
        """The open roll-up."""
        yield from map(self._roll_up, self._roll_ups.finish())

    def keys(self) -> list[StoredRow]:
        """Rows of all keys so far, for a file that is begun anew."""
        return [StoredRow("keys", (number, key)) for key, number in self._keys.items()]

    def _row(self, table: str, *cells: Cell) -> StoredRow:
        self._next[table] += 1
        return StoredRow(table, (self._next[table], *cells))

    def _id_of(self, key: str) -> int:
        number = self._keys.get(key)
        if number is None:
            number = self._keys[key] = len(self._keys) + 1
            self._new_keys.append(StoredRow("keys", (number, key)))
        return number

    def _take_new_keys(self) -> list[StoredRow]:
        rows, self._new_keys = self._new_keys, []
        return rows

    def _roll_up(self, stretch: Rolled) -> StoredRow:
        key_id = self._id_of(stretch.key)
        numbers = map(plain_number, (stretch.low, stretch.mean, stretch.high))
        return self._row("roll_ups", stretch.start_s, key_id, *numbers, stretch.count)


def note_row(time_s: float, text: str, kind: str, facts: dict[str, Any]) -> StoredRow:
    """A note; its id is given when it is stored, since another program may add notes too."""
    words = msgspec.json.encode(facts).decode()
    return StoredRow(
        "notes", (None, plain_number(time_s), clean(kind), clean(text, MAX_NOTE), words)
    )


def about_row(name: str, value: object) -> StoredRow:
    return StoredRow("about", (name, msgspec.json.encode(value).decode()))


def _parts(batch: Batch) -> Iterator[Batch]:
    """A batch in parts that make a block each, as large as blocks may be."""
    width = 8 * (len(batch.numbers) + 1)
    at_once = max(min(BLOCK_ROWS, MAX_UNPACKED // (2 * width)), 1)
    for start in range(0, len(batch), at_once):
        yield from _with_few_texts(batch.cut(start, start + at_once))


def _with_few_texts(batch: Batch) -> Iterator[Batch]:
    lengths = [4 * len(text) + 16 for pairs in batch.texts.values() for _, text in pairs]
    if len(batch) > 1 and (sum(lengths) > MAX_TEXT_BYTES or len(lengths) > MAX_TEXTS):
        middle = len(batch) // 2
        yield from _with_few_texts(batch.cut(0, middle))
        yield from _with_few_texts(batch.cut(middle, len(batch)))
    else:
        yield batch
