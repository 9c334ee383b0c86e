"""A program with a screen ends when told to, though the screen hangs, with whole recordings."""

import os
import pty
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.bench.bench_leaving import measure

HUNG = """
import os, queue, sys, time
from pathlib import Path
from tui.hangup import HangUp
from tui.leaving import Leaving

def close():
    Path(sys.argv[1]).write_text("closed")

full = queue.Queue(1)
hang_up = HangUp(ends=True)
with Leaving(hang_up, close):
    os.write(1, b"up")
    while True:
        full.put("the writer of a screen that nobody reads")
"""


@pytest.mark.parametrize("way", ["SIGTERM", "SIGHUP", "the terminal goes"])
def test_a_main_thread_that_hangs_keeps_nobody_waiting(way: str, tmp_path: Path) -> None:
    """What must be closed is closed, and the program ends as if it had left by itself."""
    line, end = pty.openpty()
    closed = tmp_path / "closed"
    child = subprocess.Popen(
        [sys.executable, "-c", HUNG, str(closed)], stdin=end, stdout=end, start_new_session=True
    )
    os.close(end)
    assert b"up" in os.read(line, 100)
    if way == "the terminal goes":
        os.close(line)
    else:
        child.send_signal(signal.Signals[way])
    assert child.wait(30) == 0
    assert closed.read_text() == "closed"
    if way != "the terminal goes":
        os.close(line)


def test_a_program_that_leaves_by_itself_is_left_alone(tmp_path: Path) -> None:
    """No second closing, no exit from under the main thread."""
    closed = tmp_path / "closed"
    text = HUNG.replace('full.put("the writer of a screen that nobody reads")', "break")
    text += "\ntime.sleep(0.5)\nsys.exit(7)\n"
    done = subprocess.run([sys.executable, "-c", text, str(closed)], check=False, timeout=30)
    assert done.returncode == 7
    assert not closed.exists()


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_watch_ends_with_a_whole_recording_at_any_moment(seed: int) -> None:
    """Terminals closed and SIGTERM, each twenty times, from 0 to 15 s after the start."""
    endings = measure(40, seed)
    assert all(each.is_whole for each in endings)
