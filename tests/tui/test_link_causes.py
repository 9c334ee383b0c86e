"""How a link ends, over real sockets: what is told, and which cause leads."""

import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from http import HTTPStatus

import msgspec
import pytest
from websockets.datastructures import Headers
from websockets.exceptions import ConnectionClosed
from websockets.http11 import Request, Response
from websockets.sync.server import Server, ServerConnection, serve

import client.websocket
from client.form import Profile
from client.mapping import Mapper
from client.reader import Link, Reader
from detectors.diagnosis import diagnose
from detectors.diagnosis.verdict import verdict
from detectors.engine.watch import Watch
from shared.events import Event, RankedCause
from shared.updates import Entry, batch_of
from shared.words import Cause, Kind
from tests.levels import first

LONG_S = 30.0
"""Nothing here should take as long; a test that waits for it fails."""


class Host:
    """A host that says a temperature ten times a second until its link is to end."""

    def __init__(self) -> None:
        self.end: Callable[[ServerConnection], None] = lambda link: link.close()
        self.answer: Callable[[], Response | None] = lambda: None
        self.is_ending = threading.Event()
        self.port = 0
        self._server: Server | None = None

    def start(self) -> None:
        self._server = serve(self._talk, "127.0.0.1", self.port, process_request=self._asked)
        self.port = self._server.socket.getsockname()[1]
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def stop_listening(self) -> None:
        if self._server is not None:
            self._server.shutdown()
            self._server = None

    def _asked(self, link: ServerConnection, request: Request) -> Response | None:
        return self.answer() if self.is_ending.is_set() else None

    def _talk(self, link: ServerConnection) -> None:
        count = 0
        with suppress(ConnectionClosed, OSError):
            while not self.is_ending.wait(0.1):
                count += 1
                link.send(f'{{"n": {200 + count % 3}}}')
            self.end(link)


@pytest.fixture
def host() -> Iterator[Host]:
    one = Host()
    one.start()
    yield one
    one.is_ending.set()
    one.stop_listening()


def watched(
    address: str, begin: Callable[[], None], until: str, times: int = 1
) -> tuple[list[Event], list[RankedCause]]:
    """Watch a host, let the trouble begin, go on until a telling says so; what is found."""
    channels = {"nozzle": {"temperature_c": {"at": "/n"}}}
    given = {"format": 1, "addresses": [address], "silence_s": 1.0, "updates": [{}]}
    profile = msgspec.convert({**given, "channels": channels}, Profile)
    reader = Reader(profile)
    entries: list[Entry] = []
    reader.start()
    give_up_s = time.monotonic() + LONG_S
    try:
        begun = False
        while sum(until.encode() in entry.payload for entry in entries) < times:
            assert time.monotonic() < give_up_s, [e.payload for e in entries if e.payload][-5:]
            if reader.link.state is Link.ENDED and not reader.wait(0.0):
                break
            reader.wait(0.25)
            entries += reader.take()
            if not begun and len(entries) > 20:
                begun = True
                begin()
    finally:
        reader.stop()
    entries += reader.take()
    mapper, watch = Mapper(profile), Watch()
    watch.feed(batch_of([update for entry in entries for update in mapper.feed(entry)]))
    watch.finish()
    return [e for e in watch.events if e.absorbed_by is None], list(diagnose(watch.events, {}))


def told(events: list[Event]) -> str:
    (loss,) = [event for event in events if event.kind is Kind.LINK_LOSS]
    return loss.text


def check_of(causes: list[RankedCause]) -> str:
    check = causes[0].next_check
    return "" if check is None else check.name


def broken(host: Host, *, reset: bool) -> Callable[[ServerConnection], None]:
    """An end without a close frame, as the system makes it for a program that is gone."""

    def end(link: ServerConnection) -> None:
        if reset:
            linger = struct.pack("ii", 1, 0)
            link.socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
            link.socket.close()
        else:
            link.socket.shutdown(socket.SHUT_RDWR)

    return end


@pytest.mark.parametrize("reset", first(1, [False, True]))
def test_a_killed_service_is_told_by_its_port(host: Host, reset: bool) -> None:
    """Cut off or reset, then refused: no network, and the next check is at the host."""

    def begin() -> None:
        host.end = broken(host, reset=reset)
        host.stop_listening()
        host.is_ending.set()

    events, causes = watched(f"ws://127.0.0.1:{host.port}", begin, "tried refused")
    assert "its port refused: the host's service was not running" in told(events)
    assert causes[0].cause is None
    assert check_of(causes) == "look-at-service"
    assert told(events) in verdict(events, causes).text


