"""Bad input to watch, record and learn: one line, exit 2, no traceback."""

import os
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.levels import first
from tests.tui.running import Done, here, program

COMMANDS = ("watch", "record", "learn")
MORE = {"watch": ("--check",), "record": (), "learn": ("--yes",)}
GOOD = 'format = 1\naddresses = ["tcp://127.0.0.1:9"]\n'
SPEAKS_WHEN_ASKED = (b"HTTP", b"500")
GREETING = b"HTTP/1.1 %s\r\nContent-Length: 0\r\n%s\r\n"


def assert_one_line(done: Done, *words: str) -> None:
    """On stderr, with these words; what was recorded or found before may be on stdout."""
    assert done.returncode == 2, (done.stdout, done.stderr)
    (line,) = done.stderr.splitlines()
    assert line.startswith("ohmvigil")
    assert "Traceback" not in done.stdout
    for word in words:
        assert word in line
    assert len(line) < 600


PROFILES: dict[str, tuple[str, tuple[str, ...]]] = {
    "no TOML": ("format = ", ("p.toml:1",)),
    "a key twice": (GOOD + "format = 1\n", ("p.toml:3",)),
    "not UTF-8": ("format = 1\ntitle = '\udcff'\n", ("p.toml",)),
    "empty": ("", ("p.toml", "format")),
    "another version": ("format = 2\n", ("p.toml:1", "format")),
    "an unknown key": (GOOD + "adresses = []\n", ("p.toml:3", "did you mean 'addresses'")),
    "a number for a text": (GOOD + "title = 5\n", ("p.toml:3", "title")),
    "a bad address": ('format = 1\naddresses = ["http://x"]\n', ("p.toml:2", "addresses[0]")),
    "a bad pointer": (GOOD + '[channels.bed]\ntemperature_c = "t"\n', ("p.toml:4", "Pointer")),
    "an unknown unit": (
        GOOD + '[channels.bed]\ntemperature_c = { at = "/t", unit = "furlong" }\n',
        ("p.toml:4", "furlong"),
    ),
    "a word that is no number": (
        GOOD + '[channels.bed]\ntarget_c = { at = "/t", words = { off = "low" } }\n',
        ("p.toml:4", "no number"),
    ),
    "words for a message": (
        GOOD + '[channels.host]\nmessage = { at = "/t", words = { a = "b" } }\n',
        ("p.toml:4", "words"),
    ),
    "a state that is none": (
        GOOD + '[channels.host.state]\nat = "/s"\nwords = { a = "resting" }\n',
        ("p.toml:5", "resting"),
    ),
    "no JSON in a request": (GOOD + "[[requests]]\njson = '{'\n", ("p.toml:4", "JSON")),
    "a beat of no time": (
        GOOD + '[[requests]]\njson = \'{"method": "a"}\'\nevery_s = 0.0\n',
        ("p.toml:5", "every_s"),
    ),
    "a silence of no time": (GOOD + "silence_s = nan\n", ("p.toml:3", "silence_s")),
    "an answer to nothing": (GOOD + '[[updates]]\nanswer_to = "x"\n', ("p.toml:4", "'x'")),
    "two ways to fit": (GOOD + '[[updates]]\nmethod = "x"\nhas = "/x"\n', ("p.toml:3", "two ways")),
    "a wild pattern": (GOOD + '[[messages]]\npattern = "(a+)+$"\n', ("p.toml:4", "pattern")),
    "a token without a source": (GOOD + "[token]\n", ("p.toml", "token")),
    "a header that is none": (
        GOOD + '[token]\nenv = "A"\nheader = "a: b"\n',
        ("p.toml:5", "header"),
    ),
    "a delimiter that is none": (GOOD + "delimiter = 256\n", ("p.toml:3", "delimiter")),
    "no address at all": (
        'format = 1\n[channels.bed]\ntemperature_c = "/t"\n',
        ("p.toml", "no address"),
    ),
    "no channel at all": (GOOD, ("p.toml", "channels", "there are no channels")),
    "no reading at all": (
        GOOD + "[channels.bed.chain]\nwires = 3\n",
        ("p.toml", "channels", "no channel has a reading"),
    ),
    "a chain that cannot be": (
        GOOD + '[channels.bed]\ntemperature_c = "/t"\n[channels.bed.chain]\nwires = 7\n',
        ("p.toml:6", "wires"),
    ),
}


