"""A strange host on a real socket, in real time, one connection after another."""

import asyncio
import json
from contextlib import suppress
from pathlib import Path
from typing import Any

import websockets
from websockets.asyncio.server import serve
from websockets.datastructures import Headers
from websockets.http11 import Request, Response

from client.framing import framer
from tests.client.learn.odd.host import OddHost, frame
from tests.client.learn.odd.machine import STEP_S, Machine
from tests.serving import Serving


class Served(Serving):
    """Serves one host. The machine begins anew with the first request."""

    def __init__(self, host: OddHost, folder: Path) -> None:
        super().__init__(host.name)
        self.host = host
        self._folder = folder

    async def listen(self) -> None:
        """By the host's own transport."""
        if self.host.way.scheme == "ws":
            async with serve(
                self._websocket, "127.0.0.1", 0, process_request=self._admit
            ) as server:
                port = next(iter(server.sockets)).getsockname()[1]
                await self.be_at(f"ws://127.0.0.1:{port}/odd")
        elif self.host.way.scheme == "unix":
            path = self._folder / "s"
            async with await asyncio.start_unix_server(self._stream, path):
                await self.be_at(f"unix:{path}")
        else:
            async with await asyncio.start_server(self._stream, "127.0.0.1", 0) as streams:
                await self.be_at(f"tcp://127.0.0.1:{streams.sockets[0].getsockname()[1]}")

    def _admit(self, connection: Any, request: Request) -> Response | None:
        token = self.host.token
        if token and request.headers.get("X-Key") != token:
            return Response(401, "Unauthorized", Headers({"Connection": "close"}), b"")
        return None

    async def _websocket(self, connection: Any) -> None:
        async def get() -> bytes:
            said = await connection.recv()
            return said.encode() if isinstance(said, str) else bytes(said)

        with suppress(websockets.ConnectionClosed):
            await self._talk(get, lambda body: connection.send(body.decode()))

    async def _stream(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        way = self.host.way
        frames = framer(way.cut.framing, way.cut.delimiter)
        waiting: list[bytes] = []

        async def get() -> bytes:
            while not waiting:
                data = await reader.read(65536)
                if not data:
                    raise EOFError
                waiting.extend(frames.feed(data))
            return waiting.pop(0)

        async def put(body: bytes) -> None:
            writer.write(way.wire(body))
            await writer.drain()

        try:
            await self._talk(get, put)
        except (EOFError, OSError):
            pass
        finally:
            writer.close()

    async def _talk(self, get: Any, put: Any) -> None:
        """What the host says on one link: to each question an answer, or a stream of news."""
        machine = Machine(self.host.life)
        ids: dict[str, int] = {}
        asked = 0
        while asked < len(self.host.requests):
            request = json.loads(await get())
            asked += 1
            if not self.host.bare:
                wanted = [json.loads(text)["method"] for text in self.host.requests]
                assert request["method"] in wanted
                ids[request["method"]] = request["id"]
        now = asyncio.get_running_loop().time
        start = now()
        while True:
            said = self.host.say(machine.step())
            for message in said:
                await put(frame(message))
            if self.host.polled:
                for _ in self.host.requests:
                    await get()
                behind = round((now() - start) / STEP_S) - machine.n - 1
                for _ in range(behind):
                    machine.step()
            else:
                await asyncio.sleep(max(start + (machine.n + 1) * STEP_S - now(), 0.0))
