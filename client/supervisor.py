"""Keeps one link to one host up: connects, asks, listens, notices silence, tries again.

- The wait before another try doubles from `FIRST_WAIT_S` to `LONGEST_WAIT_S`, less up to
  half by chance, and begins anew only after a link that held for `STEADY_S`. (A wait that
  begins anew with each success makes thousands of connections to a host that accepts and closes.)
- What no try can help ends the watch at once with BadInput: HTTP status 4xx or a redirect,
  a bad certificate, a peer that speaks no WebSocket. Refused, unresolved, 5xx, and an end
  in the handshake are tried again; only if `first_must_work` and it is the very first
  attempt, they end the watch as well, since then the address is likelier wrong.
- After `silence_s` without a frame the host is asked for a sign of life, by the transport
  or else by the profile's keep-alive request; without one in another `silence_s` the link
  counts as lost.
- Requests that the profile repeats are sent again under the id they had, so that one entry
  reads all answers: each time when it is due and the last answer has come, or is overdue by
  the silence that is allowed. Once a request was answered, a later refusal of it ends nothing.
- A request from the host is answered with "method not found" (JSON-RPC 2.0, section 5.1),
  so that a host that waits for an answer goes on; at most `REFUSALS` wait to be sent.
- A simulated host that says its pace has these times divided by it, down to a floor.

There is never more than one connection.
"""

import asyncio
import itertools
import random
from collections.abc import Sequence
from typing import NoReturn, Protocol

import msgspec

from client import trust
from client.address import Address, parse_address
from client.carried import Echoes, in_request
from client.connecting import connect
from client.form import Profile, Request
from client.framing import CutShort
from client.jsonrpc import Call, Failure, Peer, Refused, Response, refusal
from client.plan import plan_of, request_of
from client.pointer import walk
from client.saying import tells_a_state
from client.transport import Closed, Connect, Hopeless, Transport, Unreachable
from shared.errors import BadInput
from shared.link import How

FIRST_WAIT_S = 0.5
LONGEST_WAIT_S = 30.0
SHORTEST_WAIT_S = 0.05
STEADY_S = 30.0
SHORTEST_SILENCE_S = 1.5
HIGHEST_PACE = 1000.0
REFUSALS = 16
"""Answers to requests of the host that may wait; further requests get none."""
TURN = 64
"""Frames after which others on the loop get their turn, however many more are waiting."""


class Listener(Protocol):
    """Who is told. Calls come from the supervisor's event loop and must not block."""

    def trying(self, attempt: int, why: str) -> None:
        """Attempt number `attempt` since the last steady link begins; `why` the last failed."""

    def waiting(self, attempt: int, why: str, wait_s: float) -> None:
        """Attempt number `attempt` failed, or its link ended; the next begins in `wait_s`."""

    def opened(self, address: Address) -> None:
        """The link is open."""

    def message(self, frame: bytes) -> None:
        """A frame came."""

    def answers(self) -> None:
        """The host has sent nothing for a while, and gave a sign of life when asked."""

    def lost(self, why: str, how: How) -> None:
        """The open link ended by itself; not called when we end it."""

    def failed(self, why: str, how: How) -> None:
        """A try to open the link failed."""


