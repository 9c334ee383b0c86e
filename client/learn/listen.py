"""Listening to a host whose framing may not be known yet.

Nothing is sent but what the user gave. Where a stream's framing is unknown and the host
waits to be asked, the same requests are sent with one framing after another, each on a
connection of its own, until the host answers.
"""

import time
from collections.abc import Callable

import msgspec

from client.address import Address, parse_address
from client.connecting import connect
from client.form import Profile
from client.framing import Framing
from client.learn.gather import Gatherer
from client.learn.sniff import NEWLINE, Cut, SniffingFramer
from client.reader import Link, Reader
from client.streams import StreamTransport
from client.transport import Transport
from shared.errors import BadInput

WAYS = (Cut("newline"), Cut("delimiter", 0x03), Cut("length"), Cut("delimiter", 0x00))
"""Framings in which requests are sent until one is answered."""
ANSWER_S = 3.0
"""How long an answer in one framing is waited for."""
_LOOK_S = 0.2


class Heard(msgspec.Struct, frozen=True):
    """What came of listening."""

    gatherer: Gatherer
    framing: Framing | None
    """As recognised; None for a transport that frames by itself."""
    delimiter: int
    seconds: float


def listen(
    profile: Profile,
    seconds: float,
    progress: Callable[[float, int], None] = lambda seconds, count: None,
) -> Heard:
    """Listen to the profile's first address; `progress` is told seconds and messages.

    BadInput when nothing came, or as from the reader.
    """
    address = parse_address(profile.addresses[0])
    is_stream = address.scheme in ("tcp", "unix")
    if not is_stream or profile.framing is not None:
        gatherer, spent, _ = _try(profile, None, seconds, seconds, progress)
        cut = Cut(profile.framing or address.framing, profile.delimiter)
    else:
        ways = WAYS if profile.requests else WAYS[:1]
        patience = ANSWER_S if profile.requests else seconds
        unread = b""
        for way in ways:
            framers: list[SniffingFramer] = []
            gatherer, spent, unread = _try(profile, (way, framers), seconds, patience, progress)
            cut = next((f.cut for f in framers if f.cut is not None), None) or way
            if gatherer.count:
                break
        if not gatherer.count and unread:
            raise BadInput(
                address.shown,
                f"what it says is not JSON in any framing known here: {unread[:24]!r}",
                "give --framing, or check that it speaks JSON",
            )
    if not gatherer.count:
        do = "check what --send asks for" if profile.requests else "say with --send what to ask"
        raise BadInput(address.shown, "the host said nothing", do)
    return Heard(gatherer, cut.framing if is_stream else None, cut.delimiter, spent)


def _try(
    profile: Profile,
    way: tuple[Cut, list[SniffingFramer]] | None,
    seconds: float,
    patience_s: float,
    progress: Callable[[float, int], None],
) -> tuple[Gatherer, float, bytes]:
    """Listen in one way: until the time is over, or patience is before anything came."""

    async def sniffing(address: Address, profile: Profile) -> Transport:
        assert way is not None
        frames = SniffingFramer(way[0])
        way[1].append(frames)
        return await StreamTransport.open(address, profile, frames)

    gatherer = Gatherer(profile.requests)
    reader = Reader(profile, connect=connect if way is None else sniffing)
    start = time.monotonic()
    reader.start()
    try:
        while True:
            reader.wait(_LOOK_S)
            for entry in reader.take():
                gatherer.feed(entry)
            spent = time.monotonic() - start
            progress(spent, gatherer.count)
            if reader.link.state is Link.ENDED and reader.fatal is not None:
                raise reader.fatal
            if spent >= (seconds if gatherer.count else min(patience_s, seconds)):
                break
    finally:
        reader.stop()
    unread = way[1][-1].heard if way is not None and way[1] else b""
    return gatherer, spent, unread


def sending(cut: Cut) -> tuple[Framing | None, int]:
    """Framing and delimiter as a profile says them: nothing where newline is the default."""
    return (None, NEWLINE) if cut.framing == "newline" else (cut.framing, cut.delimiter)
