"""Hosts of four dialects under fourteen conditions, on real sockets of loopback.

Each cell is one host and one watch of it: what was told of it, how soon, and what leads.
"""

import asyncio
import contextlib
import json
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import websockets.asyncio.server as ws
from websockets.exceptions import ConnectionClosed

from client.profile import load_profile
from shared.errors import BadInput
from shared.words import EVERY_CHANNEL, Kind
from tui.pipeline import Live

PERIOD_S = 0.1
BEGIN_S = 3.0
"""From here on something is wrong."""
LASTS_S = 16.0
FLOOD = 100
"""Messages in place of one: a thousand a second."""
READY, BOOTING, STRANGE = "ready", "boot", "sulking"


@dataclass(frozen=True)
class Moment:
    """What the machine is at one of its own moments."""

    at_s: float
    nozzle_c: float
    bed_c: float
    state: str
    uptime_s: float


@dataclass(frozen=True)
class Dialect:
    """How a host says a moment, in which frames, and the profile that reads it."""

    name: str
    address: str
    """`ws`, `tcp` or `unix`."""
    say: Callable[[Moment], list[Any]]
    wrap: Callable[[bytes], bytes]
    profile: str


def _lines(now: Moment) -> list[Any]:
    body = {"nozzle": now.nozzle_c, "bed": now.bed_c, "phase": now.state, "up": now.uptime_s}
    return [{"at": now.at_s, "now": body}]


def _calls(now: Moment) -> list[Any]:
    status = {
        "hot": {"is": f"{now.nozzle_c} °C", "want": "210 °C", "drive": "41 %"},
        "plate": {"is": f"{now.bed_c} °C"},
        "phase": now.state,
        "up": f"{now.uptime_s:.1f} s",
    }
    params = [status, round(now.at_s * 1000)]
    return [{"jsonrpc": "2.0", "method": "fresh", "params": params}]


_MODES = {READY: 3, BOOTING: 1, STRANGE: 7}


def _pairs(now: Moment) -> list[Any]:
    kelvin = [[10, f"{now.nozzle_c + 273.15:.2f} K"], [20, f"{now.bed_c + 273.15:.2f} K"]]
    rest = [["mode", _MODES[now.state]], ["up", now.uptime_s]]
    return [{"d": [*kelvin, *rest], "us": round(now.at_s * 1e6)}]


def _single(now: Moment) -> list[Any]:
    fahrenheit = f"{now.nozzle_c * 1.8 + 32.0:.2f} °F"
    values = {"tip": fahrenheit, "plate": now.bed_c, "phase": now.state, "up": now.uptime_s}
    return [{"name": name, "value": value} for name, value in values.items()]


DIALECTS = (
    Dialect(
        "lines",
        "tcp",
        _lines,
        lambda body: body + b"\n",
        """
        framing = "newline"
        [[updates]]
        has = "/now"
        status = "/now"
        clock = "/at"
        [channels.nozzle]
        temperature_c = "/nozzle"
        [channels.bed]
        temperature_c = "/bed"
        [channels.controller]
        uptime_s = "/up"
        [channels.host.state]
        at = "/phase"
        words = { ready = "up", boot = "starting", dead = "halted" }
        """,
    ),
    Dialect(
        "calls",
        "ws",
        _calls,
        lambda body: body,
        """
        clock_unit = "ms"
        [[updates]]
        method = "fresh"
        status = "/params/0"
        clock = "/params/1"
        [channels.nozzle]
        temperature_c = "/hot/is"
        target_c = "/hot/want"
        power = "/hot/drive"
        [channels.bed]
        temperature_c = "/plate/is"
        [channels.controller]
        uptime_s = "/up"
        [channels.host.state]
        at = "/phase"
        words = { ready = "up", boot = "starting", dead = "halted" }
        """,
    ),
    Dialect(
        "pairs",
        "tcp",
        _pairs,
        lambda body: len(body).to_bytes(4, "big") + body,
        """
        framing = "length"
        clock_unit = "us"
        [[updates]]
        has = "/d"
        status = "/d"
        pairs = true
        clock = "/us"
        [channels.nozzle]
        temperature_c = "/10"
        [channels.bed]
        temperature_c = "/20"
        [channels.controller]
        uptime_s = "/up"
        [channels.host.state]
        at = "/mode"
        words = { 3 = "up", 1 = "starting", 9 = "halted" }
        """,
    ),
    Dialect(
        "single",
        "unix",
        _single,
        lambda body: body,
        """
        framing = "concatenated"
        [[updates]]
        has = "/name"
        under = "/name"
        status = "/value"
        [channels.nozzle]
        temperature_c = "/tip"
        [channels.bed]
        temperature_c = "/plate"
        [channels.controller]
        uptime_s = "/up"
        [channels.host.state]
        at = "/phase"
        words = { ready = "up", boot = "starting", dead = "halted" }
        """,
    ),
)
"""Objects in lines; calls with units in texts; rows of numbers, kelvin and microseconds; one
value a message, back to back, without a clock."""

