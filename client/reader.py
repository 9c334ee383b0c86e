"""The reader: a thread with an event loop of its own that only drains, stamps and queues.

It parses next to nothing and waits for nobody, so that a slow screen, disk or detector
neither delays the link's signs of life nor makes data stale unnoticed.
"""

import asyncio
import threading
from collections import deque
from collections.abc import Iterable
from contextlib import suppress
from enum import StrEnum

import msgspec

from client.address import Address
from client.company import Company
from client.connecting import connect
from client.form import Profile
from client.framing import CutShort
from client.supervisor import Supervisor
from client.telling import Teller
from client.transport import Connect
from shared.clock import own_time
from shared.errors import BadInput
from shared.link import How
from shared.text import clean
from shared.updates import Entry, EntryKind, LinkNews

MAX_UNREAD = 100_000
"""Entries that may wait in the queue; beyond that, or `MAX_UNREAD_BYTES`, the oldest is dropped."""
MAX_UNREAD_BYTES = 64 << 20
TICK_S = 1.0
JOIN_S = 10.0


class Link(StrEnum):
    """State of the connection."""

    CONNECTING = "connecting"
    OPEN = "open"
    LOST = "lost"
    ENDED = "ended"


class LinkStatus(msgspec.Struct, frozen=True):
    """State of the connection, since when (own time), why, and the number of the attempt.

    `next_own_s`: when the next attempt begins, while one is waited for.
    """

    state: Link
    since_own_s: float
    why: str = ""
    attempts: int = 0
    next_own_s: float | None = None


