"""A host, the way to it and this machine, as they stand at each moment; and links through them.

Times are the loop's. What stands between two moments is a `Span`; nothing here knows how the
client or the detectors judge.
"""

import asyncio
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum, auto

import numpy as np

from client.address import Address
from client.form import Profile
from client.transport import Closed, Hopeless, Transport, Unreachable
from shared.link import How

Rng = np.random.Generator


class State(Enum):
    """What stands in the way during a span; nothing else stands in it."""

    BLOCKED = auto()
    """Packets vanish, both ways."""
    NO_NETWORK = auto()
    """This machine has no network."""
    OFF = auto()
    """The host's machine has no power, or has not begun to boot its network."""
    STOPPED = auto()
    """The machine runs, its service does not."""
    HUNG = auto()
    """The service takes links and does nothing more."""
    MUTE = auto()
    """The service answers when asked for a sign of life, and sends nothing."""
    DENYING = auto()
    OTHER = auto()
    """Something else answers at the address."""
    NOT_READY = auto()
    """What stands before the service says that it cannot serve."""


@dataclass(frozen=True, slots=True)
class Span:
    """A state from `from_s` until `until_s`."""

    state: State
    from_s: float
    until_s: float = math.inf
    words: str = ""
    """How open links end when it begins; empty: as the state has it."""
    how: How = How.OTHER


@dataclass
class World:
    """One host as drawn."""

    rng: Rng
    period_s: float
    spans: list[Span] = field(default_factory=list)
    boots: list[float] = field(default_factory=list)
    """When uptime began anew; the first lies before the log."""
    has_clock: bool = True
    has_uptime: bool = True
    says_starting: bool = True
    is_websocket: bool = True
    is_near: bool = True
    """On this machine's own network segment, so that a missing machine is noticed soon."""
    slow_from_s: float = math.inf
    slower: float = 1.0
    """Factor from one spacing to the next, from then on."""
    stalls: list[tuple[float, float]] = field(default_factory=list)
    """When this machine itself stands still."""
    gives_up_s: float = 30.0
    """The host ends a link on which nothing was acknowledged for so long."""
    _sent_s: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._made = self._times()

    def at(self, time_s: float) -> Span | None:
        """What stands in the way."""
        return next((s for s in self.spans if s.from_s <= time_s < s.until_s), None)

    def after(self, time_s: float) -> Span | None:
        """What stands in the way next."""
        later = [span for span in self.spans if span.from_s > time_s]
        return min(later, key=lambda span: span.from_s, default=None)

    def next_message_s(self, time_s: float) -> float:
        """When the service makes its next message after a time."""
        while not self._sent_s or self._sent_s[-1] <= time_s:
            self._sent_s.append(next(self._made))
        place = int(np.searchsorted(self._sent_s, time_s, side="right"))
        return self._sent_s[place]

    def _times(self) -> Iterator[float]:
        time_s, spacing_s = float(self.rng.uniform(0.0, self.period_s)), self.period_s
        while True:
            yield time_s
            if time_s >= self.slow_from_s:
                spacing_s = min(spacing_s * self.slower, 60.0)
            time_s += spacing_s * float(self.rng.uniform(0.9, 1.1))

    def message(self, made_s: float) -> bytes:
        """What the host says at a moment."""
        boot_s = max(each for each in self.boots if each <= made_s)
        status: dict[str, float | str] = {"n": round(200.0 + float(self.rng.normal(0.0, 0.1)), 2)}
        if self.has_clock:
            status["t"] = round(5_000.0 + made_s, 3)
        if self.has_uptime:
            status["up"] = round(made_s - boot_s, 2)
        if self.says_starting:
            status["s"] = "starting" if 0.0 <= made_s - boot_s < 6.0 and boot_s > 0.0 else "up"
        return json.dumps(status).encode()

    async def connect(self, address: Address, profile: Profile) -> Transport:
        """A try, with what comes of it."""
        now = asyncio.get_running_loop().time
        await asyncio.sleep(float(self.rng.uniform(0.002, 0.05)))
        span = self.at(now())
        state = span.state if span else None
        if state in (State.BLOCKED, State.OFF):
            await asyncio.sleep(3.1 if self.is_near else 10.0)
            if self.at(now()) is span:
                if self.is_near:
                    raise Unreachable("no route to host", How.NO_WAY)
                raise Unreachable("no answer in time", How.TIMED_OUT)
            return await self.connect(address, profile)
        if state is State.NO_NETWORK:
            raise Unreachable("network is unreachable", How.NO_NETWORK)
        if state is State.STOPPED:
            raise Unreachable("connection refused", How.REFUSED)
        if state is State.NOT_READY:
            raise Unreachable("the host answered with HTTP status 503", How.BUSY)
        if state is State.HUNG and self.is_websocket:
            await asyncio.sleep(10.0)
            raise Unreachable("the handshake was not answered", How.MUTE)
        if state is State.DENYING:
            if self.is_websocket:
                what, do = "the host answered with HTTP status 401", "set [token] in a profile"
                raise Hopeless(address.shown, what, do, How.DENIED)
            return Link(self, ended=Closed("the host refused status: unknown token", How.DENIED))
        if state is State.OTHER:
            if self.is_websocket:
                what = "the peer speaks no WebSocket"
                raise Hopeless(address.shown, what, "check address and port", How.WRONG)
            return Link(self, ended=Closed("the host closed the link", How.BROKEN))
        return Link(self)