NOTHING = frozenset[Kind]()
CONDITIONS: dict[str, frozenset[Kind]] = {
    "none": NOTHING,
    "trip, unknown word": frozenset({Kind.UNKNOWN_STATE}),
    "trip, already there": frozenset({Kind.UNKNOWN_STATE}),
    "restart": frozenset({Kind.RESTART}),
    "kill": frozenset({Kind.LINK_LOSS}),
    "refuse": frozenset({Kind.LINK_LOSS}),
    "mute": frozenset({Kind.STALE}),
    "garbage": frozenset({Kind.UNREADABLE}),
    "oversize": frozenset({Kind.UNREADABLE}),
    "flood": NOTHING,
    "stall": frozenset({Kind.STALE}),
    "forwarder cut": frozenset({Kind.LINK_LOSS}),
    "wrong port": frozenset({Kind.UNREADABLE}),
    "clock standing": frozenset({Kind.HOST_CLOCK}),
}
"""Conditions, and the kinds of which at least one must be told."""


@dataclass
class Cell:
    """What became of one host under one condition."""

    dialect: str
    condition: str
    told: dict[str, float] = field(default_factory=dict)
    """Kinds that were told, and how long after the condition began, s."""
    cause: str = ""
    line: str = ""
    """Why the watch ended by itself, if it did."""

    def fits(self) -> bool:
        wanted = CONDITIONS[self.condition]
        if self.condition == "wrong port" and self.line:
            return True
        if not wanted or (self.dialect == "single" and self.condition == "clock standing"):
            # A host that tells no clock has none that could stand.
            return not self.told
        return bool(wanted & {Kind(kind) for kind in self.told})


