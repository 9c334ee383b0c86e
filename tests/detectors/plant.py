"""A heater of another make than the simulated host's: one mass, a lagging sensor, plain numbers.

Made for detector tests only, so that no detector is fitted to one physics.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from shared.chain import EXAMPLE, Chain
from shared.converter import code_of
from shared.platinum import ohms
from shared.updates import Update, Value

Disturb = Callable[[float, float], float]
"""Time and true Ω to Ω at the converter."""


@dataclass(frozen=True, slots=True)
class Plant:
    """How the machine is and what its host sends."""

    period_s: float = 0.25
    full_c_s: float = 4.0
    """Rise at full power from the room, K/s."""
    loss_per_s: float = 0.012
    """Share of the heat above the room that is lost each second."""
    lag_s: float = 1.5
    regulation: str = "proportional"
    """`proportional` or `on-off`."""
    with_code: bool = True
    only_changes: bool = False
    rounding_c: float = 0.01
    noise_codes: float = 0.6
    noise_c: float = 0.0
    """Noise in K where no code is reported."""
    late: float = 0.01
    """Share of updates that leave late, by up to 0.8 s."""
    chain: Chain = EXAMPLE
    targets: Mapping[float, float] = field(
        default_factory=lambda: {0.0: 0.0, 20.0: 210.0, 400.0: 240.0, 560.0: 180.0, 700.0: 0.0}
    )
    """Target by the time from which it holds."""


def log_of(
    plant: Plant, seconds: float, seed: int, disturb: Disturb = lambda _, ohm: ohm
) -> list[Update]:
    """Updates of one heater, `nozzle`, with motion and an uptime, over `seconds`."""
    rng = np.random.default_rng(seed)
    chain, step_s = plant.chain, 0.05
    block_c = sensor_c = 22.0
    target_c = power = integral = 0.0
    last: dict[str, Value] = {}
    updates: list[Update] = []
    next_s, sent_s = 0.0, -1.0
    for tick in range(int(seconds / step_s)):
        time_s = tick * step_s
        for from_s, value in plant.targets.items():
            if from_s <= time_s:
                target_c = value
        if tick % 2 == 0:
            error = target_c - sensor_c
            if target_c <= 0.0:
                power = integral = 0.0
            elif plant.regulation == "on-off":
                power = 1.0 if error > 0.5 else 0.0 if error < -0.5 else power
            else:
                feed = plant.loss_per_s * (target_c - 22.0) / plant.full_c_s
                integral = min(max(integral + 0.0005 * error, -0.2), 0.2) if abs(error) < 8 else 0.0
                power = min(max(feed + 0.08 * error + integral, 0.0), 1.0)
        fan = 1.15 if math.sin(time_s / 37.0) > 0.3 else 1.0
        loss = plant.loss_per_s * fan * (block_c - 22.0)
        block_c += step_s * (power * plant.full_c_s - loss)
        sensor_c += step_s * (block_c - sensor_c) / plant.lag_s
        if time_s < next_s:
            continue
        next_s += plant.period_s
        leave_s = time_s + float(rng.uniform(0.0, 0.03))
        if rng.random() < plant.late:
            leave_s += float(rng.uniform(0.0, 0.8)) * min(plant.period_s / 0.25, 1.0)
        sent_s = max(leave_s, sent_s + 0.001)
        ohm = disturb(time_s, ohms(sensor_c, chain.r0_ohm))
        values = _values(plant, ohm, rng)
        values["nozzle.target_c"], values["nozzle.power"] = target_c, round(power, 3)
        values["motion.speed_mm_s"] = 80.0 if (int(time_s) // 20) % 2 else 0.0
        values["controller.uptime_s"] = round(1000.0 + time_s, 2)
        sent = {key: v for key, v in values.items() if last.get(key) != v}
        last = values
        updates.append(Update(sent_s, sent if plant.only_changes else values))
    return updates


def _values(plant: Plant, ohm: float, rng: np.random.Generator) -> dict[str, Value]:
    chain = plant.chain
    noise_ohm = float(rng.normal(0.0, plant.noise_codes)) * chain.step_ohm
    noise_ohm += float(rng.normal(0.0, 1.0)) * plant.noise_c * chain.r0_ohm * 3.735e-3
    code = code_of(max(ohm + noise_ohm, 0.0), chain.reference_ohm, chain.bits)
    ratio = code * chain.step_ohm / chain.r0_ohm
    a, b = 3.9083e-3, -5.775e-7
    celsius = (-a + math.sqrt(max(a * a - 4.0 * b * (1.0 - ratio), 0.0))) / (2.0 * b)
    values: dict[str, Value] = {
        "nozzle.temperature_c": round(round(celsius / plant.rounding_c) * plant.rounding_c, 6)
    }
    if plant.with_code:
        values["nozzle.code"] = float(code)
    return values
