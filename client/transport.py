"""The one seam between this package and the network: connect, send, receive, close.

Everything that can go wrong leaves here as one of three: `Unreachable` (worth another
try), `Closed` (an open link ended) or `BadInput` (no try will help).
"""

import errno
import os
import re
import socket
import ssl
from collections.abc import Awaitable, Callable
from typing import Protocol

from client.address import Address
from client.form import Profile
from shared.errors import BadInput
from shared.link import How
from shared.text import clean

OPEN_TIMEOUT_S = 10.0
CLOSE_TIMEOUT_S = 1.0
EYEBALLS_S = 0.25
"""Head start of one of a name's addresses over the next (RFC 8305 recommends 250 ms)."""
_ERRNO = re.compile(r"\[Errno (\d+)\]")


_HOW_BY_ERRNO = {
    errno.ENETUNREACH: How.NO_NETWORK,
    errno.ENETDOWN: How.NO_NETWORK,
    errno.EHOSTUNREACH: How.NO_WAY,
    errno.EHOSTDOWN: How.NO_WAY,
    # Of a Unix socket: nobody has put it there.
    errno.ENOENT: How.REFUSED,
}
_HOW_BY_NAME = {socket.EAI_AGAIN: How.NO_NETWORK, socket.EAI_NONAME: How.NO_WAY}


class _Trouble(Exception):
    """`str()` says why in a few words, `how` in one of a fixed set."""

    def __init__(self, why: str, how: How = How.OTHER) -> None:
        super().__init__(why)
        self.how = how


class Unreachable(_Trouble):
    """No connection this time."""


class Closed(_Trouble):
    """The open link ended."""


class Hopeless(BadInput):
    """No try will help."""

    def __init__(self, where: str, what: str, do: str, how: How) -> None:
        super().__init__(where, what, do)
        self.how = how


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
        return Hopeless(address.shown, f"the certificate is bad: {why}", do, How.WRONG)
    if isinstance(error, ssl.SSLError):
        do = "try ws:// instead of wss://"
        return Hopeless(address.shown, "the peer speaks no TLS", do, How.WRONG)
    if isinstance(error, PermissionError):
        do = "ask for access to the socket"
        return Hopeless(address.shown, "permission denied", do, How.DENIED)
    if isinstance(error, UnicodeError):
        return BadInput(address.shown, "not a host's name", "check the address")
    return Unreachable(reason(error), how_of(error))


def how_of(error: BaseException) -> How:
    """What an operating system's error says of the link."""
    error = _system_error(error)
    if isinstance(error, TimeoutError):
        return How.TIMED_OUT
    if isinstance(error, ConnectionRefusedError):
        return How.REFUSED
    if isinstance(error, ConnectionResetError | BrokenPipeError | ConnectionAbortedError):
        return How.RESET
    if isinstance(error, EOFError):
        return How.BROKEN
    if isinstance(error, socket.gaierror):
        return _HOW_BY_NAME.get(error.errno or 0, How.OTHER)
    return _HOW_BY_ERRNO.get(getattr(error, "errno", None) or 0, How.OTHER)


def _system_error(error: BaseException) -> BaseException:
    """The first error of those that asyncio joined into one text; else the error itself."""
    several = _ERRNO.search(str(error))
    if isinstance(error, OSError) and not error.errno and several:
        return OSError(int(several[1]), "")
    return error


def reason(error: BaseException) -> str:
    """A few words for an operating system's error."""
    error = _system_error(error)
    if isinstance(error, TimeoutError):
        return "no answer in time"
    if isinstance(error, ConnectionRefusedError):
        return "connection refused"
    if isinstance(error, ConnectionResetError | BrokenPipeError):
        return "connection reset"
    if isinstance(error, EOFError):
        return "the link broke off"
    if isinstance(error, OSError) and error.errno and (error.strerror or error.errno > 0):
        # asyncio puts a text of its own, with the address in it, where the system's should be.
        words = os.strerror(error.errno) if error.errno > 0 else error.strerror
        return clean(words or "").lower()
    return clean(str(error)).lower() or type(error).__name__