class Host:
    """One host that lives through a condition, on a loop that is shared."""

    def __init__(self, dialect: Dialect, condition: str, folder: Path) -> None:
        self.dialect = dialect
        self.condition = condition
        self.path = str(folder / f"{_file_name(dialect, condition)}.sock")
        self.address = ""
        self.began_s = time.monotonic()
        self._is_gone = False
        self._server: Any = None
        self._links: set[Any] = set()
        self._port = 0

    async def open(self) -> None:
        """Listen; the address stays the same where it is opened anew."""
        if self.dialect.address == "ws":
            self._server = await ws.serve(self._ws, "127.0.0.1", self._port, compression=None)
        elif self.dialect.address == "tcp":
            self._server = await asyncio.start_server(self._raw, "127.0.0.1", self._port)
        else:
            self._server = await asyncio.start_unix_server(self._raw, self.path)
        if self.dialect.address == "unix":
            self.address = f"unix:{self.path}"
        else:
            self._port = next(iter(self._server.sockets)).getsockname()[1]
            self.address = f"{self.dialect.address}://127.0.0.1:{self._port}"

    async def live(self) -> None:
        """Kill and restart as the condition has it."""
        if self.condition in ("kill", "restart"):
            await asyncio.sleep(BEGIN_S)
            self._is_gone = True
            self._server.close()
            for link in list(self._links):
                link()
        if self.condition == "restart":
            await asyncio.sleep(2.0)
            self.began_s, self._is_gone = time.monotonic(), False
            self.condition = "restarted"
            await self.open()

    async def close(self) -> None:
        self._is_gone = True
        for link in list(self._links):
            link()
        if self._server is not None:
            self._server.close()

    async def _raw(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self.condition == "wrong port":
            writer.write(b"SSH-2.0-none\r\n" * 20)

        def end() -> None:
            writer.transport.abort()

        self._links.add(end)
        with contextlib.suppress(OSError):
            async for frame in self._frames():
                if frame is None or reader.at_eof():
                    break
                writer.write(self.dialect.wrap(frame))
                await writer.drain()
        self._links.discard(end)
        end()

    async def _ws(self, socket: ws.ServerConnection) -> None:
        def end() -> None:
            socket.transport.abort()

        self._links.add(end)
        with contextlib.suppress(ConnectionClosed):
            async for frame in self._frames():
                if frame is None:
                    await (socket.close(1008, "not you") if self._refuses() else _abort(end))
                    break
                await socket.send(frame, text=True)
        self._links.discard(end)

    def _refuses(self) -> bool:
        return self.condition == "refuse"

    async def _frames(self) -> AsyncIterator[bytes | None]:
        """Frames as they are due; None ends the link."""
        was_cut = self.age_s > BEGIN_S
        while not self._is_gone:
            age_s = self.age_s
            wrong = age_s > BEGIN_S
            if wrong and (self._refuses() or (self.condition == "forwarder cut" and not was_cut)):
                yield None
            stalls = self.condition == "stall" and age_s < BEGIN_S + 7.0
            if wrong and (self.condition == "mute" or stalls):
                await asyncio.sleep(PERIOD_S)
                continue
            for frame in self._due(age_s, wrong):
                yield frame
            await asyncio.sleep(PERIOD_S)

    @property
    def age_s(self) -> float:
        return time.monotonic() - self.began_s

    def _due(self, age_s: float, wrong: bool) -> Iterator[bytes]:
        if self.condition == "wrong port":
            yield b"SSH-2.0-none"
            return
        trips = self.condition == "trip, already there" or (
            self.condition == "trip, unknown word" and wrong
        )
        booting = self.condition == "restarted" and age_s < 2.0
        state = STRANGE if trips else BOOTING if booting else READY
        stands = self.condition == "clock standing" and wrong
        born_s = 0.0 if self.condition == "restarted" else 5000.0
        turn = int(age_s / PERIOD_S)
        moment = Moment(
            born_s + (BEGIN_S if stands else age_s),
            round(210.0 + 0.1 * (turn % 5), 2),
            round(60.0 + 0.05 * (turn % 3), 2),
            state,
            round(born_s + age_s, 1),
        )
        if wrong and self.condition == "garbage" and turn % 3 == 0:
            yield b'{"nozzle": 210.4, "bed"} oops'
            return
        if wrong and self.condition == "oversize" and turn % 20 == 0:
            yield b'{"x":"' + b"x" * (1_200_000) + b'"}'
            return
        for _ in range(FLOOD if wrong and self.condition == "flood" else 1):
            for message in self.dialect.say(moment):
                yield json.dumps(message, ensure_ascii=False).encode()


def _file_name(dialect: Dialect, condition: str) -> str:
    return f"{dialect.name}-{condition}".replace(",", "").replace(" ", "-")


async def _abort(end: Callable[[], None]) -> None:
    end()


def watched(dialects: tuple[Dialect, ...], conditions: list[str], folder: Path) -> list[Cell]:
    """All these cells at once, each over a socket of its own."""
    hosts = [Host(d, condition, folder) for d in dialects for condition in conditions]
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever, name="hosts", daemon=True)
    thread.start()

    def run(work: Any) -> None:
        asyncio.run_coroutine_threadsafe(work, loop).result(20.0)

    cells = []
    try:
        for host in hosts:
            run(host.open())
            host.began_s = time.monotonic()
        lives = [_live(host, folder) for host in hosts]
        for host, live in zip(hosts, lives, strict=True):
            host.began_s = time.monotonic()
            asyncio.run_coroutine_threadsafe(host.live(), loop)
            live.start()
        cells = _follow(hosts, lives)
        for live in lives:
            live.close()
        for host in hosts:
            run(host.close())
    finally:
        run(_rest())
        loop.call_soon_threadsafe(loop.stop)
        thread.join(10.0)
        loop.close()
    return cells


async def _rest() -> None:
    tasks = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
    _, tasks_left = await asyncio.wait(tasks, timeout=3.0) if tasks else (set(), set())
    for task in tasks_left:
        task.cancel()
    await asyncio.gather(*tasks_left, return_exceptions=True)


def _live(host: Host, folder: Path) -> Live:
    path = folder / f"{_file_name(host.dialect, host.condition)}.toml"
    head = f'format = 1\ntitle = "{path.stem}"\naddresses = ["{host.address}"]\n'
    lines = [line.strip() for line in host.dialect.profile.strip().splitlines()]
    path.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")
    return Live(load_profile(path), path.stem)


def _follow(hosts: list[Host], lives: list[Live]) -> list[Cell]:
    names = [host.condition for host in hosts]
    cells = [Cell(host.dialect.name, name) for host, name in zip(hosts, names, strict=True)]
    began_s = [host.began_s for host in hosts]
    end_s = time.monotonic() + LASTS_S
    while time.monotonic() < end_s:
        time.sleep(0.1)
        for cell, live, start_s in zip(cells, lives, began_s, strict=True):
            for event in live.take_changes():
                if event.absorbed_by is None:
                    after_s = time.monotonic() - start_s
                    is_late = cell.condition not in ("trip, already there", "wrong port")
                    cell.told.setdefault(str(event.kind), after_s - BEGIN_S * is_late)
    for cell, live in zip(cells, lives, strict=True):
        _, causes, _, _ = live.results()
        link = [cause for cause in causes if cause.channel == EVERY_CHANNEL]
        cell.cause = str(link[0].cause or "unknown") if link else "–"
        bad: BadInput | None = live.fatal
        cell.line = str(bad) if bad is not None else ""
    return cells
