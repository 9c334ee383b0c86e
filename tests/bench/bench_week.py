"""Memory and time of a long log that is judged: a week of 20 channels at 4 Hz.

    python -m tests.bench.bench_week [--days D]

The log is a plain one of some 350 MB, in a temporary folder; the command is the real one.
"""

import argparse
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from tests.bench.bench_watch import CHANNELS

RATE_HZ = 4.0
ROWS_AT_ONCE = 40_000


def write(path: Path, days: float) -> None:
    """Held temperatures with noise and slow ripple, to 0.01 °C."""
    rng = np.random.default_rng(1)
    rows = int(days * 86_400.0 * RATE_HZ)
    with path.open("w", encoding="utf-8") as file:
        file.write(",".join(["time_s", *(f"c{k}.temperature_c" for k in range(CHANNELS))]) + "\n")
        for start in range(0, rows, ROWS_AT_ONCE):
            time_s = np.arange(start, min(start + ROWS_AT_ONCE, rows)) / RATE_HZ
            ripple = 0.2 * np.sin(time_s / 9.0)[:, None]
            noise = rng.normal(0.0, 0.05, (len(time_s), CHANNELS))
            values = 60.0 + 8.0 * np.arange(CHANNELS) + ripple + noise
            np.savetxt(file, np.column_stack([time_s, values]), fmt="%.2f", delimiter=",")


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.bench_week")
    parser.add_argument("--days", type=float, default=7.0)
    days = parser.parse_args().days
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "week.csv"
        write(log, days)
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        command = [sys.executable, "-m", "tui.main", "judge", str(log)]
        subprocess.run(command, check=False, stdout=subprocess.DEVNULL)
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent_s = used.ru_utime + used.ru_stime - before.ru_utime - before.ru_stime
    print(f"{days:g} days of {CHANNELS} channels: {used.ru_maxrss / 1024:.0f} MB at most")
    print(f"  {spent_s:.0f} s of CPU, reading the text included")


if __name__ == "__main__":
    main()
