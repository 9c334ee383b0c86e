"""A strange host on a real socket, in real time, one connection after another."""

import asyncio
import json
import threading
from contextlib import suppress
from pathlib import Path
from typing import Any

import websockets
from websockets.asyncio.server import serve
from websockets.datastructures import Headers
from websockets.http11 import Request, Response

from client.framing import Framer, framer
from tests.client.learn.odd.host import OddHost, frame
from tests.client.learn.odd.machine import STEP_S, Machine

_ENDS = {"newline": b"\n", "crlf": b"\r\n", "etx": b"\x03", "nul": b"\x00", "sequence": b"\n"}


class Served:
    """Serves one host; `address` once started. The machine begins anew with the first request."""

    def __init__(self, host: OddHost, folder: Path) -> None:
        self.host = host
        self.address = ""
        self._folder = folder
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._run, name=host.name, daemon=True)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._end: asyncio.Event | None = None

    def __enter__(self) -> "Served":
        self._thread.start()
        assert self._ready.wait(10.0)
        return self

    def __exit__(self, *exc: object) -> None:
        assert self._loop is not None
        assert self._end is not None
        self._loop.call_soon_threadsafe(self._end.set)
        self._thread.join(10.0)

    def _run(self) -> None:
        asyncio.run(self._main())

    async def _main(self) -> None:
        self._loop, self._end = asyncio.get_running_loop(), asyncio.Event()
        if self.host.scheme == "ws":
            async with serve(
                self._websocket, "127.0.0.1", 0, process_request=self._admit
            ) as server:
                port = next(iter(server.sockets)).getsockname()[1]
                self.address = f"ws://127.0.0.1:{port}/odd"
                await self._serve_until_end()
        elif self.host.scheme == "unix":
            path = self._folder / "s"
            async with await asyncio.start_unix_server(self._stream, path):
                self.address = f"unix:{path}"
                await self._serve_until_end()
        else:
            async with await asyncio.start_server(self._stream, "127.0.0.1", 0) as streams:
                self.address = f"tcp://127.0.0.1:{streams.sockets[0].getsockname()[1]}"
                await self._serve_until_end()

    async def _serve_until_end(self) -> None:
        assert self._end is not None
        self._ready.set()
        await self._end.wait()

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
        framing = self.host.framing
        frames: Framer = (
            framer("length") if framing == "length" else framer("delimiter", _ENDS[framing][-1])
        )
        waiting: list[bytes] = []

        async def get() -> bytes:
            while not waiting:
                data = await reader.read(65536)
                if not data:
                    raise EOFError
                waiting.extend(frames.feed(data))
            return waiting.pop(0)

        async def put(body: bytes) -> None:
            if framing == "length":
                writer.write(len(body).to_bytes(4, "big") + body)
            else:
                writer.write((b"\x1e" if framing == "sequence" else b"") + body + _ENDS[framing])
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
