"""Framers: cut a stream of bytes into frames, and wrap a frame for sending. No I/O.

A framer takes bytes as they come, in pieces of any size, and gives whole frames. Half
a frame waits. Of a frame longer than `MAX_FRAME_BYTES` only the beginning is given, a `CutShort`,
and the rest is thrown away, so that no peer can make memory grow. Empty frames are skipped.
"""

import re
from typing import Literal, Protocol

MAX_FRAME_BYTES = 1 << 20
"""Longest frame that is read, 1 MiB; also the largest WebSocket message."""

RECORD_SEPARATOR = b"\x1e"
"""What begins a text of a sequence (RFC 7464, section 2.2)."""

MOST_TAKEN_BYTES = 16 * MAX_FRAME_BYTES
"""No profile may ask for more. A larger WebSocket message ends the link: it has to be in memory
whole to be thrown away."""

CUT_BYTES = 512
"""How much of the beginning of a frame that is too long is given."""

LENGTH_BYTES = 4
"""Size of a length prefix: an unsigned integer, most significant byte first."""

Framing = Literal["message", "newline", "sequence", "delimiter", "length", "concatenated"]


class CutShort(bytes):
    """The beginning of a frame that is longer than the limit."""


def cut_short(frame: bytes | bytearray | memoryview) -> CutShort:
    """What is kept of a frame that is too long."""
    return CutShort(frame[:CUT_BYTES])


class Framer(Protocol):
    """What all framers do."""

    def feed(self, data: bytes) -> list[bytes]:
        """Frames that are whole after these bytes, in order; `CutShort` where one is too long."""
        ...

    def wrap(self, body: bytes) -> bytes:
        """Bytes that carry one frame; ValueError when the framing cannot carry it."""
        ...


class MessageFramer:
    """The transport itself keeps frames apart, as WebSocket does: one piece, one frame."""

    def __init__(self, limit: int = MAX_FRAME_BYTES) -> None:
        self._limit = limit

    def feed(self, data: bytes) -> list[bytes]:
        if len(data) > self._limit:
            return [cut_short(data)]
        return [data] if data else []

    def wrap(self, body: bytes) -> bytes:
        return body


class DelimiterFramer:
    """Frames end with one byte. With a newline, a carriage return before it is dropped, and so
    is a record separator before the frame (RFC 7464, JSON text sequences)."""

    def __init__(self, delimiter: int = 0x0A, limit: int = MAX_FRAME_BYTES) -> None:
        if not 0 <= delimiter <= 0xFF:
            raise ValueError(f"a delimiter is one byte, 0 to 255, got {delimiter}")
        self._delimiter = bytes([delimiter])
        self._limit = limit
        self._held = bytearray()
        self._skipping = False

    def feed(self, data: bytes) -> list[bytes]:
        *ends, rest = data.split(self._delimiter)
        frames: list[bytes] = []
        for end in ends:
            frames += self._hold(end)
            if not self._skipping:
                frame = bytes(self._held)
                if self._delimiter == b"\n":
                    frame = frame.removesuffix(b"\r").removeprefix(RECORD_SEPARATOR)
                if frame:
                    frames.append(frame)
            self._held.clear()
            self._skipping = False
        frames += self._hold(rest)
        return frames

    def wrap(self, body: bytes) -> bytes:
        if self._delimiter in body:
            raise ValueError("the request holds the byte that ends a frame")
        return body + self._delimiter

    def _hold(self, piece: bytes) -> list[bytes]:
        """Keep a piece of a frame; the frame's beginning as soon as it is too long."""
        if self._skipping:
            return []
        if len(self._held) + len(piece) > self._limit:
            beginning = cut_short(self._held[:CUT_BYTES] + piece[:CUT_BYTES])
            self._held.clear()
            self._skipping = True
            return [beginning]
        self._held += piece
        return []


class SequenceFramer(DelimiterFramer):
    """JSON text sequences (RFC 7464): a record separator before each text, a line end after it.

    Read as lines: a text must stand on one.
    """

    def __init__(self, limit: int = MAX_FRAME_BYTES) -> None:
        super().__init__(0x0A, limit)

    def wrap(self, body: bytes) -> bytes:
        return RECORD_SEPARATOR + super().wrap(body)


