"""A watch of a week keeps no more than a watch of a day, but for its events."""

import gc
from typing import Any

import numpy as np
import pytest

from detectors.book import EventBook
from detectors.engine.watch import Watch
from shared.chain import EXAMPLE
from shared.updates import Batch

HOUR_S = 3600.0


def hour(number: int) -> Batch:
    """An hour of a machine that prints, rests and cools, with a few odd readings in each."""
    rng = np.random.default_rng(number)
    time_s = number * HOUR_S + np.arange(0.0, HOUR_S)
    prints = (time_s // HOUR_S) % 3.0 < 2.0
    power = np.where(prints, np.where(time_s % 60.0 < 20.0, 1.0, 0.0), 0.0)
    celsius = np.where(prints, 210.0, 23.0) + rng.normal(0.0, 0.1, len(time_s))
    odd = rng.integers(0, len(time_s), 3)
    celsius[odd] += rng.choice([-40.0, 60.0], 3)
    moves = prints & (time_s % 90.0 > 20.0)
    return Batch(
        time_s,
        {
            "nozzle.temperature_c": np.round(celsius, 2),
            "nozzle.target_c": np.where(prints, 210.0, 0.0),
            "nozzle.power": power,
            "chamber.temperature_c": np.round(24.0 + rng.normal(0.0, 0.05, len(time_s)), 2),
            "motion.x_mm": np.where(moves, 100.0 * rng.random(len(time_s)), 10.0),
            "motion.speed_mm_s": np.where(moves, 80.0, 0.0),
            "fan.speed": np.round(rng.random(1) * 10.0).repeat(len(time_s)) / 10.0,
            "controller.uptime_s": time_s + 500.0,
        },
    )


def held(watch: Watch) -> int:
    """Bytes of arrays and places in containers that a watch holds, its events left out."""
    seen: set[int] = set()
    total = 0
    waiting: list[Any] = [watch]
    while waiting:
        one = waiting.pop()
        is_code = isinstance(one, type) or callable(one)
        if id(one) in seen or is_code or isinstance(one, EventBook):
            continue
        seen.add(id(one))
        if isinstance(one, np.ndarray):
            total += one.nbytes // 8
        elif hasattr(one, "__len__"):
            total += len(one)
        waiting += gc.get_referents(one)
    return total


@pytest.mark.slow
def test_memory_is_flat_over_a_week() -> None:
    """After seven days as after two: within a tenth, arrays behind the windows included."""
    watch = Watch({"nozzle": EXAMPLE})
    sizes = []
    for number in range(7 * 24):
        watch.feed(hour(number))
        if number % 24 == 23:
            # The same hour of the print each day.
            sizes.append(held(watch))
    assert len(watch.events) > 20
    assert max(sizes[2:]) < 1.1 * max(sizes[:2])