@pytest.mark.parametrize("name", PROFILES)
def test_a_profile_that_cannot_be_used_is_told_with_its_line(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text, words = PROFILES[name]
    path = tmp_path / "p.toml"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    assert_one_line(here(capsys, tmp_path, "record", str(path)), *words)


PLACES: dict[str, tuple[Callable[[Path], Any], tuple[str, ...]]] = {
    "no such file": (lambda p: None, ("no such file",)),
    "a folder": (lambda p: p.mkdir(), ("folder",)),
    "a long line": (lambda p: p.write_text("#" * 3_000_000), ()),
    "binary": (lambda p: p.write_bytes(bytes(range(256)) * 9), ("p.toml",)),
}


@pytest.mark.parametrize("name", PLACES)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_path_that_is_no_profile_is_told(
    name: str, command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make, words = PLACES[name]
    path = tmp_path / "p.toml"
    make(path)
    assert_one_line(here(capsys, tmp_path, command, str(path), *MORE[command]), "p.toml", *words)


ADDRESSES = {
    "refused": ("tcp://127.0.0.1:1", "connection refused"),
    "no such name": ("ws://no-such-host.invalid:9000/feed", ""),
    "a name that is none": (f"ws://{'a' * 70}.example:9", ""),
    "no port": ("tcp://127.0.0.1", "names no port"),
    "port out of range": ("ws://127.0.0.1:99999/", "port"),
    "no scheme known": ("http://127.0.0.1:9", "not an address"),
    "no host": ("ws://:9000/", "names no host"),
    "a password": ("ws://me:secret@127.0.0.1:9/", "no place in an address"),
    "an escape": ("ws://127.0.0.1:9/\x1b[31m", "not an address"),
    "no socket": ("unix:/no/such/socket", "no such file"),
    "an empty path": ("unix:", "names no socket"),
    "a broken IPv6 address": ("tcp://[::1:9", ""),
}


@pytest.mark.parametrize("name", ADDRESSES)
@pytest.mark.parametrize("command", COMMANDS)
def test_an_address_that_leads_nowhere_is_told(
    name: str, command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    address, words = ADDRESSES[name]
    done = here(capsys, tmp_path, command, address, *MORE[command])
    assert_one_line(done, words)
    assert "\x1b" not in done.stderr
    assert "secret" not in done.stderr


@pytest.mark.parametrize("command", first(1, COMMANDS))
def test_the_program_says_the_same_as_its_command(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In a process of its own nothing is added, at the start or at the end."""
    more = ("-o", str(tmp_path / "a.ohmv")) if command == "record" else MORE[command]
    arguments = (command, ADDRESSES["refused"][0], *more)
    alone, within = program(tmp_path, *arguments), here(capsys, tmp_path, *arguments)
    assert_one_line(alone, "connection refused")
    assert (alone.stdout, alone.stderr) == (within.stdout, within.stderr)


def answering(said: bytes, *, then_close: bool) -> Iterator[int]:
    """A port at which every connection is told the same."""
    stop = threading.Event()
    held: list[socket.socket] = []

    def serve(server: socket.socket) -> None:
        while not stop.is_set():
            try:
                link, _ = server.accept()
            except OSError:
                return
            link.settimeout(2.0)
            try:
                if said.startswith(SPEAKS_WHEN_ASKED):
                    link.recv(4096)
                link.sendall(said)
            except OSError:
                pass
            if then_close:
                link.close()
            else:
                held.append(link)

    with socket.create_server(("127.0.0.1", 0)) as server:
        thread = threading.Thread(target=serve, args=(server,), daemon=True)
        thread.start()
        yield server.getsockname()[1]
        stop.set()
        server.shutdown(socket.SHUT_RDWR)
    thread.join(5)
    for link in held:
        link.close()


ANSWERS = {
    "not found": ("ws", GREETING % (b"404 Not Found", b""), "HTTP status 404"),
    "token wanted": ("ws", GREETING % (b"401 Unauthorized", b""), "HTTP status 401"),
    "forbidden": ("ws", GREETING % (b"403 Forbidden", b""), "HTTP status 403"),
    "moved": ("ws", GREETING % (b"301 Moved", b"Location: ws://b.example/\r\n"), "redirects to"),
    "moved nowhere": ("ws", GREETING % (b"301 Moved", b""), "redirects to another address"),
    "plain HTTP": ("ws", GREETING % (b"200 OK", b""), "HTTP status 200"),
    "too busy": ("ws", GREETING % (b"503 Busy", b""), "HTTP status 503"),
    "no HTTP": ("ws", b"500 what?\r\n", "speaks no WebSocket"),
    "no TLS": ("wss", b"HTTP/1.1 400 Bad\r\n\r\n", "speaks no TLS"),
    "closed at once": ("ws", b"", "closed the link in the handshake"),
}


@pytest.mark.parametrize("name", ANSWERS)
@pytest.mark.parametrize("command", first(2, COMMANDS))
def test_a_peer_that_is_no_host_is_told(
    name: str, command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scheme, said, words = ANSWERS[name]
    peer = answering(said, then_close=not said or said.startswith(b"500"))
    port = next(peer)
    try:
        done = here(capsys, tmp_path, command, f"{scheme}://127.0.0.1:{port}/feed", *MORE[command])
    finally:
        next(peer, None)
    assert_one_line(done, words)


@pytest.mark.parametrize(
    ("said", "words"),
    first(
        2,
        [
            (b"", "the host said nothing"),
            (b"temp: 210.4\r\ntemp: 210.5\r\n" * 3, "is not JSON"),
            (b'{"seq": 1}\n{"seq": 2}\n', "nothing that looks like a temperature"),
            (b"\x00\x01\x02" * 99, "is not JSON"),
        ],
    ),
)
def test_a_host_that_says_nothing_of_use_cannot_be_learnt(
    said: bytes, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    peer = answering(said, then_close=False)
    port = next(peer)
    try:
        done = here(capsys, tmp_path, "learn", f"tcp://127.0.0.1:{port}", "--yes", "--listen", "1")
    finally:
        next(peer, None)
    assert_one_line(done, words)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may enter every socket")
def test_a_socket_that_one_may_not_enter_is_told(tmp_path: Path) -> None:
    path = tmp_path / "s"
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(path))
        server.listen()
        path.chmod(0)
        assert_one_line(program(tmp_path, "record", f"unix:{path}"), "permission denied")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("learn", "ws://127.0.0.1:1", "--send", "{"), "--send: is not JSON"),
        (("learn", "ws://127.0.0.1:1", "--poll", "["), "--poll: is not JSON"),
        (("learn", "ws://127.0.0.1:1", "--every", "0"), "--every"),
        (("learn", "ws://127.0.0.1:1", "--call", "a"), "--call"),
        (("learn", "ws://127.0.0.1:1", "--word", "a=b"), "--word"),
        (("learn", "ws://127.0.0.1:1", "--listen", "nan"), "--listen"),
        (("learn", "ws://127.0.0.1:1", "--listen", "soon"), "--listen"),
        (("learn", "ws://127.0.0.1:1", "--prove", "nan"), "--prove"),
        (("learn", "ws://127.0.0.1:1", "--token-file", "/no/such"), "/no/such"),
        (("learn", "ws://127.0.0.1:1", "--token-env", "NO_SUCH"), "NO_SUCH"),
        (("learn", "wss://127.0.0.1:1", "--ca-file", "/no/such"), "/no/such"),
        (("learn",), "ADDRESS"),
        (("record", "ws://127.0.0.1:1", "--for", "nan"), "--for"),
        (("record", "ws://127.0.0.1:1", "--for", "-1"), "--for"),
        (("record", "ws://127.0.0.1:1", "-o", "/no/such/n.ohmv"), "/no/such"),
        (("record", "ws://127.0.0.1:1", "-o", "/tmp"), "/tmp"),
        (("watch", "ws://127.0.0.1:1"), "terminal"),
        (("watch", "nobody-knows"), "no profile of this name"),
        (("record", ""), ""),
        (("record", "\x1b[31m"), ""),
        (("brew",), "brew"),
    ],
)
def test_an_option_that_cannot_be_is_told(
    arguments: tuple[str, ...], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    done = here(capsys, tmp_path, *arguments)
    assert_one_line(done, words)
    assert "\x1b" not in done.stderr