def test_a_reset_alone_is_told_as_one(host: Host) -> None:
    """Without a try yet, network stays possible and does not lead by much."""

    def begin() -> None:
        host.end = broken(host, reset=True)
        host.is_ending.set()

    events, causes = watched(f"ws://127.0.0.1:{host.port}", begin, "lost ")
    assert "connection reset" in told(events) or "broke off" in told(events)
    network = next(cause for cause in causes if cause.cause is Cause.NETWORK)
    assert network.probability <= 0.6


def test_a_close_code_comes_with_its_reason(host: Host) -> None:
    """The host's own words are quoted, and network is not blamed."""

    def begin() -> None:
        host.end = lambda link: link.close(1012, "service restart")
        host.is_ending.set()

    events, causes = watched(f"ws://127.0.0.1:{host.port}", begin, "lost closed")
    assert "the host closed the link (1012 service restart)" in told(events)
    assert causes[0].cause is None


def test_a_close_for_policy_is_a_refusal(host: Host) -> None:
    """1008 and its reason, and the check is of token and rights."""

    def begin() -> None:
        host.end = lambda link: link.close(1008, "token expired")
        host.is_ending.set()

    events, causes = watched(f"ws://127.0.0.1:{host.port}", begin, "lost denied")
    assert "(1008 token expired); it refuses us" in told(events)
    assert causes[0].cause is None
    assert check_of(causes) == "look-at-access"


@pytest.mark.parametrize(
    ("status", "headers", "until", "words", "check"),
    first(
        1,
        [
            (401, {}, "tried denied", "the host refuses us (the host answered with HTTP", "access"),
            (302, {"Location": "ws://192.0.2.9/"}, "tried wrong", "redirects to", "address"),
            (503, {}, "tried busy", "cannot serve now (the host answered with HTTP", "service"),
        ],
    ),
)
def test_an_http_answer_to_the_next_try_is_told(
    host: Host, status: int, headers: dict[str, str], until: str, words: str, check: str
) -> None:
    """Wanted, sent elsewhere, or put off: the answer came through, so it is no network."""

    def begin() -> None:
        answer = Response(status, HTTPStatus(status).phrase, Headers(headers), b"")
        host.answer = lambda: answer
        host.is_ending.set()

    events, causes = watched(f"ws://127.0.0.1:{host.port}", begin, until)
    assert words in told(events)
    assert causes[0].cause is None
    assert check_of(causes) == f"look-at-{check}"


@pytest.mark.parametrize("stays", first(1, [True, False]))
def test_another_protocol_on_the_port_is_told(
    host: Host, stays: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What answers the next try speaks no WebSocket, whether it hangs up or waits."""
    monkeypatch.setattr(client.websocket, "OPEN_TIMEOUT_S", 1.0)
    taken: list[socket.socket] = []
    other = socket.socket()
    other.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)

    def answer() -> None:
        with suppress(OSError):
            while True:
                link, _ = other.accept()
                taken.append(link)
                link.sendall(b"220 ready when you are\r\n")
                if not stays:
                    link.shutdown(socket.SHUT_WR)

    def begin() -> None:
        host.stop_listening()
        host.is_ending.set()
        other.bind(("127.0.0.1", host.port))
        other.listen()
        threading.Thread(target=answer, daemon=True).start()

    try:
        events, causes = watched(f"ws://127.0.0.1:{host.port}", begin, "tried wrong")
    finally:
        with suppress(OSError):
            other.shutdown(socket.SHUT_RDWR)
        for one in (other, *taken):
            one.close()
    assert "something else answers at its address (the peer speaks no WebSocket)" in told(events)
    assert causes[0].cause is None
    assert check_of(causes) == "look-at-address"


def test_a_host_that_falls_mute_is_lost_and_not_put_down_to_the_network() -> None:
    """Lines over TCP: links are taken, and nothing is said any more."""
    server = socket.create_server(("127.0.0.1", 0))
    is_mute = threading.Event()
    links: list[socket.socket] = []

    def talk() -> None:
        with suppress(OSError):
            while True:
                link, _ = server.accept()
                links.append(link)
                while not is_mute.wait(0.1):
                    link.sendall(b'{"n": 200}\n')

    threading.Thread(target=talk, daemon=True).start()
    address = f"tcp://127.0.0.1:{server.getsockname()[1]}"
    try:
        events, causes = watched(address, is_mute.set, '"told":"open"', times=2)
    finally:
        is_mute.set()
        with suppress(OSError):
            server.shutdown(socket.SHUT_RDWR)
        server.close()
        for link in links:
            link.close()
    assert "no sign of life" in told(events)
    assert causes[0].cause is not Cause.NETWORK
