"""Frames over a TCP or Unix socket."""

import asyncio
from contextlib import suppress

from client.address import Address
from client.form import Profile
from client.framing import Framer, framer
from client.transport import (
    CLOSE_TIMEOUT_S,
    EYEBALLS_S,
    OPEN_TIMEOUT_S,
    Closed,
    how_of,
    reason,
    trouble,
)
from shared.errors import BadInput
from shared.link import How

READ_BYTES = 1 << 16


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
        given = framer(profile.framing or address.framing, profile.delimiter, profile.largest_bytes)
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
            raise Closed(reason(error), how_of(error)) from None

    async def receive(self) -> bytes:
        while not self._ready:
            data = await self._reader.read(READ_BYTES)
            if not data:
                error = self._reader.trouble
                if error is None:
                    raise Closed("the host closed the link", How.BROKEN)
                raise Closed(reason(error), how_of(error))
            self._ready = self._frames.feed(data)
            self._ready.reverse()
        return self._ready.pop()

    async def probe(self) -> bool:
        return False

    async def close(self) -> None:
        self._writer.close()
        try:
            with suppress(OSError):
                async with asyncio.timeout(CLOSE_TIMEOUT_S):
                    await self._writer.wait_closed()
        finally:
            # Whoever gives up waiting for the peer wants the link gone all the same.
            self._writer.transport.abort()
