"""What surrounds a machine: the room that drifts, draughts, and doors.

Ranges are judgement: rooms of 12 to 32 °C that move up to 3 K over a day and some tenths in
minutes; a draught changes what a heater loses by 2 to 8 % (one sd), a
door what walls pass by 3 to 12.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from shared.updates import Floats
from tests.quality.worlds.machine import Machine, Rng


@dataclass(frozen=True, slots=True)
class Around:
    """On the grid of steps: room, °C; what losses are multiplied with; what walls are."""

    room_c: Floats
    draught: Floats
    open_times: Floats
    doors: int


def wander(rng: Rng, count: int, steps: float) -> Floats:
    """A series of unit spread that forgets over so many steps (first-order Gauss–Markov)."""
    keep = float(np.exp(-1.0 / max(steps, 1e-3)))
    drive = rng.standard_normal(count) * np.sqrt(1.0 - keep * keep)
    made, _ = lfilter([1.0], [1.0, -keep], drive, zi=[keep * rng.standard_normal()])
    return np.asarray(made, dtype=np.float64)


def draw_around(rng: Rng, machine: Machine, count: int) -> Around:
    """Surroundings for so many steps."""
    step_s = machine.step_s
    time_s = np.arange(count) * step_s
    slow = np.sin(2.0 * np.pi * (time_s / 86_400.0 + rng.random())) * rng.uniform(0.0, 3.0)
    room_c = rng.uniform(12.0, 32.0) + slow
    room_c = room_c + rng.uniform(0.0, 0.3) * wander(rng, count, 600.0 / step_s)
    rough = float(rng.choice([0.0, 0.02, 0.04, 0.08])) * (0.4 if machine.is_closed else 1.0)
    draught = 1.0 + rough * wander(rng, count, rng.uniform(5.0, 120.0) / step_s)
    open_times = np.ones(count)
    doors = int(rng.poisson(0.5 * time_s[-1] / 3600.0)) if machine.is_closed else 0
    for _ in range(doors):
        at = int(rng.integers(count))
        open_times[at : at + int(rng.uniform(10.0, 240.0) / step_s)] = rng.uniform(3.0, 12.0)
    return Around(room_c, np.maximum(draught, 0.5), open_times, doors)
