"""A host written on aiorpcX: JSON-RPC over TCP, a newline after each message."""

import asyncio
import threading
from collections.abc import Iterator
from typing import Any

import aiorpcx
import pytest

from client.form import Channel, Profile, Request, UpdateSource
from client.learn.listen import listen
from client.mapping import Mapper
from client.reader import Reader
from shared.updates import EntryKind

CHANGES = 20


class _Session(aiorpcx.RPCSession):  # type: ignore[misc]
    """Answers one request with the whole and goes on with notifications."""

    refusals: list[int]

    async def handle_request(self, request: Any) -> Any:
        if request.method != "begin":
            raise aiorpcx.RPCError(-32601, "no such method")
        self.loop.create_task(self._go_on())
        return {"at": 5.0, "now": {"tip": {"is": 20.0, "goal": 210.0}}}

    async def _go_on(self) -> None:
        for n in range(1, CHANGES + 1):
            tip = {"is": 20.0 + n}
            await self.send_notification("changed", [{"tip": tip}, 5.0 + n])
        try:
            await self.send_request("are you well", [])
        except aiorpcx.RPCError as error:
            self.refusals.append(error.code)


class NewlineHost:
    """The server, on loopback, in a thread of its own."""

    def __init__(self) -> None:
        self.refusals: list[int] = []
        self.port = 0
        self._ready = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._main()))

    def __enter__(self) -> "NewlineHost":
        self._thread.start()
        assert self._ready.wait(10)
        return self

    def __exit__(self, *_: object) -> None:
        self._loop.call_soon_threadsafe(self._end.set)
        self._thread.join(10)
        assert not self._thread.is_alive()

    async def _main(self) -> None:
        self._loop, self._end = asyncio.get_running_loop(), asyncio.Event()

        def session(transport: Any) -> Any:
            made = _Session(transport)
            made.refusals, made.loop = self.refusals, self._loop
            return made

        server = await aiorpcx.serve_rs(session, "127.0.0.1", 0)
        self.port = server.sockets[0].getsockname()[1]
        self._ready.set()
        await self._end.wait()
        server.close()


@pytest.fixture
def host() -> Iterator[NewlineHost]:
    with NewlineHost() as one:
        yield one


def test_it_is_watched_and_its_own_request_is_answered(host: NewlineHost) -> None:
    """Every update once and in order; the peer's library takes our answer for what it is."""
    profile = Profile(
        format=1,
        addresses=(f"tcp://127.0.0.1:{host.port}",),
        requests=(Request(json='{"method": "begin"}'),),
        updates=(
            UpdateSource(answer_to="begin", status="/result/now", clock="/result/at"),
            UpdateSource(method="changed", status="/params/0", clock="/params/1"),
        ),
        channels={"nozzle": Channel(base="/tip", temperature_c="/is", target_c="/goal")},
    )
    reader, mapper = Reader(profile), Mapper(profile)
    heard: list[tuple[float, float]] = []
    reader.start()
    try:
        while len(heard) < 1 + CHANGES or not host.refusals:
            assert reader.wait(10)
            assert reader.fatal is None
            for entry in reader.take():
                if entry.kind is EntryKind.MESSAGE:
                    heard += [
                        (update.time_s, float(update.values["nozzle.temperature_c"]))
                        for update in mapper.feed(entry)
                    ]
    finally:
        reader.stop()
    assert heard == [(5.0 + n, 20.0 + n) for n in range(1 + CHANGES)]
    assert host.refusals == [-32601]


def test_its_framing_is_recognised(host: NewlineHost) -> None:
    """Nothing but the user's own request is sent."""
    profile = Profile(
        format=1,
        addresses=(f"tcp://127.0.0.1:{host.port}",),
        requests=(Request(json='{"method": "begin"}'),),
    )
    heard = listen(profile, 1.0)
    assert heard.framing == "newline"
    assert heard.gatherer.count >= 1 + CHANGES
