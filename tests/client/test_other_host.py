"""A host written on other libraries that speaks the simulated host's documented protocol."""

import asyncio
import json
import threading
from collections.abc import Iterator
from typing import Any

import pytest
from aiohttp import WSMsgType, web

from client.mapping import Mapper
from client.profile import simulated_profile
from client.reader import Reader
from shared.updates import Entry, EntryKind, Update
from tests.client.oracles import jsonrpcserver

WHOLE = [
    ["host.stands", "serving"],
    ["host.because", ""],
    ["controller.awake_s", 40.0],
    ["nozzle.celsius", 25.0],
    ["nozzle.wanted", 0.0],
    ["nozzle.duty", 0.0],
    ["nozzle.code", 8363],
]
CHANGES = 20


class OtherHost:
    """aiohttp for the WebSocket, jsonrpcserver for the request, in a thread of its own."""

    def __init__(self) -> None:
        self.started = threading.Event()
        self.port = 0
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread = threading.Thread(target=self._run)

    def __enter__(self) -> "OtherHost":
        self._thread.start()
        assert self.started.wait(10)
        return self

    def __exit__(self, *_: object) -> None:
        assert self._loop is not None
        self._loop.call_soon_threadsafe(self._end.set)
        self._thread.join(10)
        assert not self._thread.is_alive()

    def _run(self) -> None:
        asyncio.run(self._main())

    async def _main(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._end = asyncio.Event()
        app = web.Application()
        app.router.add_get("/", self._talk)
        runner = web.AppRunner(app, shutdown_timeout=0.1)
        await runner.setup()
        site = web.TCPSite(runner, "127.0.0.1", 0)
        await site.start()
        self.port = runner.addresses[0][1]
        self.started.set()
        await self._end.wait()
        await runner.cleanup()

    async def _talk(self, request: web.Request) -> web.WebSocketResponse:
        socket = web.WebSocketResponse()
        await socket.prepare(request)

        async def follow(client: str) -> Any:
            assert client == "ohmvigil"
            return jsonrpcserver.Success({"every_s": 0.5, "pace": 1.0})

        async for message in socket:
            assert message.type is WSMsgType.TEXT
            methods = {"picture.follow": follow}
            await socket.send_str(await jsonrpcserver.async_dispatch(message.data, methods))
            await socket.send_json(self._told(0, WHOLE))
            for n in range(1, CHANGES + 1):
                lines = [["nozzle.celsius", 25.0 + n], ["controller.awake_s", 40 + n]]
                await socket.send_json(self._told(n, lines))
        return socket

    def _told(self, n: int, lines: list[Any]) -> dict[str, Any]:
        params = {"no": n + 1, "clock_ms": 40_000 + 500 * n, "lines": lines}
        return {"jsonrpc": "2.0", "method": "picture.lines", "params": params}


@pytest.fixture
def host() -> Iterator[OtherHost]:
    with OtherHost() as one:
        yield one


def test_it_is_watched_without_a_change(host: OtherHost) -> None:
    """The built-in profile reads every update once, in order, with the host's own times."""
    profile = simulated_profile(f"ws://127.0.0.1:{host.port}/", {})
    reader, mapper = Reader(profile), Mapper(profile)
    updates: list[Update] = []
    entries: list[Entry] = []
    reader.start()
    while len([e for e in entries if e.kind is EntryKind.MESSAGE]) < 2 + CHANGES:
        assert reader.wait(10), "the host's updates never came"
        assert reader.fatal is None
        taken = reader.take()
        entries += taken
        updates += [update for entry in taken for update in mapper.feed(entry)]
    reader.stop()
    assert entries[0].kind is EntryKind.LINK
    assert json.loads(entries[0].payload) == {
        "up": True,
        "why": profile.addresses[0],
        "told": "open",
    }
    first, *rest = [update for update in updates if update.values]
    assert first == Update(
        40.0,
        {
            "nozzle.temperature_c": 25.0,
            "nozzle.target_c": 0.0,
            "nozzle.power": 0.0,
            "nozzle.code": 8363.0,
            "controller.uptime_s": 40.0,
            "host.message": "",
            "host.state": "up",
        },
    )
    assert rest == [
        Update(
            40.0 + 0.5 * n,
            {"nozzle.temperature_c": 25.0 + n, "controller.uptime_s": 40.0 + n},
        )
        for n in range(1, CHANGES + 1)
    ]
    assert not mapper.refused
    assert reader.dropped == 0