class Reader:
    """Watches one host. Methods may be called from any thread; none of them blocks but
    `wait` and `stop`.

    The queue holds messages, link news, and a tick for each second without a message, in
    the order in which they came. `company` is of the hosts that are watched together.
    """

    def __init__(
        self,
        profile: Profile,
        *,
        first_must_work: bool = True,
        connect: Connect = connect,
        company: Company | None = None,
    ) -> None:
        self._lock = threading.Condition()
        self._unread: deque[Entry] = deque()
        self._unread_bytes = 0
        self._dropped = 0
        self._link = LinkStatus(Link.CONNECTING, own_time())
        self._fatal: BadInput | None = None
        self._last_s = own_time()
        self._teller = Teller(TICK_S, company)
        self._supervisor = Supervisor(
            profile, self, first_must_work=first_must_work, connect=connect
        )
        self._name = profile.addresses[0]
        self._thread = threading.Thread(target=self._run, name="reader", daemon=True)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._task: asyncio.Task[None] | None = None
        self._stopping = False

    def start(self) -> None:
        """Begin; returns at once."""
        self._thread.start()

    def take(self, limit: int | None = None) -> list[Entry]:
        """Oldest entries of the queue, at most `limit`, removed from it."""
        with self._lock:
            self._say_dropped()
            if limit is None or limit >= len(self._unread):
                taken = list(self._unread)
                self._unread.clear()
                self._unread_bytes = 0
                return taken
            taken = [self._unread.popleft() for _ in range(limit)]
            self._unread_bytes -= sum(len(entry.payload) for entry in taken)
            return taken

    def wait(self, timeout: float | None = None) -> bool:
        """Wait until there is something to take or the reader has ended; False in vain."""
        with self._lock:
            return self._lock.wait_for(
                lambda: bool(self._unread) or self._link.state is Link.ENDED, timeout
            )

    @property
    def link(self) -> LinkStatus:
        with self._lock:
            return self._link

    @property
    def dropped(self) -> int:
        """Entries dropped because nobody took them in time."""
        with self._lock:
            return self._dropped

    @property
    def fatal(self) -> BadInput | None:
        """Why the watch has ended by itself, if it has."""
        with self._lock:
            return self._fatal

    @property
    def is_running(self) -> bool:
        """Whether the thread is at work."""
        return self._thread.is_alive()

    def stop(self) -> None:
        """Close the link and end the thread. What is in the queue can still be taken."""
        with self._lock:
            self._stopping = True
            loop, task = self._loop, self._task
        if loop is not None and task is not None:
            with suppress(RuntimeError):  # The loop may have ended by itself.
                loop.call_soon_threadsafe(task.cancel)
        if self._thread.ident is not None:
            self._thread.join(JOIN_S)

    def trying(self, attempt: int, why: str) -> None:
        """The supervisor says so."""
        self._without(Link.LOST if why else Link.CONNECTING, attempt, why, None)

    def waiting(self, attempt: int, why: str, wait_s: float) -> None:
        """The supervisor says so."""
        self._without(Link.LOST, attempt, why, own_time() + wait_s)

    def _without(self, state: Link, attempt: int, why: str, next_own_s: float | None) -> None:
        """There is no link; since when is kept from one attempt to the next."""
        with self._lock:
            same = state is self._link.state
            since_s = self._link.since_own_s if same else own_time()
            self._link = LinkStatus(state, since_s, why, attempt, next_own_s)

    def opened(self, address: Address) -> None:
        """The supervisor says so."""
        now_s = own_time()
        with self._lock:
            self._link = LinkStatus(Link.OPEN, now_s, "", self._link.attempts)
            self._tell(now_s, self._teller.opened(now_s, address.shown))

    def lost(self, why: str, how: How) -> None:
        """The supervisor says so."""
        now_s = own_time()
        with self._lock:
            self._link = LinkStatus(Link.LOST, now_s, why, self._link.attempts)
            self._tell(now_s, self._teller.lost(now_s, why, how))

    def failed(self, why: str, how: How) -> None:
        """The supervisor says so."""
        now_s = own_time()
        with self._lock:
            self._tell(now_s, self._teller.failed(now_s, why, how))

    def answers(self) -> None:
        """The supervisor says so."""
        now_s = own_time()
        with self._lock:
            self._tell(now_s, self._teller.answers(now_s))

    def message(self, frame: bytes) -> None:
        """The supervisor says so."""
        now_s = own_time()
        with self._lock:
            self._tell(now_s, self._teller.message(now_s))
            kind = EntryKind.CUT_SHORT if isinstance(frame, CutShort) else EntryKind.MESSAGE
            self._put(Entry(now_s, kind, bytes(frame)))
            self._last_s = now_s

    def _tell(self, now_s: float, told: Iterable[LinkNews]) -> None:
        for news in told:
            self._put(Entry(now_s, EntryKind.LINK, msgspec.json.encode(news)))

    def _put(self, entry: Entry) -> None:
        self._unread.append(entry)
        self._unread_bytes += len(entry.payload)
        while len(self._unread) > MAX_UNREAD or self._unread_bytes > MAX_UNREAD_BYTES:
            self._unread_bytes -= len(self._unread.popleft().payload)
            self._dropped += 1
        self._lock.notify_all()

    def _say_dropped(self) -> None:
        """Say what was dropped where it is missing: before the oldest that is left."""
        news = self._teller.dropped(self._dropped)
        if news is not None:
            own_s = self._unread[0].own_s if self._unread else own_time()
            entry = Entry(own_s, EntryKind.LINK, msgspec.json.encode(news))
            self._unread.appendleft(entry)
            self._unread_bytes += len(entry.payload)

    def _run(self) -> None:
        fatal: BadInput | None = None
        try:
            asyncio.run(self._main())
        except BadInput as bad:
            fatal = bad
        except asyncio.CancelledError:
            pass
        except Exception as error:
            what = f"the reader failed: {type(error).__name__}: {clean(str(error))}"
            fatal = BadInput(self._name.partition("?")[0], what, "report it as a fault of ohmvigil")
        with self._lock:
            why = fatal.what if fatal else self._link.why
            self._fatal = fatal
            self._link = LinkStatus(Link.ENDED, own_time(), why, self._link.attempts)
            self._lock.notify_all()

    async def _main(self) -> None:
        task = asyncio.current_task()
        with self._lock:
            if self._stopping:
                return
            self._loop, self._task = asyncio.get_running_loop(), task
        ticking = asyncio.create_task(self._tick())
        try:
            await self._supervisor.run()
        finally:
            ticking.cancel()

    async def _tick(self) -> None:
        """Queue a tick for each `TICK_S` without a message."""
        while True:
            now_s = own_time()
            with self._lock:
                quiet_s = now_s - self._last_s
                self._tell(now_s, self._teller.beat(now_s))
                if quiet_s >= TICK_S:
                    self._put(Entry(now_s, EntryKind.TICK))
                    self._last_s = now_s
                    quiet_s = 0.0
            await asyncio.sleep(max(TICK_S - quiet_s, 0.0))
