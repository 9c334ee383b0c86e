"""Steps and minutes from a strange host's address to a profile that is proven, by real commands.

    python -m tests.client.learn.odd.bench

A step is a command, or an answer that the host's own words need; what a person reads meanwhile is
not counted.
"""

import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

from tests.client.learn.odd import later, untold
from tests.client.learn.odd.host import OddHost
from tests.client.learn.odd.server import Served
from tests.client.learn.test_odd import faults_of

AT_ONCE = 5


class Measured(NamedTuple):
    """What one host took."""

    name: str
    right: int
    all: int
    steps: int
    seconds: float
    proven: int
    """Readings that gave values in the proof at the end."""


def measured(make: Callable[[], OddHost]) -> Measured:
    host = make()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wrong = len(faults_of(make(), folder))
        with Served(host, folder) as served:
            asks = [each for text in host.requests for each in (host.way_of_asking, text)]
            command = [sys.executable, "-m", "tui.main", "learn", served.address, *asks]
            start = time.monotonic()
            done = subprocess.run(
                [*command, *host.options, "--yes", "--name", "odd"],
                check=True,
                capture_output=True,
                text=True,
                env={**os.environ, "XDG_CONFIG_HOME": name},
            )
            seconds = time.monotonic() - start
    answers = done.stdout.count("means nothing known")
    proven = len(re.findall(r"^  \S.*\.\w+ +\d+ ×", done.stdout, re.MULTILINE))
    total = len(host.must) + 1  # and the clock
    return Measured(host.name, total - wrong, total, 1 + answers, seconds, proven)


def main() -> None:
    print("| dialect | values right | steps | minutes | readings proven |")
    print("| --- | --- | --- | --- | --- |")
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for one in pool.map(measured, (*untold.HOSTS, *later.HOSTS)):
            figures = f"{one.right} of {one.all} | {one.steps} | {one.seconds / 60.0:.1f}"
            print(f"| {one.name} | {figures} | {one.proven} |")


if __name__ == "__main__":
    main()
