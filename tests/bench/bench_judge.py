"""Judging a recorded night, end to end: 12 h, four heaters with target and power, motion and a fan.

    python -m tests.bench.bench_judge

CPU time of one run in this process, by its parts. The night is written as a plain log and imported,
so that the recording is a real one.
"""

import contextlib
import io
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

import numpy as np

import tui.main
from detectors.engine.logwatch import LogWatch
from detectors.judged import Judge
from detectors.judged.noted import noted
from recordings.cut import starts_of
from recordings.several import open_logs
from shared.updates import Batch
from tests.bench.bench_watch import ROWS, heated, night

T = TypeVar("T")
HEATERS = 4


def printed(batch: Batch) -> Batch:
    """The same night with a carriage that moves for most of it, and a fan."""
    rng = np.random.default_rng(3)
    time_s = batch.time_s
    is_moving = (time_s % 7200.0 > 900.0) & (time_s % 40.0 > 6.0)
    axis = 100.0 + 60.0 * np.sin(time_s[:, None] / [3.1, 4.3])
    numbers = {
        **batch.numbers,
        "motion.x_mm": np.round(axis[:, 0], 2),
        "motion.y_mm": np.round(axis[:, 1], 2),
        "motion.speed_mm_s": np.where(is_moving, np.round(rng.uniform(30.0, 90.0, len(batch))), 0),
        "fan.speed": np.where(time_s % 7200.0 > 1200.0, 0.6, 0.0),
    }
    return Batch(time_s, numbers)


def write(path: Path, batch: Batch) -> None:
    keys = list(batch.numbers)
    table = np.column_stack([batch.time_s, *batch.numbers.values()])
    np.savetxt(path, table, "%.10g", ",", header=",".join(["time_s", *keys]), comments="")


class Spent:
    """CPU seconds by part."""

    def __init__(self) -> None:
        self.parts: dict[str, float] = {}

    @contextlib.contextmanager
    def on(self, part: str) -> Iterator[None]:
        begun_s = time.process_time()
        yield
        self.parts[part] = self.parts.get(part, 0.0) + time.process_time() - begun_s


def judged(path: Path) -> Spent:
    """What `judge` does, with a clock on each part."""
    spent = Spent()
    with spent.on("opening"):
        log = open_logs([path])
    watch = LogWatch(log.chains, starts_of(log.meta))
    batches = iter(log.batches())
    while True:
        with spent.on("reading and mapping"):
            batch = next(batches, None)
        if batch is None:
            break
        with spent.on("detecting"):
            watch.feed(batch)
    with spent.on("detecting"):
        watch.finish()
    with spent.on("judging"):
        Judge(log.chains).judged(watch.found(), noted(log.notes))
    log.close()
    return spent


def quietly(what: Callable[[], T]) -> T:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        return what()


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        plain, path = Path(folder) / "night.csv", Path(folder) / "night.ohmv"
        batch = printed(heated(night(ROWS, HEATERS)))
        write(plain, batch)
        quietly(lambda: tui.main.run(["import", str(plain), "-o", str(path)]))
        runs = [judged(path) for _ in range(3)]
    spent = min(runs, key=lambda each: sum(each.parts.values()))
    rows = len(batch) * (1 + len(batch.numbers))
    print(f"12 h, {HEATERS} heaters, {rows / 1e6:.1f} M numbers: {sum(spent.parts.values()):.2f} s")
    for part, seconds in spent.parts.items():
        print(f"  {part:<20} {seconds:.2f} s")


if __name__ == "__main__":
    main()