class Supervisor:
    """Runs until cancelled, or until BadInput says that no try will help."""

    def __init__(
        self,
        profile: Profile,
        listener: Listener,
        *,
        first_must_work: bool = True,
        connect: Connect = connect,
        chance: random.Random | None = None,
    ) -> None:
        if not profile.addresses:
            raise BadInput(profile.title or "profile", "has no address", "add addresses = […]")
        self._profile = profile
        self._plan = plan_of(profile)
        self._addresses = [parse_address(text) for text in profile.addresses]
        self._listener = listener
        self._first_must_work = first_must_work
        self._connect = connect
        self._chance = chance or random.Random()
        self._pace = 1.0
        self._peer = Peer()
        self._asked = 0
        self._answered: set[int] = set()
        self._repeated: list[tuple[Request, float, int | None]] = []
        self._refusals: asyncio.Queue[bytes] = asyncio.Queue(REFUSALS)
        self._heard_s = 0.0
        self._was_open = False
        self._was_answered = False
        self._echoes = Echoes(profile)

    async def run(self) -> NoReturn:
        """Keep the link up. Raises BadInput, or CancelledError after closing the link."""
        now = asyncio.get_running_loop().time
        failures, why = 0, ""
        while True:
            self._listener.trying(failures + 1, why)
            try:
                transport, address = await self._open()
            except Unreachable as error:
                why = str(error)
                self._listener.failed(why, error.how)
            except Hopeless as error:
                self._listener.failed(error.what, error.how)
                raise
            else:
                self._was_open = True
                opened_s = now()
                why = await self._session(transport, address)
                if now() - opened_s >= STEADY_S / self._pace:
                    failures = 0
            failures += 1
            wait_s = self._wait_s(failures)
            self._listener.waiting(failures, why, wait_s)
            await asyncio.sleep(wait_s)

    def _wait_s(self, failures: int) -> float:
        longest = min(FIRST_WAIT_S * 2.0 ** min(failures - 1, 20), LONGEST_WAIT_S)
        wait_s = longest * self._chance.uniform(0.5, 1.0) / self._pace
        return max(wait_s, SHORTEST_WAIT_S)

    async def _open(self) -> tuple[Transport, Address]:
        """First address that opens. Hopeless only if each of them is."""
        hopeless: list[BadInput] = []
        unreached: list[tuple[Address, Unreachable]] = []
        for address in self._addresses:
            try:
                trust.check(self._profile, address)
                return await self._connect(address, self._profile), address
            except BadInput as error:
                hopeless.append(self._echoes.error(error))
            except Unreachable as error:
                unreached.append((address, error))
        if not unreached:
            raise hopeless[0]
        address, first = unreached[0]
        if self._first_must_work and not self._was_open:
            do = "check that the host is on and that the address is right"
            raise BadInput(address.shown, str(first), do)
        raise first

    async def _session(self, transport: Transport, address: Address) -> str:
        """Live with one open link until it ends; says why it did."""
        self._peer = Peer()
        self._answered = set()
        self._refusals = asyncio.Queue(REFUSALS)
        self._heard_s = asyncio.get_running_loop().time()
        self._echoes = Echoes(self._profile)
        self._listener.opened(address)
        try:
            closed = await self._attend(transport, address)
        except BadInput as bad:
            how = bad.how if isinstance(bad, Hopeless) else How.OTHER
            self._listener.lost(self._echoes.text(bad.what), how)
            raise self._echoes.error(bad) from None
        finally:
            await transport.close()
        why = self._echoes.text(str(closed))
        self._listener.lost(why, closed.how)
        return why

    async def _attend(self, transport: Transport, address: Address) -> Closed:
        works: Sequence[asyncio.Task[None]] = ()
        try:
            for frame in self._opening():
                await transport.send(frame)
            works = [
                asyncio.create_task(self._receive(transport, address)),
                asyncio.create_task(self._mind_silence(transport)),
                asyncio.create_task(self._keep_alive(transport)),
                asyncio.create_task(self._refuse(transport)),
                *(asyncio.create_task(self._repeat(transport, *each)) for each in self._repeated),
            ]
            done, _ = await asyncio.wait(works, return_when=asyncio.FIRST_COMPLETED)
            for work in done:
                work.result()
        except Closed as closed:
            return closed
        finally:
            for work in works:
                work.cancel()
            await asyncio.gather(*works, return_exceptions=True)
        return Closed("the link ended")

    def _opening(self) -> list[bytes]:
        frames = []
        self._repeated = []
        for request in self._profile.requests:
            frames.append(self._frame(request))
            number = len(self._peer.waiting) if request.envelope else None
            if request.every_s is not None:
                self._repeated.append((request, request.every_s, number))
        self._asked = len(self._peer.waiting)
        return frames

    async def _repeat(
        self, transport: Transport, request: Request, every_s: float, number: int | None
    ) -> None:
        """Send a request again and again, `number` being the id that it had."""
        now = asyncio.get_running_loop().time
        body = in_request(self._profile, request_of(request))
        asked_s = due_s = now()
        while True:
            # By a beat of its own, so that answers come at the pace that was asked for.
            due_s = max(due_s + every_s, now())
            await asyncio.sleep(due_s - now())
            if number is None:
                await transport.send(msgspec.json.encode(body))
            elif number not in self._peer.waiting or now() - asked_s >= self._silence_s:
                asked_s = now()
                frame = self._peer.again(number, body["method"], body.get("params"))
                await transport.send(frame)

    def _frame(self, request: Request) -> bytes:
        body = in_request(self._profile, request_of(request))
        if not request.envelope:
            return msgspec.json.encode(body)
        return self._peer.request(body["method"], body.get("params"))

    async def _receive(self, transport: Transport, address: Address) -> None:
        now = asyncio.get_running_loop().time
        for count in itertools.count(1):
            frame = await transport.receive()
            if count % TURN == 0:
                await asyncio.sleep(0)
            self._heard_s = now()
            self._listener.message(self._echoes.frame(frame))
            if isinstance(frame, CutShort):
                continue
            if self._peer.waiting or (b'"id"' in frame and b'"method"' in frame):
                self._check_answers(frame, address)

    async def _refuse(self, transport: Transport) -> None:
        while True:
            await transport.send(await self._refusals.get())

    def _check_answers(self, frame: bytes, address: Address) -> None:
        try:
            incoming = self._peer.receive(frame)
        except Refused:
            return
        for one in incoming:
            if isinstance(one, Response):
                self._take_pace(one)
            elif isinstance(one, Call):
                if one.id is not None and not self._refusals.full():
                    self._refusals.put_nowait(refusal(one.id))
            elif isinstance(one, Failure) and (one.id is None or one.id <= self._asked):
                is_repeated = any(one.id == n for *_, n in self._repeated)
                if tells_a_state(self._plan.rules, one.words):
                    # That it is stopped is an answer; what is not asked again by itself is tried.
                    self._was_answered = True
                    if one.id is not None:
                        self._answered.add(one.id)
                if one.id in self._answered and is_repeated:
                    continue
                asked = f" {one.method}" if one.method else ""
                what = f"the host refused{asked}: {one.words}"
                if self._first_must_work and not self._was_answered:
                    do = (
                        "if the host is stopped or starting, try again once it is up, or with "
                        "--wait; else check [[requests]] in the profile"
                    )
                    raise Hopeless(address.shown, what, do, How.DENIED)
                raise Closed(what, How.DENIED)

    def _take_pace(self, answer: Response) -> None:
        self._was_answered = True
        self._answered.add(answer.id)
        origin = self._plan.answers.get(answer.id)
        if origin is not None and origin.pace is not None:
            pace = walk({"id": answer.id, "result": answer.result}, origin.pace)
            if type(pace) in (int, float):
                self._pace = min(max(float(pace), 1.0), HIGHEST_PACE)

    @property
    def _silence_s(self) -> float:
        silence_s = max(self._profile.silence_s / self._pace, SHORTEST_SILENCE_S)
        if self._repeated:
            # A host that speaks when asked is silent in between.
            silence_s = max(silence_s, 2.0 * min(every_s for _, every_s, _ in self._repeated))
        return silence_s

    async def _mind_silence(self, transport: Transport) -> None:
        now = asyncio.get_running_loop().time
        alive_s = now()
        while True:
            quiet_s = now() - max(self._heard_s, alive_s)
            if quiet_s < self._silence_s:
                await asyncio.sleep(self._silence_s - quiet_s)
                continue
            asked_s = now()
            if await self._gives_sign(transport):
                alive_s = now()
                if self._heard_s < asked_s:
                    self._listener.answers()
            elif self._heard_s < asked_s:
                raise Closed(f"no sign of life for {2 * self._silence_s:g} s", How.SILENT)

    async def _gives_sign(self, transport: Transport) -> bool:
        """Ask for a sign of life and wait up to `silence_s` for it."""
        limit_s = self._silence_s
        try:
            async with asyncio.timeout(limit_s):
                if await transport.probe():
                    return True
                if self._profile.keep_alive is not None:
                    await transport.send(self._keep_alive_frame())
                await asyncio.sleep(limit_s)
        except TimeoutError:
            pass
        return False

    async def _keep_alive(self, transport: Transport) -> None:
        alive = self._profile.keep_alive
        if alive is None:
            await asyncio.Event().wait()
            return
        while True:
            await asyncio.sleep(alive.every_s)
            await transport.send(self._keep_alive_frame())

    def _keep_alive_frame(self) -> bytes:
        alive = self._profile.keep_alive
        assert alive is not None
        return self._frame(Request(json=alive.json, envelope=alive.envelope))
