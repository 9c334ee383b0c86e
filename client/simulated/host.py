"""The simulated printer host: a scenario behind a WebSocket on loopback.

The protocol is written down in `docs/simulated-host.md`. Simulated time begins when the
first client follows its picture, so that a scenario is seen from its beginning, and runs
at `speed`; what happens in it does not depend on that.
"""

import asyncio
import threading
from collections.abc import Callable
from contextlib import suppress

from websockets.asyncio.server import Server, ServerConnection, serve

from client.simulated.machine import Machine, MachineMoment
from client.simulated.scenario import Scenario
from client.simulated.session import Session, lines_of
from shared.errors import BadInput

LOOPBACK = "127.0.0.1"
MAX_REQUEST_BYTES = 64 << 10
FASTEST = 1000.0
JOIN_S = 10.0
FAREWELL_S = 1.0
"""Time that clients are given to read the rest before they are dropped at the end."""
REBIND_TRIES = 50
BREATH = 32
"""Moments after which other tasks get their turn when the simulation runs behind its time."""


class SimulatedHost:
    """Runs in a thread with an event loop of its own. Methods may be called from any thread.

    `for_s` ends it after that many simulated seconds (None: never): clients are closed
    with 1000. `on_moment` is called in the host's thread with every moment.
    BadInput for a speed or a port that can't be used.
    """

    def __init__(
        self,
        scenario: Scenario,
        seed: int = 0,
        speed: float = 1.0,
        port: int = 0,
        for_s: float | None = None,
        on_moment: Callable[[MachineMoment], None] | None = None,
    ) -> None:
        if not 0.0 < speed <= FASTEST:
            raise BadInput("--speed", f"{speed} is out of range", f"give up to {FASTEST:g}")
        self._scenario = scenario
        self._seed = seed
        self._speed = speed
        self._port = port
        self._for_s = for_s
        self._on_moment = on_moment
        self._sessions: set[Session] = set()
        self._server: Server | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._main: asyncio.Task[None] | None = None
        self._ready = threading.Event()
        self._over = threading.Event()
        self._trouble: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="simulated host", daemon=True)

    @property
    def address(self) -> str:
        return f"ws://{LOOPBACK}:{self._port}"

    @property
    def finished(self) -> bool:
        """Whether the scenario's time is over, or the host was stopped."""
        return self._over.is_set()

    def start(self) -> str:
        """Listen; the address to connect to."""
        self._thread.start()
        self._ready.wait()
        if isinstance(self._trouble, OSError):
            where = f"{LOOPBACK}:{self._port}"
            why = (self._trouble.strerror or str(self._trouble)).lower()
            raise BadInput(where, f"cannot listen: {why}", "give another port, or 0 for any")
        return self.address

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until it is finished."""
        return self._over.wait(timeout_s)

    def stop(self) -> None:
        """Close all connections and end the thread."""
        loop, main = self._loop, self._main
        if loop is not None and main is not None:
            with suppress(RuntimeError):
                loop.call_soon_threadsafe(main.cancel)
        if self._thread.is_alive():
            self._thread.join(JOIN_S)

    def _run(self) -> None:
        try:
            asyncio.run(self._host())
        except OSError as error:
            self._trouble = error
        finally:
            self._over.set()
            self._ready.set()

    async def _host(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._followed = asyncio.Event()
        await self._listen()
        # A task of its own, so that `stop` ends the scenario but never the clean-up.
        self._main = asyncio.create_task(self._simulate())
        self._ready.set()
        try:
            with suppress(asyncio.CancelledError):
                await self._main
        finally:
            await self._end()

    async def _listen(self) -> None:
        self._server = await serve(
            self._serve,
            LOOPBACK,
            self._port,
            compression=None,
            max_size=MAX_REQUEST_BYTES,
        )
        self._port = next(iter(self._server.sockets)).getsockname()[1]

    async def _serve(self, socket: ServerConnection) -> None:
        session = Session(socket, self._speed)
        self._sessions.add(session)
        try:
            await session.run(self._followed)
        finally:
            self._sessions.discard(session)

    async def _simulate(self) -> None:
        await self._followed.wait()
        machine = Machine(self._scenario, self._seed)
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        turns = 0
        while True:
            moment = machine.advance()
            if self._for_s is not None and moment.time_s > self._for_s:
                return
            ahead_s = began_s + moment.sent_s / self._speed - loop.time()
            turns += 1
            if ahead_s > 0.0 or turns % BREATH == 0:
                await asyncio.sleep(max(ahead_s, 0.0))
            await self._link(moment.link_up)
            if moment.changes is not None:
                self._publish(machine, moment)
            if self._on_moment is not None:
                self._on_moment(moment)

    def _publish(self, machine: Machine, moment: MachineMoment) -> None:
        """Changes to those who know the rest, the whole to those who have had nothing yet."""
        assert moment.changes is not None
        changes = lines_of(moment.changes)
        for session in tuple(self._sessions):
            if session.follows:
                lines = changes if session.told else lines_of(machine.known)
                session.tell(moment.clock_ms, lines)

    async def _link(self, is_up: bool) -> None:
        """Break all connections off and refuse new ones while the link is down."""
        if not is_up and self._server is not None:
            for session in tuple(self._sessions):
                session.drop()
            server, self._server = self._server, None
            server.close()
            await server.wait_closed()
        elif is_up and self._server is None:
            for _ in range(REBIND_TRIES - 1):
                with suppress(OSError):
                    await self._listen()
                    return
                await asyncio.sleep(0.1)
            await self._listen()

    async def _end(self) -> None:
        for session in tuple(self._sessions):
            session.send(None)
        if self._server is not None:
            with suppress(TimeoutError):
                async with asyncio.timeout(FAREWELL_S):
                    while self._sessions:
                        await asyncio.sleep(0.01)
            for session in tuple(self._sessions):
                session.drop()
            self._server.close(code=1000)
            await self._server.wait_closed()
