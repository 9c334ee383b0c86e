"""Transports over real sockets on this machine, and what each failure amounts to."""

import asyncio
import logging
import shutil
import ssl
import subprocess
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from http import HTTPStatus
from pathlib import Path
from typing import Any

import aiorpcx
import pytest
from websockets.asyncio.server import ServerConnection, serve
from websockets.http11 import Request, Response
from websockets.utils import accept_key

from client.address import parse_address
from client.connecting import connect
from client.credentials import secret
from client.form import Profile, Token, UpdateSource
from client.framing import CUT_BYTES, CutShort, framer
from client.streams import StreamTransport, _Stream
from client.transport import Closed, Transport, Unreachable, reason
from shared.errors import BadInput

Talk = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


def profile_of(**more: Any) -> Profile:
    return Profile(format=1, updates=(UpdateSource(),), **more)


async def open_link(address: str, **more: Any) -> Transport:
    return await connect(parse_address(address), profile_of(**more))


async def trouble_with(address: str, **more: Any) -> BadInput | Unreachable:
    with pytest.raises((BadInput, Unreachable)) as caught:
        await open_link(address, **more)
    error = caught.value
    assert isinstance(error, BadInput | Unreachable)
    assert str(error).isprintable()
    return error


@asynccontextmanager
async def stream_host(talk: Talk) -> AsyncIterator[int]:
    """A TCP host; gives its port."""

    async def talk_then_close(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await talk(reader, writer)
        writer.close()
        await writer.wait_closed()

    server = await asyncio.start_server(talk_then_close, "127.0.0.1", 0)
    async with server:
        yield server.sockets[0].getsockname()[1]


async def echo(socket: ServerConnection) -> None:
    async for message in socket:
        await socket.send(message)


async def test_a_websocket_carries_text_and_binary_messages_as_frames() -> None:
    """And an orderly end says its code and reason, cleaned."""

    async def talk(socket: ServerConnection) -> None:
        assert await socket.recv() == "hello"
        await socket.send("héllo")
        await socket.send(b"\x00\xff")
        await socket.close(1001, "re\u202estart")

    async with serve(talk, "127.0.0.1", 0, compression=None) as server:
        link = await open_link(f"ws://127.0.0.1:{server.sockets[0].getsockname()[1]}/x")
        await link.send(b"hello")
        assert await link.receive() == "héllo".encode()
        assert await link.receive() == b"\x00\xff"
        with pytest.raises(Closed, match=r"the host closed the link \(1001 restart\)"):
            await link.receive()
        with pytest.raises(Closed):
            await link.send(b"more")
        await link.close()


async def test_a_websocket_gives_a_sign_of_life() -> None:
    """A ping is answered though nothing else is said (RFC 6455, section 5.5.2)."""
    async with serve(echo, "127.0.0.1", 0, compression=None) as server:
        link = await open_link(f"ws://127.0.0.1:{server.sockets[0].getsockname()[1]}")
        assert await link.probe()
        await link.close()
        with pytest.raises(Closed):
            await link.probe()


async def test_a_message_beyond_the_limit_leaves_the_link_open() -> None:
    """1 MiB is read; of a byte more the beginning; far more ends it (1009 of RFC 6455, 7.4.1)."""

    async def talk(socket: ServerConnection) -> None:
        await socket.send(b"x" * (1 << 20))
        await socket.send(b"y" * ((1 << 20) + 1))
        await socket.send(b"z")
        await socket.send(b"x" * ((16 << 20) + 1))
        await socket.wait_closed()

    async with serve(talk, "127.0.0.1", 0, compression=None) as server:
        link = await open_link(f"ws://127.0.0.1:{server.sockets[0].getsockname()[1]}")
        assert len(await link.receive()) == 1 << 20
        beginning = await link.receive()
        assert beginning == b"y" * CUT_BYTES
        assert isinstance(beginning, CutShort)
        assert await link.receive() == b"z"
        with pytest.raises(Closed):
            await link.receive()
        await link.close()


async def test_a_refused_port_a_name_that_is_none_and_a_missing_socket_can_be_tried_again(
    tmp_path: Path,
) -> None:
    """The host may just not be up yet."""
    server = await asyncio.start_server(lambda *_: None, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    server.close()
    await server.wait_closed()
    for scheme in ("ws", "wss", "tcp"):
        error = await trouble_with(f"{scheme}://127.0.0.1:{port}")
        assert isinstance(error, Unreachable)
        assert str(error) == "connection refused"
    assert isinstance(await trouble_with("ws://printer.invalid:1"), Unreachable)
    assert isinstance(await trouble_with(f"unix:{tmp_path}/none"), Unreachable)


def test_failures_that_the_loop_joins_into_one_are_told_in_plain_words() -> None:
    """A name with an IPv6 and an IPv4 address fails twice."""
    joined = OSError(
        "Multiple exceptions: [Errno 111] Connect call failed ('::1', 9, 0, 0), "
        "[Errno 111] Connect call failed ('127.0.0.1', 9)"
    )
    assert reason(joined) == "connection refused"
    assert reason(OSError(113, "Connect call failed ('192.0.2.7', 9)")) == "no route to host"
    assert reason(EOFError("unexpected end of stream")) == "the link broke off"


@pytest.mark.parametrize(
    "said", [b"SSH-2.0-host\r\n", b"\x00\x01\x02\x03\r\n", b"HTTP/1.1 banana\r\n\r\n"]
)
async def test_a_peer_that_speaks_no_websocket_is_hopeless(said: bytes) -> None:
    """The address is wrong, and no try will help."""

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(said)
        await writer.drain()
        await reader.read(10_000)

    async with stream_host(talk) as port:
        error = await trouble_with(f"ws://127.0.0.1:{port}")
    assert str(error) == (
        f"ws://127.0.0.1:{port}: the peer speaks no WebSocket; check address and port"
    )


async def test_an_end_in_the_handshake_can_be_tried_again() -> None:
    """A host that is just going down, or a proxy whose host is."""

    async def talk(reader: asyncio.StreamReader, _: asyncio.StreamWriter) -> None:
        await reader.read(10)

    async with stream_host(talk) as port:
        assert isinstance(await trouble_with(f"ws://127.0.0.1:{port}"), Unreachable)


@pytest.mark.parametrize(
    ("status", "hopeless"),
    [(200, True), (401, True), (403, True), (404, True), (426, True), (500, False), (503, False)],
)
async def test_http_statuses_tell_hopeless_from_worth_another_try(
    status: int, hopeless: bool
) -> None:
    """4xx and a plain web page are the address's fault, 5xx the host's."""

    def refuse(socket: ServerConnection, _: Request) -> Response:
        return socket.respond(HTTPStatus(status), "no\n")

    async with serve(echo, "127.0.0.1", 0, process_request=refuse) as server:
        error = await trouble_with(f"ws://127.0.0.1:{server.sockets[0].getsockname()[1]}")
    assert isinstance(error, BadInput) is hopeless
    assert str(status) in str(error)


async def test_no_redirect_is_followed_with_the_token_in_hand() -> None:
    """It is told, and the other host hears nothing."""
    heard: list[str] = []

    async def other(socket: ServerConnection) -> None:
        heard.append("connected")

    def away(socket: ServerConnection, _: Request) -> Response:
        response = socket.respond(HTTPStatus.FOUND, "")
        response.headers["Location"] = target
        return response

    async with (
        serve(other, "127.0.0.1", 0) as there,
        serve(echo, "127.0.0.1", 0, process_request=away) as here,
    ):
        target = f"ws://127.0.0.1:{there.sockets[0].getsockname()[1]}/"
        error = await trouble_with(f"ws://127.0.0.1:{here.sockets[0].getsockname()[1]}/")
    assert isinstance(error, BadInput)
    assert f"redirects to {target}" in str(error)
    assert heard == []


@pytest.mark.parametrize(
    ("framing", "wire"),
    [
        ({"framing": "newline"}, b'{"a":1}\n{"b":2}\r\n'),
        ({}, b'{"a":1}\n{"b":2}\n'),
        ({"framing": "delimiter", "delimiter": 23}, b'{"a":1}\x17{"b":2}\x17'),
        ({"framing": "sequence"}, b'\x1e{"a":1}\n\x1e{"b":2}\n'),
        ({"framing": "length"}, b'\x00\x00\x00\x07{"a":1}\x00\x00\x00\x07{"b":2}'),
    ],
)
async def test_unix_sockets_with_every_framing(
    tmp_path: Path, framing: dict[str, Any], wire: bytes
) -> None:
    """Byte by byte from the host, frame by frame to us; then its end is told."""
    got = bytearray()

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        got.extend(await reader.read(100))
        for byte in wire:
            writer.write(bytes([byte]))
            await writer.drain()
            await asyncio.sleep(0)
        writer.close()
        await writer.wait_closed()

    path = tmp_path / "s"
    server = await asyncio.start_unix_server(talk, path)
    async with server:
        link = await open_link(f"unix:{path}", **framing)
        await link.send(b"[]")
        assert [await link.receive(), await link.receive()] == [b'{"a":1}', b'{"b":2}']
        with pytest.raises(Closed, match="the host closed the link"):
            await link.receive()
        assert not await link.probe()
        await link.close()
    assert bytes(got).strip(b"\n\x17\x1e\x00\x02") == b"[]"


async def test_a_request_that_the_framing_cannot_carry_is_hopeless() -> None:
    """The profile is wrong; the line says what to correct."""

    async def talk(reader: asyncio.StreamReader, _: asyncio.StreamWriter) -> None:
        await reader.read(10)

    async with stream_host(talk) as port:
        more: dict[str, Any] = {"framing": "delimiter", "delimiter": ord("}")}
        link = await open_link(f"tcp://127.0.0.1:{port}", **more)
        with pytest.raises(BadInput, match="correct framing and delimiter"):
            await link.send(b"{}")
        await link.close()


async def test_an_independent_json_rpc_host_over_tcp_is_understood() -> None:
    """aiorpcX, newline-delimited: our request, its answer."""

    class Session(aiorpcx.RPCSession):  # type: ignore[misc]
        async def handle_request(self, request: Any) -> Any:
            async def begin(*what: str) -> Any:
                return {"begun": what}

            return await aiorpcx.handler_invocation(begin, request)()

    from client.jsonrpc import Peer, Response

    server = await aiorpcx.serve_rs(Session, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    link = await open_link(f"tcp://127.0.0.1:{port}")
    peer = Peer()
    await link.send(peer.request("begin", ["all"]))
    assert peer.receive(await link.receive()) == [Response("begin", 1, {"begun": ["all"]})]
    await link.close()
    server.close()
    await server.wait_closed()


def test_a_token_comes_from_the_environment_or_a_file_of_ones_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The environment first; a file that others may read is refused."""
    path = tmp_path / "token"
    path.write_text("from-file\n")
    path.chmod(0o600)
    both = Token(env="PRINTER_TOKEN", file=str(path))
    monkeypatch.delenv("PRINTER_TOKEN", raising=False)
    assert secret(both) == "from-file"
    monkeypatch.setenv("PRINTER_TOKEN", "from-env")
    assert secret(both) == "from-env"
    path.chmod(0o640)
    with pytest.raises(BadInput, match="others may read the token"):
        secret(Token(file=str(path)))
    monkeypatch.delenv("PRINTER_TOKEN")
    with pytest.raises(BadInput, match="PRINTER_TOKEN"):
        secret(Token(env="PRINTER_TOKEN"))


@pytest.mark.parametrize("text", ["two\nlines", "caf\u00e9", "", "x" * 10_000, "a\x00b"])
def test_what_could_not_be_a_token_is_refused_without_being_shown(
    tmp_path: Path, text: str
) -> None:
    """A line break would end the header."""
    path = tmp_path / "token"
    path.write_text(text)
    path.chmod(0o600)
    with pytest.raises(BadInput) as caught:
        secret(Token(file=str(path)))
    assert not text or text not in str(caught.value)


async def test_a_token_goes_into_its_header_and_into_no_log(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Even when somebody set logging to DEBUG."""
    monkeypatch.setenv("PRINTER_TOKEN", "s3cr3t")
    seen: list[str | None] = []

    async def talk(socket: ServerConnection) -> None:
        assert socket.request is not None
        seen.append(socket.request.headers.get("X-Key"))

    caplog.set_level(logging.DEBUG)
    token = Token(env="PRINTER_TOKEN", header="X-Key", prefix="")
    quiet = logging.getLogger("host")
    quiet.setLevel(logging.CRITICAL)
    async with serve(talk, "127.0.0.1", 0, logger=quiet) as server:
        port = server.sockets[0].getsockname()[1]
        link = await open_link(f"ws://127.0.0.1:{port}", token=token)
        await link.close()
    assert seen == ["s3cr3t"]
    assert "s3cr3t" not in caplog.text


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with a private authority (ca.pem) and a certificate of it for 127.0.0.1."""
    if shutil.which("openssl") is None:
        pytest.skip("needs the openssl command to make certificates")
    folder = tmp_path_factory.mktemp("authority")
    new = "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 2"
    for command in (
        f"{new} -keyout ca.key -out ca.pem -subj /CN=test-authority",
        f"{new} -keyout host.key -out host.pem -subj /CN=host -CA ca.pem -CAkey ca.key"
        " -addext subjectAltName=IP:127.0.0.1 -addext basicConstraints=critical,CA:FALSE",
    ):
        subprocess.run(["openssl", *command.split()], cwd=folder, check=True, capture_output=True)
    return folder


def server_side(folder: Path) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(folder / "host.pem", folder / "host.key")
    return context


async def test_a_private_authority_is_trusted_by_path_and_nothing_else(authority: Path) -> None:
    """Without it, or for another name, the certificate is bad: at once and for good."""
    async with serve(echo, "127.0.0.1", 0, ssl=server_side(authority)) as server:
        port = server.sockets[0].getsockname()[1]
        ca_file = str(authority / "ca.pem")
        link = await open_link(f"wss://127.0.0.1:{port}", ca_file=ca_file)
        await link.send(b"hello")
        assert await link.receive() == b"hello"
        await link.close()
        for address, more in [
            (f"wss://127.0.0.1:{port}", {}),
            (f"wss://localhost:{port}", {"ca_file": ca_file}),
        ]:
            error = await trouble_with(address, **more)
            assert isinstance(error, BadInput)
            assert "the certificate is bad" in str(error)


async def test_a_peer_without_tls_and_an_unreadable_authority_are_hopeless(
    tmp_path: Path,
) -> None:
    """Each with its own line."""

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(10_000)
        writer.write(b"HTTP/1.1 400 Bad Request\r\n\r\n")
        await writer.drain()

    async with stream_host(talk) as port:
        address = f"wss://127.0.0.1:{port}"
        assert "speaks no TLS" in str(await trouble_with(address))
        error = await trouble_with(address, ca_file=str(tmp_path / "none.pem"))
    assert isinstance(error, BadInput)
    assert "none.pem" in str(error)


async def test_what_came_before_a_reset_is_not_lost() -> None:
    """asyncio's own reader forgets its buffer when the link is reset in the same moment."""
    stream = _Stream()
    stream.feed_data(b'{"n": 1}\n{"n": 2}\n{"n"')
    stream.set_exception(ConnectionResetError(104, "Connection reset by peer"))
    address = parse_address("tcp://127.0.0.1:9")
    link = StreamTransport(address, stream, None, framer("newline"))  # type: ignore[arg-type]
    assert [await link.receive(), await link.receive()] == [b'{"n": 1}', b'{"n": 2}']
    with pytest.raises(Closed, match="connection reset"):
        await link.receive()


async def test_a_link_whose_closing_is_given_up_is_gone_all_the_same() -> None:
    """The peer shakes hands and then answers nothing, not even the end."""
    is_gone = asyncio.Event()

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        request = (await reader.readuntil(b"\r\n\r\n")).decode()
        key = next(
            line.split(": ")[1]
            for line in request.split("\r\n")
            if line.lower().startswith("sec-websocket-key")
        )
        answer = "HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        writer.write(f"{answer}Sec-WebSocket-Accept: {accept_key(key)}\r\n\r\n".encode())
        with suppress(ConnectionError):
            while await reader.read(1000):
                pass
        is_gone.set()

    async with stream_host(talk) as port:
        link = await open_link(f"ws://127.0.0.1:{port}")
        closing = asyncio.create_task(link.close())
        await asyncio.sleep(0.05)
        assert not closing.done()
        closing.cancel()
        with pytest.raises(asyncio.CancelledError):
            await closing
        await asyncio.wait_for(is_gone.wait(), 5.0)


async def test_a_stream_whose_closing_is_given_up_is_gone_all_the_same() -> None:
    """The peer reads nothing while more is on its way than the line holds."""
    may_read, is_gone = asyncio.Event(), asyncio.Event()

    async def talk(reader: asyncio.StreamReader, _: asyncio.StreamWriter) -> None:
        await may_read.wait()
        with suppress(ConnectionError):
            while await reader.read(1 << 20):
                pass
        is_gone.set()

    async with stream_host(talk) as port:
        link = await open_link(f"tcp://127.0.0.1:{port}", framing="newline")
        assert isinstance(link, StreamTransport)
        link._writer.write(b"x" * (64 << 20))
        closing = asyncio.create_task(link.close())
        await asyncio.sleep(0.05)
        assert not closing.done()
        closing.cancel()
        with pytest.raises(asyncio.CancelledError):
            await closing
        assert link._writer.transport.get_write_buffer_size() == 0
        may_read.set()
        await asyncio.wait_for(is_gone.wait(), 5.0)
