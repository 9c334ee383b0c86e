"""Listening to a host whose framing may not be known yet.

Nothing is sent but what the user gave. Where a stream's framing is unknown and the host
waits to be asked, the same requests are sent with one framing after another, each on a
connection of its own, until the host answers; then in the framing of its answer.
"""

import time
from collections.abc import Callable

import msgspec

from client.address import Address, parse_address
from client.carried import Echoes
from client.connecting import connect
from client.form import Profile
from client.framing import Framing
from client.learn import why
from client.learn.gather import Gatherer
from client.learn.sniff import Cut, SniffingFramer
from client.reader import Link, Reader
from client.streams import StreamTransport
from client.transport import Transport
from shared.errors import BadInput
from shared.updates import EntryKind, LinkNews

NUL, END_OF_BLOCK = 0x00, 0x17
LIKELY = (
    Cut("newline"),
    Cut("length"),
    Cut("sequence"),
    Cut("delimiter", NUL),
    Cut("delimiter", END_OF_BLOCK),
)
"""Framings in which requests are sent first: those of published forms (lines, a length before
each message, RFC 7464, strings ended by zero) and ASCII's own end of a transmitted block."""
REST = tuple(
    Cut("delimiter", byte)
    for byte in range(0x20)
    if byte not in (NUL, END_OF_BLOCK) and byte not in b"\t\n\r"
)
"""The other control bytes (ECMA-48's C0) that can end JSON, since none may stand in it as it
is: RFC 8259, section 7; tab and line ends may, between its parts."""
LIKELY_S, REST_S = 3.0, 1.0
"""How long an answer in one framing is waited for once the link is open: 42 s for all."""
_LOOK_S = 0.2


class Heard(msgspec.Struct, frozen=True):
    """What came of listening."""

    gatherer: Gatherer
    framing: Framing | None
    """As recognised; None for a transport that frames by itself."""
    delimiter: int
    seconds: float
    ended: str = ""
    """Why the link was lost, the last time it was."""


class _Try(msgspec.Struct, frozen=True):
    """What came of listening in one way of asking."""

    gatherer: Gatherer
    seconds: float
    cut: Cut | None = None
    """As recognised from the bytes."""
    unread: bytes = b""
    ended: str = ""


Progress = Callable[[float, int], None]


def listen(
    profile: Profile, seconds: float, progress: Progress = lambda seconds, count: None
) -> Heard:
    """Listen to the profile's first address; `progress` is told seconds and messages.

    BadInput when nothing came, or as from the reader.
    """
    address = parse_address(profile.addresses[0])
    if address.scheme not in ("tcp", "unix") or profile.framing is not None:
        known = Cut(profile.framing or address.framing, profile.delimiter)
        tried = _try(profile, None, seconds, seconds, progress)
    elif profile.requests:
        known, tried = _asked(profile, seconds, progress)
    else:
        known = Cut("newline")
        tried = _try(profile, known, seconds, seconds, progress)
        known = tried.cut or known
    if not tried.gatherer.count:
        raise _nothing(address, profile, tried)
    framing = known.framing if address.scheme in ("tcp", "unix") else None
    return Heard(tried.gatherer, framing, known.delimiter, tried.seconds, tried.ended)


def _asked(profile: Profile, seconds: float, progress: Progress) -> tuple[Cut, _Try]:
    """Ask in one framing after another until something comes, then in that of the answer."""
    unread, ended = b"", ""
    for way in (*LIKELY, *REST):
        patience_s = LIKELY_S if way in LIKELY else REST_S
        tried = _try(profile, way, seconds, patience_s, progress)
        unread, ended = unread or tried.unread, ended or tried.ended
        if why.is_other(unread):
            break
        if not tried.gatherer.count:
            continue
        if tried.cut is None or tried.cut.is_like(way):
            return way, tried
        # It spoke in another framing: a greeting, or a complaint. It may hear as it speaks.
        again = _try(profile, tried.cut, seconds, LIKELY_S, progress)
        if again.gatherer.count >= tried.gatherer.count:
            return tried.cut, again
        reads_both = {way.framing, tried.cut.framing} == {"newline", "sequence"}
        sure = _try(profile, way, seconds, seconds, progress, is_sure=True)
        return (way if reads_both else tried.cut), sure
    return LIKELY[0], _Try(Gatherer(profile.requests), 0.0, None, unread, ended)


def _nothing(address: Address, profile: Profile, tried: _Try) -> BadInput:
    """Why nothing was learnt, and what to do about it."""
    unread = Echoes(profile).frame(tried.unread or tried.gatherer.example)
    if unread:
        return why.not_understood(address, unread)
    if tried.gatherer.refused:
        what = f"each message is {', '.join(tried.gatherer.refused)}: nothing was read"
        return BadInput(address.shown, what, "ask for less with --send")
    if tried.ended:
        return why.ended(address, profile, tried.ended)
    what = "the host said nothing"
    if not profile.requests:
        return BadInput(address.shown, what, "say with --send what to ask")
    if profile.framing is not None or address.scheme in ("ws", "wss"):
        return BadInput(address.shown, what, "check what --send asks for")
    what += f" in any of {len(LIKELY) + len(REST)} framings"
    do = "check what --send asks for, or give --framing and --delimiter as its manual says"
    return BadInput(address.shown, what, do)


def _try(
    profile: Profile,
    way: Cut | None,
    seconds: float,
    patience_s: float,
    progress: Progress,
    is_sure: bool = False,
) -> _Try:
    """Ask in one way and listen until the time is over, or patience is before anything came.

    Patience is also all there is for a host that answers in another framing than it was asked
    in, unless that is sure to be its way.
    """
    framers: list[SniffingFramer] = []

    async def sniffing(address: Address, profile: Profile) -> Transport:
        assert way is not None
        framers.append(SniffingFramer(way))
        return await StreamTransport.open(address, profile, framers[-1])

    def cut() -> Cut | None:
        return next((each.cut for each in framers if each.cut is not None), None)

    def is_right() -> bool:
        found = cut()
        return is_sure or way is None or not profile.requests or not found or found.is_like(way)

    gatherer = Gatherer(profile.requests)
    reader = Reader(profile, connect=connect if way is None else sniffing)
    began = start = time.monotonic()
    is_open, ended = False, ""
    reader.start()
    try:
        while True:
            reader.wait(_LOOK_S)
            if not is_open and reader.link.state is not Link.CONNECTING:
                start, is_open = time.monotonic(), True
            for entry in reader.take():
                gatherer.feed(entry)
                if entry.kind is EntryKind.LINK:
                    news = msgspec.json.decode(entry.payload, type=LinkNews)
                    ended = ended if news.up else news.why
            spent = time.monotonic() - start
            progress(spent, gatherer.count)
            if reader.link.state is Link.ENDED and reader.fatal is not None:
                address = parse_address(profile.addresses[0])
                raise why.unopened(address, reader.fatal, time.monotonic() - began)
            limit_s = seconds if gatherer.count and is_right() else min(patience_s, seconds)
            if is_open and spent >= limit_s:
                break
    finally:
        reader.stop()
    return _Try(gatherer, spent, cut(), framers[-1].heard if framers else b"", ended)
