"""A server for tests in a thread and a loop of its own, for as long as a `with` lasts."""

import asyncio
import threading
from abc import ABC, abstractmethod
from typing import Self


class Serving(ABC):
    """Says its `address` once it is started."""

    address = ""

    def __init__(self, name: str) -> None:
        self._ready = threading.Event()
        self._thread = threading.Thread(
            target=lambda: asyncio.run(self._main()), name=name, daemon=True
        )
        self._loop: asyncio.AbstractEventLoop | None = None
        self._end: asyncio.Event | None = None

    def __enter__(self) -> Self:
        self._thread.start()
        assert self._ready.wait(10.0)
        return self

    def __exit__(self, *exc: object) -> None:
        assert self._loop is not None
        assert self._end is not None
        self._loop.call_soon_threadsafe(self._end.set)
        self._thread.join(10.0)

    async def _main(self) -> None:
        self._loop, self._end = asyncio.get_running_loop(), asyncio.Event()
        await self.listen()

    @abstractmethod
    async def listen(self) -> None:
        """Open the server and `be_at` its address in it."""

    async def be_at(self, address: str) -> None:
        """Say the address and stay until the end."""
        assert self._end is not None
        self.address = address
        self._ready.set()
        await self._end.wait()
