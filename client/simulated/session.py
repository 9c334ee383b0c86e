"""One client of the simulated host: what it asks, what it is answered, what waits to be sent."""

import asyncio
from contextlib import suppress
from typing import Any

import msgspec
from websockets.asyncio.server import ServerConnection
from websockets.exceptions import ConnectionClosed

OPEN = "telemetry.open"
DELTA = "telemetry.delta"
MOST_WAITING = 1024
"""Frames that may wait for a client; one that leaves more unread is dropped."""

BAD_JSON = (-32700, "parse error")
BAD_REQUEST = (-32600, "invalid request")
UNKNOWN_METHOD = (-32601, "method not found")
BAD_PARAMS = (-32602, "invalid params")
"""Codes and words of JSON-RPC 2.0, section 5.1."""


class Session:
    """A client. `opening` holds the id of its request until an update answers it."""

    def __init__(self, socket: ServerConnection) -> None:
        self._socket = socket
        self._waiting: asyncio.Queue[bytes | None] = asyncio.Queue(MOST_WAITING)
        self.opening: list[Any] = []
        self.is_open = False

    async def run(self, opened: asyncio.Event) -> None:
        """Read requests until the socket closes; `opened` is set at the first that opens."""
        writer = asyncio.create_task(self._write())
        try:
            async for frame in self._socket:
                self._take(frame)
                if self.opening:
                    opened.set()
        except ConnectionClosed:
            pass
        finally:
            writer.cancel()
            with suppress(asyncio.CancelledError):
                await writer

    def answer(self, result: dict[str, Any]) -> None:
        """Answer all waiting requests to open; from now on changes are sent."""
        for number in self.opening:
            self.send(encoded({"id": number, "result": result}))
        self.opening.clear()
        self.is_open = True

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
        elif method != OPEN:
            self._refuse(number, UNKNOWN_METHOD)
        elif not isinstance(request.get("params", {}), dict):
            self._refuse(number, BAD_PARAMS)
        else:
            self.opening.append(number)

    def _refuse(self, number: Any, error: tuple[int, str]) -> None:
        code, words = error
        self.send(encoded({"id": number, "error": {"code": code, "message": words}}))


def encoded(message: dict[str, Any]) -> bytes:
    """JSON-RPC frame of a message."""
    return msgspec.json.encode({"jsonrpc": "2.0", **message})
