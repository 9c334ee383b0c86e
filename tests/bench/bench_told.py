"""What was told before a kill is in the file: `python -m tests.bench.bench_told [TIMES]` (20).

`record --json` watches the simulated host at 60 times its pace and is killed (SIGKILL) at seeded
moments. Each event that it had told must be stored, and be found again where the file is judged.
Prints how many of how many were not.
"""

import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from recordings.reader import Recording

SCENARIOS = ("loose-terminal", "supply-dip", "link-drops", "lead-breaks-at-position")
SHORTEST_S, LONGEST_S = 1.0, 6.0

Told = dict[str, Any]


def told_before_kill(path: Path, scenario: str, seed: int) -> list[Told]:
    """Events that a recording of this scenario told before it was killed."""
    ohmvigil = [sys.executable, "-m", "tui.main"]
    speed = ["--scenario", scenario, "--speed", "60", "--seed", str(seed)]
    with subprocess.Popen(
        [*ohmvigil, "simulate", *speed], stdout=subprocess.PIPE, text=True
    ) as host:
        assert host.stdout is not None
        found = None
        while found is None:
            found = re.search(r"\w+://\S+", host.stdout.readline())
        command = [*ohmvigil, "record", found[0], "--json", "-o", str(path)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as recorder:
            assert recorder.stdout is not None
            while not path.exists():
                time.sleep(0.05)
            time.sleep(float(np.random.default_rng(seed).uniform(SHORTEST_S, LONGEST_S)))
            os.kill(recorder.pid, signal.SIGKILL)
            lines = recorder.stdout.read().splitlines(keepends=True)
        host.terminate()
    records = [json.loads(line) for line in lines if line.endswith("\n")]
    return [record for record in records if record.get("record") == "event"]


def missing(path: Path, told: list[Told]) -> tuple[int, int]:
    """How many of the told events are not stored, and how many of them judging does not find."""
    recording = Recording(path)
    stored = {(event.id, event.kind.value, event.channel) for event in recording.events()}
    recording.close()
    unstored = sum((one["id"], one["kind"], one["channel"]) not in stored for one in told)
    judge = [sys.executable, "-m", "tui.main", "judge", str(path), "--json"]
    done = subprocess.run(judge, capture_output=True, text=True, check=False)
    records = map(json.loads, done.stdout.splitlines())
    found = {_what(record) for record in records if record["record"] == "event"}
    return unstored, len({_what(one) for one in told} - found)


def _what(record: Told) -> tuple[str, str, float]:
    return record["kind"], record["channel"], round(record["start_s"], 3)


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    events = unstored = unfound = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(times):
            path = Path(folder) / str(seed) / "night.ohmv"
            path.parent.mkdir()
            told = told_before_kill(path, SCENARIOS[seed % len(SCENARIOS)], seed)
            not_stored, not_found = missing(path, told)
            events, unstored, unfound = (
                events + len(told),
                unstored + not_stored,
                unfound + not_found,
            )
            if not_stored or not_found:
                print(f"seed {seed}: {not_stored} not stored, {not_found} not found again")
    print(
        f"killed {times} times after {events} events were told: {unstored} of them not stored, "
        f"{unfound} not found where the file is judged"
    )


if __name__ == "__main__":
    main()
