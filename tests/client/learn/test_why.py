"""Why nothing was learnt, over real sockets: each cause in one line that says what to do."""

import asyncio
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from websockets.asyncio.server import ServerConnection, serve

import client.learn.why
import client.websocket
from client.form import Profile, Request
from client.learn import draft_of
from client.learn.listen import listen
from shared.errors import BadInput
from tests.levels import one_in
from tests.serving import Serving

SSH = b"SSH-2.0-OwnServer_1\r\n"
HTTP = b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n"
TLS_ALERT = b"\x15\x03\x01\x00\x02\x02\x16"
ASKS = (Request(json='{"give": "all"}', envelope=False),)
PAGE = Path("docs/connecting.md").read_text(encoding="utf-8")
ROWS = [
    re.split(r" \| | in any| \(CODE", line.removeprefix("| "))[0]
    for line in PAGE.splitlines()
    if line.startswith("| ")
][2:]
"""How the rows of its table begin, as far as it is not the host's own words."""


class Speaks(Serving):
    """Greets with some bytes, answers whatever it hears with others, closes if it is to."""

    def __init__(
        self, scheme: str, greeting: bytes = b"", answer: bytes = b"", closes: bool = False
    ) -> None:
        super().__init__("speaks")
        self.scheme, self.greeting, self.answer, self.closes = scheme, greeting, answer, closes

    async def listen(self) -> None:
        async with await asyncio.start_server(self._talk, "127.0.0.1", 0) as server:
            await self.be_at(f"{self.scheme}://127.0.0.1:{server.sockets[0].getsockname()[1]}")

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(self.greeting)
        while not self.closes and await reader.read(1000):
            writer.write(self.answer)
        writer.close()


class Closes(Serving):
    """A WebSocket that says something, or nothing, and closes with a code and a reason."""

    def __init__(self, code: int, reason: str, says: str = "") -> None:
        super().__init__("closes")
        self.code, self.reason, self.says = code, reason, says

    async def listen(self) -> None:
        async with serve(self._talk, "127.0.0.1", 0) as server:
            port = next(iter(server.sockets)).getsockname()[1]
            await self.be_at(f"ws://127.0.0.1:{port}/feed")

    async def _talk(self, link: ServerConnection) -> None:
        if self.says:
            await link.send(self.says)
        await link.close(self.code, self.reason)


CAUSES: dict[str, tuple[Callable[[], Serving], tuple[Request, ...], str]] = {
    "SSH by tcp": (lambda: Speaks("tcp", SSH), (), r"speaks SSH: 'SSH-2\.0-Own.*; give the port"),
    "SSH by ws": (lambda: Speaks("ws", SSH, closes=True), (), r"speaks SSH: .*; give the port"),
    "HTTP by tcp": (lambda: Speaks("tcp", b"", HTTP), ASKS, r"speaks HTTP: .*; give ws://HOST"),
    "TLS by tcp": (lambda: Speaks("tcp", b"", TLS_ALERT), ASKS, "speaks TLS; give wss://HOST"),
    "a text": (
        lambda: Speaks("tcp", b"Who is there?\n"),
        (),
        "text that is not JSON.*'Who is .*port",
    ),
    "bytes": (lambda: Speaks("tcp", b"\x00\xff\xfe\x01"), (), r"not JSON.*x00.*--framing"),
    "closed at once": (lambda: Speaks("tcp", closes=True), (), "closed the link.*with --send"),
    "close code": (lambda: Closes(1008, "no token"), (), r"\(1008 no token\).*--token-env"),
    "no JSON by ws": (lambda: Closes(1000, "", "hello there"), (), "not JSON.*'hello there'"),
}


@pytest.mark.parametrize("cause", one_in(3, map(pytest.param, CAUSES.values())), ids=CAUSES)
def test_why_nothing_was_learnt_is_said(
    cause: tuple[Callable[[], Serving], tuple[Request, ...], str],
) -> None:
    """Even after a request that would be sent in 32 framings; the page has a row for it."""
    make, requests, said = cause
    with make() as host, pytest.raises(BadInput, match=said) as told:
        listen(Profile(format=1, addresses=(host.address,), requests=requests), 1.0)
    assert "\n" not in str(told.value)
    assert str(told.value).startswith(host.address)
    assert any(told.value.what.startswith(each) for each in ROWS)


@pytest.mark.parametrize(
    ("greeting", "said"), [(SSH, "speaks SSH"), (b"", "not finished the handshake.*check the path")]
)
def test_a_handshake_that_is_never_finished_is_told(
    greeting: bytes, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By what the peer says first, where it says anything."""
    monkeypatch.setattr(client.websocket, "OPEN_TIMEOUT_S", 0.3)
    monkeypatch.setattr(client.learn.why, "OPEN_TIMEOUT_S", 0.3)
    with Speaks("ws", greeting) as host, pytest.raises(BadInput, match=said):
        listen(Profile(format=1, addresses=(host.address,)), 1.0)


def test_a_host_that_speaks_and_closes_is_heard_to_the_end() -> None:
    """What it said is kept, and why it closed."""
    with Closes(4001, "log in first", '{"hello": 1}') as host:
        heard = listen(Profile(format=1, addresses=(host.address,)), 1.0)
    assert "4001 log in first" in heard.ended
    assert draft_of(heard.gatherer).channels == []
