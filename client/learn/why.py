"""Why a host could not be understood, and what to do: by what it says first, or how it ended."""

import socket
from contextlib import suppress

from client.address import Address
from client.form import Profile
from client.transport import OPEN_TIMEOUT_S
from shared.errors import BadInput
from shared.text import clean

LOOK_S = 1.0
LOOK_BYTES = 64
_PROTOCOLS = (
    # RFC 4253, section 4.2; RFC 9112, section 4; RFC 8446, section 5.1 (alert, handshake).
    (b"SSH-", "SSH", "give the port of the host's own socket; SSH can carry it as a tunnel"),
    (b"HTTP/", "HTTP", "give ws://HOST:PORT/PATH, if it has a WebSocket"),
    (b"\x15\x03", "TLS", "give wss://HOST:PORT/PATH, if it has a WebSocket"),
    (b"\x16\x03", "TLS", "give wss://HOST:PORT/PATH, if it has a WebSocket"),
)
"""What other protocols begin with."""


def is_other(heard: bytes) -> bool:
    """Whether these first bytes are another protocol's: no way of asking will help."""
    return any(heard.startswith(begin) for begin, *_ in _PROTOCOLS)


def not_understood(address: Address, heard: bytes) -> BadInput:
    """What it said is no JSON that was found."""
    for begin, name, do in _PROTOCOLS:
        if heard.startswith(begin):
            said = f": '{_words(heard)}'" if begin.isalpha() or heard[:1].isalpha() else ""
            return BadInput(address.shown, f"the host speaks {name}{said}", do)
    if _words(heard):
        what = f"the host speaks text that is not JSON in any framing known here: '{_words(heard)}'"
        return BadInput(address.shown, what, "check the port, or give --framing as its manual says")
    what = f"what it says is not JSON in any framing known here: {heard[:24]!r}"
    return BadInput(address.shown, what, "give --framing, or check that it speaks JSON")


def ended(address: Address, profile: Profile, why: str) -> BadInput:
    """It closed the link before it said anything; `why` has its own code and reason."""
    do = "see what its manual wants first: another --send"
    if not profile.requests:
        do = "say with --send what it must hear first"
    if profile.token is None:
        do += ", or a token: --token-env or --token-file"
    return BadInput(address.shown, f"{why}, and had said nothing", do)


def unopened(address: Address, bad: BadInput, spent_s: float) -> BadInput:
    """Why a WebSocket was not opened: what the peer says to a link that says nothing."""
    if address.scheme not in ("ws", "wss"):
        return bad
    try:
        with socket.create_connection((address.host, address.port), LOOK_S) as link:
            heard = b""
            with suppress(OSError):
                heard = link.recv(LOOK_BYTES)
    except (OSError, UnicodeError):
        return bad
    if heard:
        return not_understood(address, heard)
    if spent_s < OPEN_TIMEOUT_S:
        return bad
    what = f"the host took the link, and had not finished the handshake after {spent_s:.0f} s"
    return BadInput(address.shown, what, "check the path, and whether it wants ws, wss or tcp")


def _words(heard: bytes) -> str:
    """The first line, if it is text."""
    line = heard[:LOOK_BYTES].strip().splitlines()[:1]
    text = line[0].decode(errors="replace") if line else ""
    return clean(text, LOOK_BYTES) if text.isprintable() and "\ufffd" not in text else ""
