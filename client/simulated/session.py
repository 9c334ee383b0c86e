"""One client of the simulated host: what it asks, what it is answered, what waits to be sent."""

import asyncio
from contextlib import suppress
from typing import Any

import msgspec
from websockets.asyncio.server import ServerConnection
from websockets.exceptions import ConnectionClosed

from client.simulated.rhythm import PERIOD_S
from client.simulated.status import Flat

FOLLOW = "picture.follow"
LINES = "picture.lines"
MOST_WAITING = 1024
"""Frames that may wait for a client; one that leaves more unread is dropped."""

BAD_JSON = (-32700, "parse error")
BAD_REQUEST = (-32600, "invalid request")
UNKNOWN_METHOD = (-32601, "method not found")
BAD_PARAMS = (-32602, "invalid params")
"""Codes and words of JSON-RPC 2.0, section 5.1."""


class Session:
    """A client. `follows`: whether it asked for the picture; `told`: how many messages it had."""

    def __init__(self, socket: ServerConnection, pace: float) -> None:
        self._socket = socket
        self._acknowledged = {"every_s": PERIOD_S, "pace": pace}
        self._waiting: asyncio.Queue[bytes | None] = asyncio.Queue(MOST_WAITING)
        self.follows = False
        self.told = 0

    async def run(self, followed: asyncio.Event) -> None:
        """Read requests until the socket closes; `followed` is set once the picture is asked."""
        writer = asyncio.create_task(self._write())
        try:
            async for frame in self._socket:
                self._take(frame)
                if self.follows:
                    followed.set()
        except ConnectionClosed:
            pass
        finally:
            writer.cancel()
            with suppress(asyncio.CancelledError):
                await writer

    def tell(self, clock_ms: int, lines: msgspec.Raw) -> None:
        """Send the next message of a client that follows."""
        self.told += 1
        params = {"no": self.told, "clock_ms": clock_ms, "lines": lines}
        self.send(encoded({"method": LINES, "params": params}))

    def send(self, frame: bytes | None) -> None:
        """Queue a frame, or the end of all (None); a full queue drops the client."""
        try:
            self._waiting.put_nowait(frame)
        except asyncio.QueueFull:
            self.drop()

    def drop(self) -> None:
        """Break the connection off, as a network that is gone does."""
        self._socket.transport.abort()

    async def _write(self) -> None:
        with suppress(ConnectionClosed):
            while (frame := await self._waiting.get()) is not None:
                await self._socket.send(frame, text=True)
            await self._socket.close(1000)

    def _take(self, frame: str | bytes) -> None:
        try:
            request = msgspec.json.decode(frame)
        except (ValueError, RecursionError):
            self._refuse(None, BAD_JSON)
            return
        if not isinstance(request, dict) or request.get("jsonrpc") != "2.0":
            self._refuse(None, BAD_REQUEST)
            return
        number, method = request.get("id"), request.get("method")
        if not isinstance(method, str) or not isinstance(number, int | float | str | None):
            self._refuse(None, BAD_REQUEST)
        elif "id" not in request:
            # A notification: nothing that this host knows, and nothing is answered.
            return
        elif method != FOLLOW:
            self._refuse(number, UNKNOWN_METHOD)
        elif not isinstance(request.get("params", {}), dict):
            self._refuse(number, BAD_PARAMS)
        else:
            self.follows = True
            self.send(encoded({"id": number, "result": self._acknowledged}))

    def _refuse(self, number: Any, error: tuple[int, str]) -> None:
        code, words = error
        self.send(encoded({"id": number, "error": {"code": code, "message": words}}))


def lines_of(flat: Flat) -> msgspec.Raw:
    """Lines of a message: a pair of path and value each."""
    return msgspec.Raw(msgspec.json.encode(list(flat.items())))


def encoded(message: dict[str, Any]) -> bytes:
    """JSON-RPC frame of a message."""
    return msgspec.json.encode({"jsonrpc": "2.0", **message})
