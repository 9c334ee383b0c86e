"""Several hosts over real sockets: on the screen, through `watch`, and in `record`."""

import asyncio
import fcntl
import math
import os
import pty
import select
import signal
import socket
import struct
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from client.profile import simulated_profile
from client.simulated.host import SimulatedHost
from client.simulated.scenario import load_scenario
from recordings.check import verify
from recordings.reader import Recording
from recordings.writer import Recorder
from shared.words import Cause
from tests.tui.running import ROOT, here, program
from tui.lives import close_all, wait_any
from tui.pipeline import Live
from tui.several import SeveralApp
from tui.snapshot import LinkState
from tui.views.hint import leading

DEADLINE_S = 60.0


@pytest.fixture
def addresses() -> Iterator[list[str]]:
    """A healthy host and one with a loose terminal, forty times as fast as real ones."""
    with ExitStack() as stack:
        found = []
        for name in ("healthy-print", "loose-terminal"):
            host = SimulatedHost(load_scenario(name), 1, 40.0)
            found.append(host.start())
            stack.callback(host.stop)
        yield found


@pytest.fixture
def nobody() -> Iterator[str]:
    """An address at which nobody listens."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        yield f"ws://127.0.0.1:{taken.getsockname()[1]}"


async def until(told: str, app: SeveralApp, row: int) -> str:
    """Wait for words in a row of the screen; the row."""
    end = time.monotonic() + DEADLINE_S
    while time.monotonic() < end:
        line = "" if app.board is None else app.board.lines()[row]
        if told in line:
            return line
        await asyncio.sleep(0.05)
    raise AssertionError(f"{told!r} never came: {line!r}")


@pytest.mark.slow
async def test_the_faulty_one_of_two_hosts_rises_and_a_third_does_not_end_them(
    addresses: list[str], nobody: str, tmp_path: Path
) -> None:
    """Healthy given first; at the end both recordings are whole, and the third left none."""
    titles = ["attic", "garage", "cellar"]
    paths = [tmp_path / f"{title}.ohmv" for title in titles]
    lives = [
        Live(simulated_profile(address, {}), title, Recorder(path, {}))
        for address, title, path in zip([*addresses, nobody], titles, paths, strict=True)
    ]
    for live in lives:
        live.start()
    try:
        app = SeveralApp(lives)
        async with app.run_test(size=(120, 40)) as pilot:
            line = await until("loose-connection", app, 2)
            assert "garage" in line
            assert app.board is not None
            rows = app.board.lines()[2:5]
            assert "connection refused" in next(row for row in rows if "cellar" in row)
            assert "loose" not in next(row for row in rows if "attic" in row)
            await pilot.press("enter")
            assert app.board.lines()[0].startswith("garage")
            assert [live.link_state for live in lives[:2]] == [LinkState.OPEN] * 2
    finally:
        close_all(lives)
    cause = leading(lives[1].snapshot())
    assert cause is not None
    assert cause.cause is Cause.LOOSE_CONNECTION
    assert not paths[2].exists()
    for path in paths[:2]:
        assert_whole(path)
    recording = Recording(paths[1])
    assert "contact-break" in {event.kind for event in recording.events()}
    recording.close()


def assert_whole(path: Path) -> None:
    assert not path.with_name(f"{path.name}-wal").exists()
    report = verify(path)
    assert report.is_closed
    assert not report.faults


def test_waiting_for_several_ends_with_the_first_that_opens_or_when_all_have_failed(
    nobody: str,
) -> None:
    lives = [Live(simulated_profile(nobody, {}), "cellar")]
    lives[0].start()
    wait_any(lives, DEADLINE_S, threading.Event())
    assert lives[0].fatal is not None
    close_all(lives)


@pytest.mark.long
def test_a_host_that_never_answers_has_no_age_no_state_and_a_next_try(nobody: str) -> None:
    """Time passes on such a watch too, but that is nothing heard."""
    live = Live(simulated_profile(nobody, {}), "cellar", waits=True)
    live.start()
    deadline = time.monotonic() + DEADLINE_S
    while not (live.snapshot().now_s > 0.0 and live.snapshot().link.next_try_s is not None):
        assert time.monotonic() < deadline
        time.sleep(0.01)
    now = live.snapshot()
    close_all([live])
    assert not now.link.is_heard
    assert math.isnan(now.link.data_age_s)
    assert now.host == ""
    assert now.link.why == "connection refused"


@pytest.mark.slow
@pytest.mark.parametrize("leave", ["key", "signal"])
def test_watch_leaves_complete_recordings_of_all_hosts(
    addresses: list[str], nobody: str, tmp_path: Path, leave: str
) -> None:
    """Through a terminal: the list is shown, q or SIGTERM ends it, the bad host has its line."""
    line, end = pty.openpty()
    fcntl.ioctl(end, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    with subprocess.Popen(
        [sys.executable, "-m", "tui.main", "watch", *addresses, nobody],
        cwd=ROOT,
        stdin=end,
        stdout=end,
        stderr=end,
        start_new_session=True,
        env={**os.environ, "TERM": "xterm-256color", "XDG_DATA_HOME": str(tmp_path)},
    ) as child:
        os.close(end)
        shown = read(line, b"connection refused", b"sensors true", b"quit")
        if leave == "key":
            os.write(line, b"q")
        else:
            child.send_signal(signal.SIGTERM)
        shown += read(line)
        assert child.wait(30) == 0
    os.close(line)
    text = shown.decode()
    assert f"ohmvigil: {nobody}: connection refused" in text
    assert "Traceback" not in text
    paths = sorted((tmp_path / "ohmvigil").glob("*.ohmv"))
    assert len(paths) == 2
    for path in paths:
        assert_whole(path)


def read(line: int, *wanted: bytes) -> bytes:
    """What comes until all of some bytes have, or to the end."""
    got = b""
    while not (wanted and all(each in got for each in wanted)):
        if not select.select([line], [], [], DEADLINE_S)[0]:
            raise AssertionError(f"nothing more came after {got[-500:]!r}")
        try:
            more = os.read(line, 65536)
        except OSError:  # the child's end is closed
            break
        if not more:
            break
        got += more
    return got


@pytest.mark.long
def test_record_goes_on_with_the_others_when_one_host_fails(
    addresses: list[str], nobody: str, tmp_path: Path
) -> None:
    """The bad one gets its line; results name their host; exit 0 since not all have failed."""
    done = program(tmp_path, "record", nobody, *addresses, "--for", "2")
    assert done.returncode == 0, done.stderr
    (line,) = done.stderr.splitlines()
    assert nobody in line
    assert "connection refused" in line
    for address in addresses:
        assert f"{address}:" in done.stdout.splitlines()
    assert done.stdout.count("verdict:") == 2
    assert len(list((tmp_path / "ohmvigil").glob("*.ohmv"))) == 2


def test_record_ends_with_2_only_when_all_have_failed(
    nobody: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = nobody.replace("127.0.0.1", "localhost")
    done = here(capsys, tmp_path, "record", nobody, other, "--json")
    assert done.returncode == 2
    assert sorted(line.split(": ")[1] for line in done.stderr.splitlines()) == sorted(
        [nobody, other]
    )
    assert done.stdout == ""


@pytest.mark.parametrize("command", ["watch", "record"])
def test_a_host_that_is_named_twice_is_asked_once_and_the_others_go_on(
    command: str, nobody: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    done = here(capsys, tmp_path, command, nobody, nobody)
    assert done.returncode == 2
    twice, alone = done.stderr.splitlines()
    assert twice == (
        f"ohmvigil: {nobody}: this host is named twice; name each host once; the others go on"
    )
    assert "twice" not in alone


def test_a_check_is_of_one_host_only(
    nobody: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    done = here(capsys, tmp_path, "watch", nobody, f"{nobody}/other", "--check")
    assert done.returncode == 2
    assert "one host" in done.stderr
