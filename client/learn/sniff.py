"""Recognise how frames are kept apart from the bytes themselves. No I/O.

Each way is tried on what has come so far, and the one by which most of it falls into
whole JSON documents wins: a length prefix, or the byte that stands after a document,
whichever byte that is.
"""

from dataclasses import dataclass

import msgspec

from client.framing import (
    LENGTH_BYTES,
    MAX_FRAME_BYTES,
    RECORD_SEPARATOR,
    ConcatenatedFramer,
    DelimiterFramer,
    Framer,
    Framing,
    cut_short,
    framer,
)

NEWLINE = 0x0A
_SHORT = 8192
_LEAST_WORTH = 2
"""Shortest frame that proves anything."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A way to cut frames, and how many whole documents it gave."""

    framing: Framing
    delimiter: int = NEWLINE
    documents: int = 0

    def is_like(self, other: "Cut") -> bool:
        """Whether both cut and wrap alike."""
        return (self.framing, self.delimiter) == (other.framing, other.delimiter)


def recognise(data: bytes) -> Cut | None:
    """The way that fits, or None when nothing is whole yet."""
    cuts = [_by_length(data), *(_by_byte(data, byte) for byte in _ends(data)), _by_nothing(data)]
    best = max(cuts, key=lambda cut: cut.documents)
    return best if best.documents else None


class SniffingFramer:
    """Holds bytes until the framing is recognised, then cuts. Sends with `sending`."""

    def __init__(self, sending: Cut, limit: int = MAX_FRAME_BYTES) -> None:
        self._sending = framer(sending.framing, sending.delimiter)
        self._limit = limit
        self._held = bytearray()
        self._next = 0
        self._known: Framer | None = None
        self.cut: Cut | None = None

    @property
    def heard(self) -> bytes:
        """The first bytes that came and could not be cut."""
        return bytes(self._held[:64])

    def feed(self, data: bytes) -> list[bytes]:
        if self._known is not None:
            return self._known.feed(data)
        self._held += data
        if len(self._held) >= self._next:
            self.cut = recognise(bytes(self._held))
            # All that is held is looked at each time: not for every byte of a long frame.
            self._next = 0 if len(self._held) < _SHORT else len(self._held) * 5 // 4
        if self.cut is None:
            if len(self._held) > self._limit:
                beginning = cut_short(self._held)
                self._held.clear()
                self._next = 0
                return [beginning]
            return []
        self._known = framer(self.cut.framing, self.cut.delimiter)
        held, self._held = bytes(self._held), bytearray()
        return self._known.feed(held)

    def wrap(self, body: bytes) -> bytes:
        return self._sending.wrap(body)


def _ends(data: bytes) -> set[int]:
    """Bytes that stand right after a closing bracket and cannot be within JSON there."""
    ends = {
        after
        for close in (0x7D, 0x5D)
        for after in {data[at + 1] for at in _places(data, close) if at + 1 < len(data)}
    }
    inside = set(b',]}"') | set(b"0123456789")
    return {byte for byte in ends if byte not in inside and byte not in b" \t\r"} | {NEWLINE}


def _places(data: bytes, byte: int) -> list[int]:
    return [at for at, one in enumerate(data[:65536]) if one == byte]


def _by_byte(data: bytes, byte: int) -> Cut:
    count = sum(map(_is_json, DelimiterFramer(byte).feed(data)))
    if byte != NEWLINE:
        return Cut("delimiter", byte, count)
    return Cut("sequence" if data.startswith(RECORD_SEPARATOR) else "newline", byte, count)


def _by_length(data: bytes) -> Cut:
    count, at = 0, 0
    while at + LENGTH_BYTES <= len(data):
        size = int.from_bytes(data[at : at + LENGTH_BYTES], "big")
        body = data[at + LENGTH_BYTES : at + LENGTH_BYTES + size]
        if not 0 < size <= MAX_FRAME_BYTES or len(body) < size or not _is_json(body):
            break
        count += 1
        at += LENGTH_BYTES + size
    return Cut("length", NEWLINE, count)


def _by_nothing(data: bytes) -> Cut:
    """Two or more, with nothing between, or laid out over several lines each."""
    frames = ConcatenatedFramer().feed(data)
    nothing_between = data.startswith(b"".join(frames))
    fits = len(frames) > 1 and all(map(_is_json, frames))
    fits = fits and (nothing_between or all(b"\n" in frame for frame in frames))
    return Cut("concatenated", NEWLINE, len(frames) if fits else 0)


def _is_json(frame: bytes) -> bool:
    if len(frame) < _LEAST_WORTH:
        return False
    try:
        return isinstance(msgspec.json.decode(frame), dict | list)
    except (ValueError, RecursionError):
        return False
