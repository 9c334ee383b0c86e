"""Blocks of a recording: entries and samples to compressed bytes and back. No I/O.

Entries are a MessagePack array of [own_s, kind, payload]. Samples are little-endian:
a header of four uint32 (rows n, numeric keys k, bytes of text t, 0), k uint32 key ids,
t bytes of texts (MessagePack array of [key id, row, text]), then n times and k × n values
as doubles, NaN where a key is not in an update; the doubles' bytes stand by significance
(all first bytes, all second bytes, …), which zlib packs better. Both are then zlib's.
"""

import struct
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np
from numpy.typing import NDArray

from shared.updates import Batch, Entry, EntryKind, Floats

MAX_UNPACKED = 16 << 20
"""No block may unpack to more than this, bytes."""
MAX_TEXT_BYTES = 4 << 20
MAX_TEXTS = 1 << 16
"""Texts of a sample block: their bytes, and how many."""
MAX_ENTRIES = 1 << 16
"""Entries of a block."""
MAX_KEYS = 4096
"""Keys of a recording, and so of a block."""
LEVEL = 6

_HEADER = struct.Struct("<4I")
_Texts = list[tuple[int, int, str]]
_read_entries = msgspec.msgpack.Decoder(list[tuple[float, EntryKind, bytes]]).decode
_read_texts = msgspec.msgpack.Decoder(_Texts).decode


class Damaged(Exception):
    """A block that cannot be read; its text says why."""


@dataclass(frozen=True, slots=True)
class Samples:
    """An unpacked block: shapes (n,), (k,), (k, n)."""

    time_s: Floats
    key_ids: NDArray[np.uint32]
    values: Floats
    texts: _Texts


def compress(raw: bytes) -> bytes:
    return zlib.compress(raw, LEVEL)


def decompress(data: bytes, size: int) -> bytes:
    """Undo `compress`; raises Damaged unless exactly `size` bytes come out."""
    if not 0 <= size <= MAX_UNPACKED:
        raise Damaged(f"says that it unpacks to {size} bytes; at most {MAX_UNPACKED} are allowed")
    unpacker = zlib.decompressobj()
    try:
        raw = unpacker.decompress(data, size + 1)
    except zlib.error:
        raise Damaged("cannot be unpacked") from None
    if len(raw) != size or not unpacker.eof or unpacker.unused_data:
        raise Damaged(f"does not unpack to {size} bytes")
    return raw


def pack_entries(entries: Sequence[Entry]) -> bytes:
    rows = [(entry.own_s, entry.kind, entry.payload) for entry in entries]
    return msgspec.msgpack.encode(rows)


def unpack_entries(raw: bytes, count: int) -> list[Entry]:
    """Undo `pack_entries`; raises Damaged, also unless there are `count` entries."""
    if count > MAX_ENTRIES:
        raise Damaged(f"holds {count} entries; at most {MAX_ENTRIES} are allowed")
    if _length(raw) != count:
        raise Damaged("holds another number of entries")
    try:
        return [Entry(own_s, kind, payload) for own_s, kind, payload in _read_entries(raw)]
    except (msgspec.MsgspecError, ValueError):
        raise Damaged("does not hold entries") from None


def pack_samples(batch: Batch, id_of: Callable[[str], int]) -> bytes:
    """A batch as a block; `id_of` numbers its keys."""
    ids = np.array([id_of(key) for key in batch.numbers], dtype="<u4")
    texts: _Texts = [
        (id_of(key), row, text) for key, pairs in batch.texts.items() for row, text in pairs
    ]
    words = msgspec.msgpack.encode(texts) if texts else b""
    doubles = np.concatenate([batch.time_s, *batch.numbers.values()]).astype("<f8")
    planes = doubles.view(np.uint8).reshape(-1, 8).T.tobytes()
    head = _HEADER.pack(len(batch), len(ids), len(words), 0)
    return head + ids.tobytes() + words + planes


def unpack_samples(raw: bytes) -> Samples:
    """Undo `pack_samples`; raises Damaged."""
    if len(raw) < _HEADER.size:
        raise Damaged("is too short")
    rows, keys, text_size, _ = _HEADER.unpack_from(raw)
    if keys > MAX_KEYS:
        raise Damaged(f"holds {keys} keys; at most {MAX_KEYS} are allowed")
    if text_size > MAX_TEXT_BYTES:
        raise Damaged(f"holds {text_size} bytes of text; at most {MAX_TEXT_BYTES} are allowed")
    at_texts = _HEADER.size + 4 * keys
    at_values = at_texts + text_size
    if len(raw) != at_values + 8 * rows * (keys + 1):
        raise Damaged("has another length than its header says")
    ids = np.frombuffer(raw, "<u4", keys, _HEADER.size)
    planes = np.frombuffer(raw, np.uint8, offset=at_values).reshape(8, -1)
    doubles = np.ascontiguousarray(planes.T).view("<f8").reshape(keys + 1, rows)
    texts: _Texts = []
    if text_size:
        texts = _texts(raw[at_texts:at_values], rows)
    return Samples(doubles[0], ids, doubles[1:], texts)


def _texts(raw: bytes, rows: int) -> _Texts:
    if _length(raw) > MAX_TEXTS:
        raise Damaged(f"holds more than {MAX_TEXTS} texts")
    try:
        texts = _read_texts(raw)
    except (msgspec.MsgspecError, ValueError, OverflowError):
        raise Damaged("does not hold texts where it should") from None
    last: dict[int, int] = {}
    for key_id, row, _ in texts:
        if not 0 <= row < rows:
            raise Damaged("has a text outside its rows")
        if row <= last.get(key_id, -1):
            raise Damaged("has texts out of order")
        last[key_id] = row
    return texts


def _length(raw: bytes) -> int:
    """How many items a MessagePack array says that it has; raises Damaged."""
    head = raw[:1]
    if head and 0x90 <= head[0] <= 0x9F:
        return head[0] & 0x0F
    if head == b"\xdc" and len(raw) >= 3:
        return int.from_bytes(raw[1:3])
    if head == b"\xdd" and len(raw) >= 5:
        return int.from_bytes(raw[1:5])
    raise Damaged("does not hold an array")
