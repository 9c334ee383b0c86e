"""The recipes of docs/connecting.md: a forwarded port or socket, with a plain relay for SSH."""

import asyncio
import socket
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from client.form import Channel, Profile, UpdateSource
from client.mapping import Mapper
from client.reader import Reader
from shared.updates import EntryKind

FRAMES = [b'{"temps": {"tip": %d}}' % n for n in range(20, 30)]


class Forwarded:
    """A newline host on IPv6 or IPv4 loopback, and relays to it as `ssh -L` makes them."""

    def __init__(self, folder: Path, family: socket.AddressFamily) -> None:
        self._folder, self._family = folder, family
        self._loopback = "::1" if family is socket.AF_INET6 else "127.0.0.1"
        self._thread = threading.Thread(target=lambda: asyncio.run(self._main()))
        self._ready = threading.Event()
        self.tcp = self.unix = self.direct = ""

    def __enter__(self) -> "Forwarded":
        self._thread.start()
        assert self._ready.wait(10)
        return self

    def __exit__(self, *_: object) -> None:
        self._loop.call_soon_threadsafe(self._end.set)
        self._thread.join(10)
        assert not self._thread.is_alive()

    async def _main(self) -> None:
        self._loop, self._end = asyncio.get_running_loop(), asyncio.Event()
        host = await asyncio.start_server(self._talk, self._loopback, 0, family=self._family)
        self._port = host.sockets[0].getsockname()[1]
        tcp = await asyncio.start_server(self._relay, "127.0.0.1", 0)
        unix = await asyncio.start_unix_server(self._relay, self._folder / "s")
        shown = f"[{self._loopback}]" if ":" in self._loopback else self._loopback
        self.direct = f"tcp://{shown}:{self._port}"
        self.tcp = f"tcp://127.0.0.1:{tcp.sockets[0].getsockname()[1]}"
        self.unix = f"unix:{self._folder / 's'}"
        async with host, tcp, unix:
            self._ready.set()
            await self._end.wait()

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with closing(writer):
            for frame in FRAMES:
                writer.write(frame + b"\n")
            await writer.drain()
            await reader.read()

    async def _relay(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        there, back = await asyncio.open_connection(self._loopback, self._port)
        with closing(writer), closing(back):
            ends = asyncio.create_task(reader.read())
            pump = asyncio.create_task(self._pump(there, writer))
            await asyncio.wait([ends, pump], return_when=asyncio.FIRST_COMPLETED)
            ends.cancel()
            pump.cancel()

    async def _pump(self, there: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while data := await there.read(7):
            writer.write(data)
            await writer.drain()


@pytest.fixture(params=[socket.AF_INET, socket.AF_INET6], ids=["ipv4", "ipv6"])
def host(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Forwarded]:
    if request.param is socket.AF_INET6 and not _has_ipv6():
        pytest.skip("no IPv6 loopback here")
    with Forwarded(tmp_path, request.param) as one:
        yield one


def _has_ipv6() -> bool:
    try:
        with socket.socket(socket.AF_INET6) as probe:
            probe.bind(("::1", 0))
    except OSError:
        return False
    return True


@pytest.mark.parametrize("way", ["direct", "tcp", "unix"])
def test_every_update_comes_through(host: Forwarded, way: str) -> None:
    """Straight (also over IPv6), through a forwarded port, and through a forwarded socket."""
    profile = Profile(
        format=1,
        addresses=(getattr(host, way),),
        updates=(UpdateSource(),),
        channels={"nozzle": Channel(temperature_c="/temps/tip")},
    )
    reader, mapper = Reader(profile), Mapper(profile)
    heard: list[float] = []
    reader.start()
    try:
        while len(heard) < len(FRAMES):
            assert reader.wait(10)
            assert reader.fatal is None
            for entry in reader.take():
                if entry.kind is EntryKind.MESSAGE:
                    heard += [
                        float(update.values["nozzle.temperature_c"])
                        for update in mapper.feed(entry)
                    ]
    finally:
        reader.stop()
    assert heard == [float(n) for n in range(20, 30)]
