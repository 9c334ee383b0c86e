"""The one seam between this package and the network: connect, send, receive, close.

Everything that can go wrong leaves here as one of three: `Unreachable` (worth another
try), `Closed` (an open link ended) or `BadInput` (no try will help).
"""

import asyncio
import logging
import os
import re
import ssl
import stat
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Protocol

from client.address import Address
from client.form import Profile, Token
from client.framing import Framer, framer
from shared.errors import BadInput
from shared.text import clean

OPEN_TIMEOUT_S = 10.0
CLOSE_TIMEOUT_S = 1.0
READ_BYTES = 1 << 16
EYEBALLS_S = 0.25
"""Head start of one of a name's addresses over the next (RFC 8305 recommends 250 ms)."""
MAX_TOKEN = 8192
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


async def connect(address: Address, profile: Profile) -> Transport:
    """Open a link of the kind that the address names."""
    if address.scheme in ("ws", "wss"):
        from client.websocket import WebSocketTransport

        return await WebSocketTransport.open(address, profile)
    return await StreamTransport.open(address, profile)


class _Stream(asyncio.StreamReader):
    """A reader that gives what has come before it tells of an error.

    asyncio's own forgets what is in its buffer when the link is reset.
    """

    trouble: Exception | None = None

    def set_exception(self, exc: Exception) -> None:
        self.trouble = exc
        self.feed_eof()


async def _open_stream(address: Address) -> tuple[_Stream, asyncio.StreamWriter]:
    loop = asyncio.get_running_loop()
    reader = _Stream(loop=loop)
    protocol = asyncio.StreamReaderProtocol(reader, loop=loop)
    link: asyncio.Transport
    if address.scheme == "unix":
        link, _ = await loop.create_unix_connection(lambda: protocol, address.path)
    else:
        link, _ = await loop.create_connection(
            lambda: protocol, address.host, address.port, happy_eyeballs_delay=EYEBALLS_S
        )
    return reader, asyncio.StreamWriter(link, protocol, reader, loop)


class StreamTransport:
    """Frames over a TCP or Unix socket."""

    def __init__(
        self,
        address: Address,
        reader: _Stream,
        writer: asyncio.StreamWriter,
        frames: Framer,
    ) -> None:
        self._address = address
        self._reader = reader
        self._writer = writer
        self._frames = frames
        self._ready: list[bytes] = []

    @classmethod
    async def open(
        cls, address: Address, profile: Profile, frames: Framer | None = None
    ) -> "StreamTransport":
        """Connect; `frames` cuts the stream where the profile does not say how."""
        try:
            async with asyncio.timeout(OPEN_TIMEOUT_S):
                reader, writer = await _open_stream(address)
        except (OSError, UnicodeError) as error:
            raise trouble(address, error) from None
        given = framer(profile.framing or address.framing, profile.delimiter)
        return cls(address, reader, writer, frames or given)

    async def send(self, frame: bytes) -> None:
        try:
            wrapped = self._frames.wrap(frame)
        except ValueError as error:
            do = "correct framing and delimiter in the profile"
            raise BadInput(self._address.shown, str(error), do) from None
        try:
            self._writer.write(wrapped)
            await self._writer.drain()
        except OSError as error:
            raise Closed(reason(error)) from None

    async def receive(self) -> bytes:
        while not self._ready:
            data = await self._reader.read(READ_BYTES)
            if not data:
                error = self._reader.trouble
                raise Closed("the host closed the link" if error is None else reason(error))
            self._ready = self._frames.feed(data)
            self._ready.reverse()
        return self._ready.pop()

    async def probe(self) -> bool:
        return False

    async def close(self) -> None:
        self._writer.close()
        try:
            async with asyncio.timeout(CLOSE_TIMEOUT_S):
                await self._writer.wait_closed()
        except OSError:
            self._writer.transport.abort()


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


def tls_context(profile: Profile) -> ssl.SSLContext:
    """Certificate and name checks on; a private authority, where given, alone is trusted."""
    if not profile.ca_file:
        return ssl.create_default_context()
    path = Path(profile.ca_file).expanduser()
    try:
        return ssl.create_default_context(cafile=path)
    except (OSError, ssl.SSLError):
        raise BadInput(
            str(path), "no certificates can be read from it", "give a PEM file"
        ) from None


def secret(token: Token) -> str:
    """The token itself, from the environment or a file that only its owner may read."""
    value = os.environ.get(token.env, "").strip() if token.env else ""
    if not value and token.file:
        value = _secret_file(Path(token.file).expanduser())
    if not value:
        raise BadInput(f"${token.env}", "the token is not set", "set the variable to the token")
    if not value.isascii() or not value.isprintable() or len(value) > MAX_TOKEN:
        where = f"${token.env}" if token.env else token.file
        raise BadInput(where, "holds no token", "give printable ASCII on one line")
    return value


def _secret_file(path: Path) -> str:
    try:
        with path.open(encoding="ascii") as file:
            mode = stat.S_IMODE(os.fstat(file.fileno()).st_mode)
            if mode & 0o077:
                do = f"run chmod 600 {path}"
                raise BadInput(str(path), f"others may read the token (mode {mode:04o})", do)
            return file.read(MAX_TOKEN + 1).strip()
    except UnicodeError:
        raise BadInput(str(path), "holds no token", "give printable ASCII on one line") from None
    except OSError as error:
        raise BadInput(str(path), reason(error), "give a readable file with the token") from None


def quiet_websockets() -> None:
    """Keep the library's logger from DEBUG, at which it prints tokens and bodies."""
    logger = logging.getLogger("websockets")
    if logger.getEffectiveLevel() < logging.INFO:
        logger.setLevel(logging.INFO)
