"""What flows: entries as they arrived, updates as they mean, batches for block work.

    bytes → Entry → Update → Batch → detectors

A recording keeps entries; a plain log holds updates. Detectors take batches, and a
batch may hold a single update.
"""

import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from operator import itemgetter

import msgspec
import numpy as np
from numpy.typing import NDArray

from shared.words import is_number_key

Value = float | str
Floats = NDArray[np.float64]


class EntryKind(StrEnum):
    """What an entry of the reader's queue, and of a recording, is."""

    MESSAGE = "message"
    """One whole frame from the host, as it came."""
    CUT_SHORT = "cut-short"
    """The beginning of a frame that was larger than is read; the rest was thrown away."""
    LINK = "link"
    """News of the link, such as that it opened or ended: a `LinkNews` as JSON."""
    TICK = "tick"
    """Own clock says that time passed without a message; no payload."""


class Entry(msgspec.Struct, frozen=True):
    """One thing that arrived, stamped with this machine's own clock.

    `own_s` is CLOCK_BOOTTIME in seconds: it neither jumps nor stops in sleep.
    """

    own_s: float
    kind: EntryKind
    payload: bytes = b""


class LinkNews(msgspec.Struct, frozen=True):
    """Payload of a link entry."""

    up: bool
    """Whether the link is open now."""
    why: str = ""
    told: str = ""
    """What happened, as `shared.link` says it; empty in recordings from before it did."""


class Update(msgspec.Struct, frozen=True):
    """Everything that one moment said, by `CHANNEL.QUANTITY` key.

    `time_s` is the log's time: host time where the host gives it, straightened
    against own time; it never falls. Keys that are not in `values` did not change.
    An update without values says only that time passed.
    """

    time_s: float
    values: dict[str, Value]


@dataclass(frozen=True, slots=True)
class Batch:
    """A run of updates as columns.

    time_s   shape (n,), seconds, not falling
    numbers  key → shape (n,), NaN where the key is not in that update
    texts    key → (row, text) pairs in row order
    """

    time_s: Floats
    numbers: Mapping[str, Floats]
    texts: Mapping[str, Sequence[tuple[int, str]]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.time_s)

    def cut(self, start: int, stop: int) -> "Batch":
        """Rows start…stop−1 as a batch of their own (views, no copies of numbers)."""
        texts = {}
        for key, pairs in self.texts.items():
            first, last = (bisect_left(pairs, row, key=itemgetter(0)) for row in (start, stop))
            texts[key] = [(row - start, text) for row, text in pairs[first:last]]
        return Batch(
            self.time_s[start:stop],
            {key: column[start:stop] for key, column in self.numbers.items()},
            {key: pairs for key, pairs in texts.items() if pairs},
        )


def batch_of(updates: Iterable[Update]) -> Batch:
    """Collect updates into one batch. Text under a number's key is left out, and the reverse."""
    rows = list(updates)
    columns: dict[str, list[float]] = {}
    texts: dict[str, list[tuple[int, str]]] = {}
    for row, update in enumerate(rows):
        for key, value in update.values.items():
            if isinstance(value, str):
                if not is_number_key(key):
                    texts.setdefault(key, []).append((row, value))
            elif is_number_key(key):
                column = columns.get(key)
                if column is None:
                    column = columns[key] = [math.nan] * len(rows)
                column[row] = value
    numbers = {key: np.array(column, dtype=np.float64) for key, column in columns.items()}
    return Batch(np.array([update.time_s for update in rows], dtype=np.float64), numbers, texts)


def updates_of(batch: Batch) -> list[Update]:
    """Inverse of `batch_of`."""
    rows: list[dict[str, Value]] = [{} for _ in range(len(batch))]
    for key, column in batch.numbers.items():
        for row, value in enumerate(column.tolist()):
            if value == value:
                rows[row][key] = value
    for key, pairs in batch.texts.items():
        for row, text in pairs:
            rows[row][key] = text
    return [
        Update(time_s, values) for time_s, values in zip(batch.time_s.tolist(), rows, strict=True)
    ]