class Link:
    """An open link through the world."""

    def __init__(self, world: World, ended: Closed | None = None) -> None:
        self._world = world
        self._ended = ended
        self._read_s = asyncio.get_running_loop().time()
        """Messages made up to then were read."""
        self._opened_s = self._read_s

    async def send(self, frame: bytes) -> None:
        """Requests are taken, and none is answered."""

    async def receive(self) -> bytes:
        now = asyncio.get_running_loop().time
        while True:
            if self._ended is not None:
                await asyncio.sleep(0.02)
                raise self._ended
            made_s = self._world.next_message_s(self._read_s)
            span = self._world.at(self._read_s) or self._world.after(self._read_s)
            if span is None or made_s < span.from_s:
                await self._until(made_s)
                self._read_s = made_s
                if now() - made_s > self._world.gives_up_s:
                    # We stood still for so long that the host gave us up.
                    raise Closed("the host closed the link (1011 no answer)", How.CLOSED)
                return self._world.message(made_s)
            await self._until(span.from_s)
            await self._through(span)

    async def _through(self, span: Span) -> None:
        """What a link sees of a span that begins."""
        if span.state is State.BLOCKED or span.state is State.NO_NETWORK:
            await self._until(span.until_s)
            lasted_s = span.until_s - span.from_s
            # What was lost is sent again after waits that double.
            await asyncio.sleep(float(self._world.rng.uniform(0.0, 0.4)) * lasted_s)
            if lasted_s > self._world.gives_up_s:
                raise Closed("connection reset", How.RESET)
            if self._read_s < span.from_s:
                self._read_s = math.nextafter(span.from_s, -math.inf)
            self._skip(span)
            return
        if span.state in (State.OFF, State.HUNG, State.MUTE):
            await self._until(span.until_s)
            if span.state is State.OFF:
                raise Closed("connection reset", How.RESET)
            self._read_s = span.until_s
            return
        await asyncio.sleep(0.005)
        raise Closed(span.words or "the link broke off", span.how if span.words else How.BROKEN)

    def _skip(self, span: Span) -> None:
        """The span is over for this link: what was made in it comes now."""
        self._world.spans = [each for each in self._world.spans if each is not span]

    async def _until(self, time_s: float) -> None:
        wait_s = time_s - asyncio.get_running_loop().time()
        await asyncio.sleep(min(wait_s, 1e9) if wait_s > 0.0 else 0.0)

    async def probe(self) -> bool:
        now = asyncio.get_running_loop().time
        if not self._world.is_websocket:
            return False
        dead = (State.BLOCKED, State.NO_NETWORK, State.OFF, State.HUNG)
        while (span := self._world.at(now())) is not None and span.state in dead:
            await asyncio.sleep(0.5)
        slow_s = max(now() - self._world.slow_from_s, 0.0)
        await asyncio.sleep(0.01 + min(0.1 * slow_s * float(self._world.rng.uniform()), 12.0))
        return True

    async def close(self) -> None:
        """Nothing is held."""
