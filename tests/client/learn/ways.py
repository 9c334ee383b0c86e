"""How a strange host carries its messages: transport and framing, drawn at random."""

import random
from dataclasses import dataclass

from client.learn.sniff import Cut, SniffingFramer
from shared.updates import Entry

ENDINGS = tuple(byte for byte in range(0x20) if byte not in b"\t\n\r")
"""Bytes that no JSON text holds as they are (RFC 8259: control characters are escaped)."""
FRAMINGS = ("line", "line of two", "length", "sequence", *("byte",) * 3)


@dataclass(frozen=True)
class Way:
    """One transport with one framing; `end` is the byte that ends a frame of `byte`."""

    scheme: str
    framing: str
    end: int = 0

    def wire(self, body: bytes) -> bytes:
        """The bytes that carry a message."""
        if self.framing == "length":
            return len(body).to_bytes(4, "big") + body
        if self.framing == "sequence":
            return b"\x1e" + body + b"\n"
        ends = {"line": b"\n", "line of two": b"\r\n", "byte": bytes([self.end])}
        return body + ends.get(self.framing, b"")

    @property
    def cut(self) -> Cut:
        """What a learner should make of it."""
        if self.framing == "byte":
            return Cut("delimiter", self.end)
        if self.framing == "length":
            return Cut("length")
        if self.framing == "back to back":
            return Cut("concatenated")
        return Cut("sequence" if self.framing == "sequence" else "newline")


def drawn(rng: random.Random) -> Way:
    """A way that nobody chose."""
    scheme = rng.choice(["ws", "tcp", "unix"])
    if scheme == "ws":
        return Way(scheme, "message")
    return Way(scheme, rng.choice(FRAMINGS), rng.choice(ENDINGS))


def carried(entries: list[Entry], way: Way, rng: random.Random) -> tuple[list[Entry], Cut | None]:
    """Entries after their way over the wire, cut anywhere, and what was recognised of it.

    The first wait until their framing is known, and bear the time of what made it known.
    """
    if way.framing == "message":
        return entries, None
    sniffing, heard = SniffingFramer(Cut("newline")), list[Entry]()
    for entry in entries:
        wire = way.wire(entry.payload)
        while wire:
            size = rng.randint(1, len(wire))
            frames, wire = sniffing.feed(wire[:size]), wire[size:]
            heard += [Entry(entry.own_s, entry.kind, frame) for frame in frames]
    return heard, sniffing.cut
