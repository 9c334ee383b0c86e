"""Listening on real sockets to hosts whose framing nobody told."""

import asyncio
import json
import random
from pathlib import Path

import pytest

from client.form import Profile, Request
from client.framing import framer
from client.learn import listen as listening
from client.learn.gather import Gatherer
from client.learn.listen import Heard, _Try, listen
from client.learn.sniff import Cut
from shared.errors import BadInput
from tests.client.learn.ways import ENDINGS, Way, drawn
from tests.levels import first
from tests.serving import Serving

ASKED = b'{"method":"hello"}'
PROFILE = Profile(format=1, requests=(Request(json=ASKED.decode(), envelope=False),))


class Host(Serving):
    """Answers each whole request that comes in its way; `greets` before it is asked."""

    def __init__(self, way: Way, folder: Path, greets: bool = False) -> None:
        super().__init__("host")
        self.way, self.greets, self._folder = way, greets, folder
        self.heard: list[bytes] = []
        """By connection."""

    async def listen(self) -> None:
        if self.way.scheme == "unix":
            async with await asyncio.start_unix_server(self._talk, self._folder / "s"):
                await self.be_at(f"unix:{self._folder / 's'}")
        else:
            async with await asyncio.start_server(self._talk, "127.0.0.1", 0) as server:
                await self.be_at(f"tcp://127.0.0.1:{server.sockets[0].getsockname()[1]}")

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        mine = len(self.heard)
        self.heard.append(b"")
        wanted = framer(self.way.cut.framing, self.way.cut.delimiter).wrap(ASKED)
        if self.greets:
            writer.write(self.way.wire(b'{"who": "attic"}'))
        while data := await reader.read(1000):
            self.heard[mine] += data
            if self.heard[mine] == wanted:
                for n in range(3):
                    writer.write(self.way.wire(json.dumps({"temp": 20 + n}).encode()))
        writer.close()


def heard_of(host: Host) -> Heard:
    with host:
        profile = Profile(format=1, addresses=(host.address,), requests=PROFILE.requests)
        return listen(profile, 1.0)


def ways(*framings: str) -> list[Way]:
    """One way of each framing over tcp or unix, else drawn at random."""
    rng = random.Random(17)
    drawn_ways = [way for way in (drawn(rng) for _ in range(200)) if way.scheme != "ws"]
    return [next(way for way in drawn_ways if way.framing == framing) for framing in framings]


def assert_found(heard: Heard, way: Way) -> None:
    assert Cut(heard.framing or "message", heard.delimiter).is_like(way.cut)


@pytest.mark.parametrize("way", first(1, ways("line", "length", "sequence")), ids=str)
def test_a_silent_host_is_asked_until_it_answers(way: Way, tmp_path: Path) -> None:
    """It hears nothing but its own framing."""
    heard = heard_of(Host(way, tmp_path))
    assert heard.gatherer.count == 3
    assert_found(heard, way)


@pytest.mark.slow
@pytest.mark.parametrize("end", random.Random(5).sample(ENDINGS, 2))
def test_whatever_byte_ends_its_frames(end: int, tmp_path: Path) -> None:
    """Bytes that nobody chose."""
    way = Way("unix", "byte", end)
    heard = heard_of(Host(way, tmp_path))
    assert heard.gatherer.count == 3
    assert_found(heard, way)


@pytest.mark.parametrize(
    "way", first(1, ways("line of two", "length", "sequence", "byte")), ids=str
)
def test_a_host_that_greets_is_asked_as_it_speaks(way: Way, tmp_path: Path) -> None:
    """Its greeting shows the framing, and the request goes out once more in it."""
    host = Host(way, tmp_path, greets=True)
    heard = heard_of(host)
    assert heard.gatherer.count == 4
    assert_found(heard, way)
    assert len(host.heard) <= 2


def test_every_framing_is_tried_once_and_what_to_do_is_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """JSON forbids control characters within texts and allows tab and line ends between its
    parts (RFC 8259, sections 2 and 7): these bytes, and no others, can end a frame. In all it
    takes less than three quarters of a minute."""
    tried: list[bytes] = []
    waited: list[float] = []

    def nothing(profile: Profile, way: Cut, seconds: float, patience_s: float, *_: object) -> _Try:
        tried.append(framer(way.framing, way.delimiter).wrap(b"{}"))
        waited.append(patience_s)
        return _Try(Gatherer(), 0.0)

    monkeypatch.setattr(listening, "_try", nothing)
    profile = Profile(format=1, addresses=("tcp://[::1]:9",), requests=PROFILE.requests)
    with pytest.raises(BadInput, match=r"nothing in any of 32 framings.*--framing and --delimiter"):
        listen(profile, 60.0)
    ended = {b"{}" + bytes([byte]) for byte in (*ENDINGS, 0x0A)}
    assert set(tried) == ended | {b"\x1e{}\n", b"\x00\x00\x00\x02{}"}
    assert len(tried) == len(set(tried)) == 32
    assert sum(waited) < 45.0
