"""Test doubles: a loop whose time is skipped instead of waited for, and a scripted network."""

import asyncio
import selectors
from collections.abc import Coroutine, Iterable, Mapping
from typing import Any, TypeVar

from client.address import Address
from client.form import Profile
from client.transport import Closed, Transport
from shared.link import How

T = TypeVar("T")


class _SkippingSelector(selectors.DefaultSelector):
    now_s = 0.0
    least_s = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        ready = super().select(0)
        if not ready:
            assert timeout is not None, "everything waits and nothing will ever happen"
            self.now_s += max(timeout, self.least_s)
        return ready


class SkippingLoop(asyncio.SelectorEventLoop):
    """An event loop on which an hour of sleep takes no time at all."""

    def __init__(self) -> None:
        self._skipping = _SkippingSelector()
        super().__init__(self._skipping)

    def time(self) -> float:
        return self._skipping.now_s

    def tire(self, least_s: float) -> None:
        """Let no turn of the loop take less, so that waits too short for the clock end as well."""
        self._skipping.least_s = least_s

    def stand_still(self, for_s: float) -> None:
        """Time passes and nothing is done in it, as when the machine sleeps."""
        self._skipping.now_s += for_s


def run_skipping(work: Coroutine[Any, Any, T]) -> T:
    """`asyncio.run` on skipped time."""
    with asyncio.Runner(loop_factory=SkippingLoop) as runner:
        return runner.run(work)


Step = bytes | float | Exception
"""What a scripted link does next: gives a frame, waits, or fails."""


class ScriptedTransport:
    """Plays its steps, then is silent for ever."""

    def __init__(self, network: "ScriptedNetwork", steps: Iterable[Step], has_probe: bool) -> None:
        self._network = network
        self._steps = iter(steps)
        self._has_probe = has_probe
        self.sent: list[bytes] = []
        self.is_open = True

    async def send(self, frame: bytes) -> None:
        assert self.is_open
        self.sent.append(frame)

    async def receive(self) -> bytes:
        for step in self._steps:
            if isinstance(step, Exception):
                raise step
            if isinstance(step, bytes):
                return step
            await asyncio.sleep(step)
        await asyncio.sleep(10**9)
        raise Closed("the end of time")

    async def probe(self) -> bool:
        return self._has_probe

    async def close(self) -> None:
        if self.is_open:
            self.is_open = False
            self._network.open_links -= 1


class ScriptedNetwork:
    """Answers each connect with the next script; the last one is used from then on.

    A script is an exception that the attempt fails with, or the steps of an open link.
    """

    def __init__(self, *scripts: Exception | Iterable[Step], has_probe: bool = True) -> None:
        self._scripts = list(scripts)
        self._has_probe = has_probe
        self.links: list[ScriptedTransport] = []
        self.attempts: list[tuple[float, Address]] = []
        self.open_links = 0
        self.most_open_links = 0

    async def connect(self, address: Address, profile: Profile) -> Transport:
        self.attempts.append((asyncio.get_running_loop().time(), address))
        script = self._scripts.pop(0) if len(self._scripts) > 1 else self._scripts[0]
        if isinstance(script, Exception):
            raise script
        link = ScriptedTransport(self, script, self._has_probe)
        self.links.append(link)
        self.open_links += 1
        self.most_open_links = max(self.most_open_links, self.open_links)
        return link


class Diary:
    """A listener that writes down what it is told, with the loop's time."""

    def __init__(self) -> None:
        self.lines: list[tuple[float, str, Any]] = []

    def _write(self, what: str, detail: Any) -> None:
        self.lines.append((asyncio.get_running_loop().time(), what, detail))

    def of(self, what: str) -> list[Any]:
        return [detail for _, kind, detail in self.lines if kind == what]

    def waiting(self, attempt: int, why: str, wait_s: float) -> None:
        self._write("waiting", (attempt, why, wait_s))

    def trying(self, attempt: int, why: str) -> None:
        self._write("trying", (attempt, why))

    def opened(self, address: Address) -> None:
        self._write("opened", address.shown)

    def message(self, frame: bytes) -> None:
        self._write("message", frame)

    def lost(self, why: str, how: How) -> None:
        self._write("lost", why)

    def failed(self, why: str, how: How) -> None:
        self._write("failed", (why, how))

    def answers(self) -> None:
        self._write("answers", None)


def values_of(updates: Iterable[Any]) -> list[Mapping[str, Any]]:
    return [update.values for update in updates]
