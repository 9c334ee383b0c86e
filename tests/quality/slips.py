"""How small a slip `drift` finds in a print, against what the host reports.

    python -m tests.quality.slips [--seed N] [--prints N]

A sensor that works its way out of its seat over two of six hours' printing, in the third physics
(`tests.quality.otherwise.heat`): fan, flow, air and the height over the bed change all the time,
each as a machine may, and none of them is known to the detector but by what the host reports.
"""

import argparse
import sys
from collections.abc import Iterable

import numpy as np

from detectors.engine.watch import Watch
from shared.updates import Batch, Floats
from shared.words import Kind
from tests.quality.otherwise.heat import Control, Disturbance, Plant, run

STEP_S, HOURS, FROM_H, OVER_H = 0.5, 6.0, 2.0, 2.0
TARGET_C, ROOM_C = 210.0, 22.0
SIZES_K = (0.0, 8.0, 12.0, 16.0, 20.0, 30.0, 45.0)
REPORTS = (
    ("fan", "motion", "feed", "chamber"),
    ("fan", "motion", "chamber"),
    ("motion",),
)
CALM_C, ROUGH_C = 0.03, 0.2
"""Noise of a reading, K: a loop turns it into power."""


def printed(seed: int, slip_k: float, noise_c: float, reports: Iterable[str]) -> Batch:
    """Six hours of one print as its host tells it; `slip_k`: how low it reads in the end."""
    rng = np.random.default_rng(seed)
    count = int(HOURS * 3600 / STEP_S)
    time_s: Floats = np.arange(count, dtype=np.float64) * STEP_S
    room = ROOM_C + 3.0 * np.sin(2 * np.pi * time_s / 86400 + rng.uniform(0, 6))
    room += 6.0 * rng.uniform(0.2, 1.0) * (1.0 - np.exp(-time_s / 2400))
    prints = time_s > 240.0
    fan = np.where(prints, _steps(rng, count, 300.0, 0.3, 1.0), 0.0)
    flow = _steps(rng, count, 40.0, 0.0, 1.0) * _steps(rng, count, 900.0, 0.4, 1.0) * prints
    none = np.zeros(count)
    slip = np.clip((time_s / 3600 - FROM_H) / OVER_H, 0, 1) * slip_k / (TARGET_C - ROOM_C)
    noise = rng.normal(0.0, noise_c, count)
    trouble = Disturbance(
        noise, none, none, np.full(count, np.nan), none > 0.0, slip, np.ones(count), none
    )
    watts = float(rng.choice([40.0, 50.0, 60.0]))
    plant = Plant(
        watts,
        wire_j=3.0,
        block_j=rng.uniform(10, 20),
        joint_w_k=3.0,
        loss_w_k=watts * rng.uniform(0.25, 0.4) / 200,
        radiating_m2=1e-3,
        sensor_lag_s=rng.uniform(1.0, 3.5),
        fan_w_k=watts * rng.uniform(0.02, 0.12) / 200,
        fan_height_mm=rng.uniform(5, 200),
        melt_watts=rng.uniform(1.0, 5.0),
    )
    control = Control("pid", rng.uniform(15, 25), rng.uniform(30, 90), rng.uniform(0, 4))
    goal, height = np.full(count, TARGET_C), np.linspace(0.2, 80.0, count)
    course = run(plant, control, goal, room, fan, height, flow, trouble, STEP_S)
    told = {
        "fan": {"fan.speed": np.round(fan, 2)},
        "motion": {"motion.speed_mm_s": np.where(prints, 60.0 + 40.0 * flow, 0.0)},
        "feed": {"motion.feed_mm_s": np.round(4.0 * flow, 2)},
        "chamber": {"chamber.temperature_c": np.round(room + rng.normal(0, 0.05, count), 1)},
    }
    numbers = {
        "nozzle.temperature_c": np.round(course.read_c, 2),
        "nozzle.target_c": goal,
        "nozzle.power": np.round(course.asked, 3),
    }
    for name in reports:
        numbers |= told[name]
    return Batch(time_s, numbers)


def _steps(rng: np.random.Generator, count: int, mean_s: float, low: float, high: float) -> Floats:
    """A level that is drawn anew after times that are exponential about `mean_s`."""
    found, at = np.zeros(count), 0
    while at < count:
        rows = int(rng.exponential(mean_s) / STEP_S) + 1
        found[at : at + rows] = rng.uniform(low, high)
        at += rows
    return found


def is_found(batch: Batch) -> bool:
    """Whether the nozzle's drift is told."""
    watch = Watch()
    watch.feed(batch)
    watch.finish()
    return any(event.kind is Kind.DRIFT and event.channel == "nozzle" for event in watch.events)


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.quality.slips")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--prints", type=int, default=10, help="prints of each size")
    options = parser.parse_args()
    seeds = range(options.seed, options.seed + options.prints)
    print("slip, K".ljust(38), *(f"{size:>5g}" for size in SIZES_K))
    for reports in REPORTS:
        for words, noise_c in (("calm", CALM_C), ("rough", ROUGH_C)):
            hits = [
                sum(is_found(printed(seed, size, noise_c, reports)) for seed in seeds)
                for size in SIZES_K
            ]
            print(f"{', '.join(reports)}; {words}".ljust(38), *(f"{hit:>5}" for hit in hits))
    return 0


if __name__ == "__main__":
    sys.exit(main())