class LengthFramer:
    """Frames begin with their length in `LENGTH_BYTES` bytes, most significant first."""

    def __init__(self, limit: int = MAX_FRAME_BYTES) -> None:
        self._limit = limit
        self._held = bytearray()
        self._skip = 0

    def feed(self, data: bytes) -> list[bytes]:
        frames: list[bytes] = []
        self._held += data
        start = 0
        while True:
            if self._skip:
                skipped = min(self._skip, len(self._held) - start)
                start += skipped
                self._skip -= skipped
            body = start + LENGTH_BYTES
            if self._skip or len(self._held) < body:
                break
            size = int.from_bytes(self._held[start:body], "big")
            if size > self._limit:
                if len(self._held) == body:
                    break
                frames.append(cut_short(self._held[body : body + size]))
                self._skip = size
                start = body
            elif len(self._held) < body + size:
                break
            else:
                if size:
                    frames.append(bytes(self._held[body : body + size]))
                start = body + size
        del self._held[:start]
        return frames

    def wrap(self, body: bytes) -> bytes:
        return len(body).to_bytes(LENGTH_BYTES, "big") + body


SPACES = b" \t\n\r"
"""What may stand around a JSON text (RFC 8259, section 2)."""
_OUTSIDE = re.compile(rb'[{}\[\]"]')
_INSIDE = re.compile(rb'["\\]')


class ConcatenatedFramer:
    """JSON objects and arrays back to back, over any number of lines, with or without anything
    between. What stands between and is no space is a frame of its own, so that it is told."""

    def __init__(self, limit: int = MAX_FRAME_BYTES) -> None:
        self._limit = limit
        self._held = bytearray()
        self._at = 0
        self._depth = 0
        self._in_string = False
        self._skipping = False

    def feed(self, data: bytes) -> list[bytes]:
        self._held += data
        frames: list[bytes] = []
        while (end := self._next_end(frames)) is not None:
            self._give(end, frames)
        if not self._depth:
            # What begins no value is given by the line, or as soon as it is much.
            self._at = len(self._held)
            if b"\n" in self._held or len(self._held) > CUT_BYTES:
                self._give(len(self._held), frames)
        if len(self._held) > self._limit:
            if not self._skipping:
                frames.append(cut_short(self._held))
            self._skipping = True
            del self._held[: self._at]
            self._at = 0
        return frames

    def wrap(self, body: bytes) -> bytes:
        return body

    def _next_end(self, frames: list[bytes]) -> int | None:
        """Where the value that is begun ends; None if its end has not come."""
        while True:
            pattern = _INSIDE if self._in_string else _OUTSIDE
            found = pattern.search(self._held, self._at)
            if found is None:
                self._at = len(self._held)
                return None
            mark, self._at = found[0], found.end()
            if mark == b"\\":
                if self._at == len(self._held):
                    self._at -= 1
                    return None
                self._at += 1
            elif mark == b'"':
                self._in_string = self._depth > 0 and not self._in_string
            elif mark in b"{[":
                if not self._depth:
                    self._give(found.start(), frames)
                self._depth += 1
            elif self._depth:
                self._depth -= 1
                if not self._depth:
                    return self._at

    def _give(self, end: int, frames: list[bytes]) -> None:
        """Hand on what stands up to `end`."""
        frame = bytes(self._held[:end]).strip(SPACES)
        if frame and not self._skipping:
            frames.append(frame)
        if self._skipping and end:
            self._skipping = False
        del self._held[:end]
        self._at -= end


def framer(framing: Framing, delimiter: int = 0x0A, limit: int = MAX_FRAME_BYTES) -> Framer:
    """A fresh framer of this kind; `delimiter` is used by "delimiter" alone."""
    if framing == "message":
        return MessageFramer(limit)
    if framing == "length":
        return LengthFramer(limit)
    if framing == "concatenated":
        return ConcatenatedFramer(limit)
    if framing == "sequence":
        return SequenceFramer(limit)
    return DelimiterFramer(0x0A if framing == "newline" else delimiter, limit)
