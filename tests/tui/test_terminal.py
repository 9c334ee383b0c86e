"""The screen on a real terminal line: how much it sends, and how it leaves."""

import fcntl
import os
import pty
import signal
import struct
import subprocess
import sys
import termios
from collections.abc import Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FRAMES_PER_S = 4
BUDGET_BYTES_PER_S = 1000
LISTS = [(3, (80, 24), 2000), (6, (120, 40), 6500)]
"""Hosts, size of the terminal, most bytes a second."""
COLOURS = ({"COLORTERM": "truecolor"}, {"COLORTERM": "truecolor", "NO_COLOR": "1"})
ALTERNATE_OFF = b"\x1b[?1049l"
MOUSE_OFF = b"\x1b[?1000l"


class Terminal:
    """A child on a pseudo-terminal, of 80×24 unless told otherwise."""

    def __init__(
        self,
        frames: int,
        frame_s: float,
        *,
        child: Sequence[str] = ("live_child",),
        size: tuple[int, int] = (80, 24),
        no_color: bool = False,
    ) -> None:
        self.line, child_end = pty.openpty()
        fcntl.ioctl(child_end, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
        name, *more = child
        self.child = subprocess.Popen(
            [sys.executable, "-m", f"tests.tui.{name}", str(frames), str(frame_s), *more],
            cwd=ROOT,
            stdin=child_end,
            stdout=child_end,
            stderr=child_end,
            start_new_session=True,
            env=os.environ | {"TERM": "xterm-256color"} | COLOURS[no_color],
        )
        os.close(child_end)

    def read_until(self, wanted: bytes | None = None) -> bytes:
        """Everything up to some bytes, or up to the end."""
        got = b""
        while wanted is None or wanted not in got:
            try:
                more = os.read(self.line, 65536)
            except OSError:  # the child's end is closed
                break
            if not more:
                break
            got += more
        return got

    def end(self) -> bytes:
        """What came until the child ended."""
        rest = self.read_until()
        self.child.wait(timeout=30)
        os.close(self.line)
        return rest


def sent(frames: int, *, no_color: bool = False) -> bytes:
    return Terminal(frames, 0.03, no_color=no_color).end()


@pytest.mark.slow
def test_a_steady_screen_sends_less_than_a_kilobyte_a_second() -> None:
    """Bytes a frame from two runs of unequal length, at four frames a second."""
    short, long = len(sent(20)), len(sent(220))
    per_second = (long - short) / 200 * FRAMES_PER_S
    assert 0 < per_second < BUDGET_BYTES_PER_S


@pytest.mark.slow
@pytest.mark.parametrize(("hosts", "size", "most"), LISTS)
def test_a_steady_list_of_hosts_sends_little(hosts: int, size: tuple[int, int], most: int) -> None:
    """Though every reading flickers: only cells that changed are sent, however far to the right."""
    child = ("several_child", str(hosts))
    short, long = (
        len(Terminal(frames, 0.05, child=child, size=size).end()) for frames in (20, 120)
    )
    per_second = (long - short) / 100 * FRAMES_PER_S
    assert 0 < per_second < most


@pytest.mark.slow
def test_without_colours_the_words_and_glyphs_are_still_there() -> None:
    shown = sent(20, no_color=True).decode()
    assert "Traceback" not in shown
    assert "doubtful" in shown
    assert "╌" in shown


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_leaves_the_terminal_as_it_was_found(number: signal.Signals) -> None:
    terminal = Terminal(0, 0.05)
    terminal.read_until(b"quit")
    os.kill(terminal.child.pid, number)
    rest = terminal.end()
    assert terminal.child.returncode == 0
    assert ALTERNATE_OFF in rest
    assert MOUSE_OFF in rest


@pytest.mark.slow
def test_closing_the_terminal_ends_the_program() -> None:
    terminal = Terminal(0, 0.05)
    terminal.read_until(b"quit")
    os.close(terminal.line)
    os.kill(terminal.child.pid, signal.SIGHUP)
    terminal.child.wait(timeout=30)
