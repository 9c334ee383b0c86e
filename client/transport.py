"""The one seam between this package and the network: connect, send, receive, close.

Everything that can go wrong leaves here as one of three: `Unreachable` (worth another
try), `Closed` (an open link ended) or `BadInput` (no try will help).
"""

import os
import re
import ssl
from collections.abc import Awaitable, Callable
from typing import Protocol

from client.address import Address
from client.form import Profile
from shared.errors import BadInput
from shared.text import clean

OPEN_TIMEOUT_S = 10.0
CLOSE_TIMEOUT_S = 1.0
EYEBALLS_S = 0.25
"""Head start of one of a name's addresses over the next (RFC 8305 recommends 250 ms)."""
_ERRNO = re.compile(r"\[Errno (\d+)\]")


class Unreachable(Exception):
    """No connection this time; `str()` says why in a few words."""


class Closed(Exception):
    """The open link ended; `str()` says why in a few words."""


class Transport(Protocol):
    """An open link. All calls come from one event loop."""

    async def send(self, frame: bytes) -> None:
        """Send one frame. Closed when the link is."""
        ...

    async def receive(self) -> bytes:
        """Next whole frame. Closed when the link is; may be cancelled without loss."""
        ...

    async def probe(self) -> bool:
        """Whether the peer gave a sign of life, asked for outside the frames.

        False at once where the transport has no such thing.
        """
        ...

    async def close(self) -> None:
        """Close for good; never raises, never hangs."""
        ...


Connect = Callable[[Address, Profile], Awaitable[Transport]]


def trouble(address: Address, error: Exception) -> Exception:
    """What a failed connection amounts to: Unreachable, or BadInput when hopeless."""
    if isinstance(error, ssl.SSLCertVerificationError):
        why = clean(error.verify_message or "not trusted")
        do = "check its name and date, or set ca_file in a profile"
        return BadInput(address.shown, f"the certificate is bad: {why}", do)
    if isinstance(error, ssl.SSLError):
        return BadInput(address.shown, "the peer speaks no TLS", "try ws:// instead of wss://")
    if isinstance(error, PermissionError):
        return BadInput(address.shown, "permission denied", "ask for access to the socket")
    if isinstance(error, UnicodeError):
        return BadInput(address.shown, "not a host's name", "check the address")
    return Unreachable(reason(error))


def reason(error: BaseException) -> str:
    """A few words for an operating system's error."""
    if isinstance(error, TimeoutError):
        return "no answer in time"
    if isinstance(error, ConnectionRefusedError):
        return "connection refused"
    if isinstance(error, ConnectionResetError | BrokenPipeError):
        return "connection reset"
    if isinstance(error, EOFError):
        return "the link broke off"
    several = _ERRNO.search(str(error))
    if isinstance(error, OSError) and not error.errno and several:
        # asyncio joins the failures of a name's addresses into one text; the first will do.
        return reason(OSError(int(several[1]), ""))
    if isinstance(error, OSError) and error.errno and (error.strerror or error.errno > 0):
        # asyncio puts a text of its own, with the address in it, where the system's should be.
        words = os.strerror(error.errno) if error.errno > 0 else error.strerror
        return clean(words or "").lower()
    return clean(str(error)).lower() or type(error).__name__
