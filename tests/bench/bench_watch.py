"""Speed of the watch: all detectors over a night, as ratios in one run.

    python -m tests.bench.bench_watch

Times are CPU time, the best of three. Twelve hours of 20 channels at 4 Hz, against the
least that NumPy needs for an EWMA, a CUSUM and a rate check in blocks of 4,096, and against
a streaming scorer of `river` (if it is installed: `pip install river`). The channels report
degrees only; heaters, of which a machine has a few, have a target and a power besides, and
more is asked of them.
"""

import importlib.util
import time
from typing import Any

import numpy as np

from detectors.engine.watch import Watch
from shared.updates import Batch, Floats, Update, batch_of, updates_of

CHANNELS = 20
ROWS = 12 * 3600 * 4
BLOCK = 4096
ROUNDS = 3


def night(rows: int, channels: int) -> Batch:
    """A quiet night: held temperatures with noise and slow ripple, rounded to 0.01 °C."""
    rng = np.random.default_rng(1)
    time_s = np.arange(rows, dtype=np.float64) * 0.25
    ripple = 0.2 * np.sin(time_s / 9.0)
    numbers = {
        f"c{k}.temperature_c": np.round(60.0 + 8.0 * k + ripple + rng.normal(0.0, 0.05, rows), 2)
        for k in range(channels)
    }
    return Batch(time_s, numbers)


def heated(batch: Batch) -> Batch:
    """The same channels as heaters that hold a target with power that is regulated smoothly."""
    rng = np.random.default_rng(2)
    numbers = dict(batch.numbers)
    for k, key in enumerate(batch.numbers):
        name = key.partition(".")[0]
        numbers[f"{name}.target_c"] = np.full(len(batch), 60.0 + 8.0 * k)
        numbers[f"{name}.power"] = np.round(0.4 + rng.normal(0.0, 0.02, len(batch)), 3)
    return Batch(batch.time_s, numbers)


def numpy_limit(values: Floats) -> float:
    """EWMA, two-sided CUSUM and a rate check in blocks; the largest statistic of all."""
    worst = 0.0
    weights = 0.7 ** np.arange(BLOCK)[::-1]
    ewma = float(values[0])
    for start in range(0, len(values), BLOCK):
        block = values[start : start + BLOCK]
        part = weights[-len(block) :]
        ewma = 0.7 ** len(block) * ewma + 0.3 * float(part @ block)
        error = (block - ewma) / 0.05
        for side in (error, -error):
            total = np.cumsum(side - 0.5)
            worst = max(worst, float((total - np.minimum.accumulate(total)).max()))
        worst = max(worst, float(np.abs(np.diff(block)).max()), abs(ewma - 60.0))
    return worst


def seconds_of_watch(batch: Batch) -> float:
    start = time.process_time()
    watch = Watch({})
    watch.feed(batch)
    watch.finish()
    return time.process_time() - start


def seconds_of_numpy(batch: Batch) -> float:
    start = time.process_time()
    for values in batch.numbers.values():
        numpy_limit(values)
    return time.process_time() - start


def live_cost(updates: list[Update]) -> float:
    """Seconds for updates fed one by one, as live."""
    watch = Watch({})
    start = time.process_time()
    for update in updates:
        watch.feed(batch_of([update]))
    return time.process_time() - start


def river_rate(values: Floats) -> float:
    """Samples a second of one streaming scorer of river."""
    from river import anomaly

    scorer: Any = anomaly.GaussianScorer(window_size=400)
    start = time.process_time()
    for value in values.tolist():
        scorer.score_one(None, value)
        scorer.learn_one(None, value)
    return len(values) / (time.process_time() - start)


def main() -> None:
    batch = night(ROWS, CHANNELS)
    samples = ROWS * CHANNELS
    watch_s = min(seconds_of_watch(batch) for _ in range(ROUNDS))
    numpy_s = min(seconds_of_numpy(batch) for _ in range(ROUNDS))
    print(f"12 h x {CHANNELS} channels at 4 Hz, all detectors: {watch_s:.2f} s")
    print(f"  {samples / watch_s / 1e6:.2f} M samples/s")
    print(f"  {watch_s / numpy_s:.1f} times the NumPy limit ({samples / numpy_s / 1e6:.1f} M/s)")
    few = night(ROWS, 4)
    few_s = min(seconds_of_watch(few) for _ in range(ROUNDS))
    print(f"12 h x 4 channels: {few_s:.2f} s")
    hot_s = min(seconds_of_watch(heated(few)) for _ in range(ROUNDS))
    print(f"12 h x 4 heaters with target and power: {hot_s:.2f} s")
    print(f"  {ROWS * 4 / hot_s / 1e6:.2f} M samples/s")
    updates = updates_of(night(4000, 8))
    live_s = min(live_cost(updates) for _ in range(ROUNDS))
    print(
        f"live, one update of 8 channels at a time: {live_s / len(updates) / 8 * 1e6:.1f} us/sample"
    )
    if importlib.util.find_spec("river") is None:
        print("river is not installed: no comparison (pip install river)")
        return
    rate = river_rate(batch.numbers["c0.temperature_c"][:20_000])
    print(f"  {samples / watch_s / rate:.1f} times the samples/s of river's GaussianScorer")


if __name__ == "__main__":
    main()
