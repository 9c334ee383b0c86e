"""How soon `watch` ends when its terminal goes or it is told to, at any moment, and what it leaves.

    python -m tests.bench.bench_leaving [--rounds N] [--seed N]

Half of the rounds close the terminal, half send SIGTERM, each at a random moment from 0 to 15 s
after the start. Prints the times until the program had ended, and how many recordings were
not whole (0 is asked; within 2 s on an idle machine).
"""

import argparse
import os
import pty
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from client.simulated.host import SimulatedHost
from client.simulated.scenario import load_scenario
from recordings.check import verify
from recordings.reader import Recording
from shared.errors import BadInput

LONGEST_S = 60.0
LATEST_S = 15.0


@dataclass(frozen=True)
class Ending:
    """One round: how it was ended, when, how long that took, and what was left."""

    way: str
    after_s: float
    took_s: float
    is_whole: bool


def end_one(address: str, path: Path, way: str, after_s: float) -> Ending:
    """Start `watch` on a terminal of its own and end it after a time."""
    line, end = pty.openpty()
    child = subprocess.Popen(
        [sys.executable, "-m", "tui.main", "watch", address, "-o", str(path)],
        stdin=end,
        stdout=end,
        stderr=end,
        start_new_session=True,
        env={**os.environ, "TERM": "xterm-256color"},
    )
    os.close(end)
    reader = threading.Thread(target=_drain, args=(line,), daemon=True)
    reader.start()
    time.sleep(after_s)
    before = time.monotonic()
    if way == "terminal closed":
        os.close(line)
    else:
        child.terminate()
    try:
        child.wait(LONGEST_S)
    except subprocess.TimeoutExpired:
        os.killpg(child.pid, signal.SIGKILL)
        child.wait()
    took_s = time.monotonic() - before
    if way != "terminal closed":
        os.close(line)
    return Ending(way, after_s, took_s, took_s < LONGEST_S and _is_whole(path))


def _drain(line: int) -> None:
    with suppress(OSError):
        while os.read(line, 65536):
            pass


def _is_whole(path: Path) -> bool:
    """Whether the recording was closed and holds no damage; none at all is whole as well."""
    if not path.exists():
        return True
    try:
        recording = Recording(path)
    except BadInput:
        return False
    closed = recording.is_closed
    recording.close()
    return closed and not verify(path).faults


def measure(rounds: int, seed: int) -> list[Ending]:
    rng = random.Random(seed)
    host = SimulatedHost(load_scenario("loose-terminal"), seed=1, speed=1.0)
    address = host.start()
    endings = []
    with tempfile.TemporaryDirectory() as folder:
        for number in range(rounds):
            way = ("terminal closed", "SIGTERM")[number % 2]
            after_s = rng.uniform(0.0, LATEST_S)
            endings.append(end_one(address, Path(folder) / f"{number}.ohmv", way, after_s))
    host.stop()
    return endings


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.bench_leaving")
    parser.add_argument("--rounds", type=int, default=8)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    endings = measure(options.rounds, options.seed)
    for way in ("terminal closed", "SIGTERM"):
        own = sorted(each.took_s for each in endings if each.way == way)
        broken = [each for each in endings if each.way == way and not each.is_whole]
        middle, longest = own[len(own) // 2], own[-1]
        print(
            f"{way}: {len(own)} times; ended after {middle:.2f} s (median), {longest:.2f} s "
            f"(longest); {len(broken)} recordings not whole"
        )
        for each in broken:
            print(f"    after {each.after_s:.2f} s, took {each.took_s:.2f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
