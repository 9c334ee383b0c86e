"""A machine drawn at random: its heaters, its air, and how each heater is held.

Ranges: watts, heat capacities and losses are of common desktop machines and of larger ones, from
memory and from what metal weighs (aluminium 0.90 J/(g K), brass 0.38, handbook values);
controls are tuned as common practice has it, by the heater's own rate and dead time.
"""

from dataclasses import dataclass, replace

import numpy as np

from tests.quality.worlds.control import Settings, Way
from tests.quality.worlds.heat import Body

Rng = np.random.Generator

NOZZLES = ("nozzle", "melter", "hot end")
BEDS = ("bed", "plate", "build plate")
AIRS = ("chamber", "enclosure", "air")
HOTTEST_C = {"nozzle": 300.0, "bed": 115.0, "chamber": 70.0}
"""What a heater of a role can hold, °C: a machine that cannot is no healthy one."""
FASTEST_K_S = 7.0
"""Fastest heat-up, K/s: small ceramic heaters reach about that (memory)."""

SLOWEST_K_S = 0.008
"""Slowest heat-up of a chamber, K/s (memory: some take an hour)."""


@dataclass(frozen=True, slots=True)
class Heater:
    """One heater: its channel's name, its role, what it is and how it is held."""

    name: str
    role: str
    body: Body
    settings: Settings


@dataclass(frozen=True, slots=True)
class Machine:
    """Heaters, and sensors without one; the air they stand in.

    air_j_k      heat capacity of the air and what it touches, J/K
    wall_w_k     what its walls pass to the room, W/K
    together_w_k what a nozzle passes to its neighbour, W/K
    """

    heaters: tuple[Heater, ...]
    passive: tuple[tuple[str, str], ...]
    """Name and role of sensors without a heater."""
    is_closed: bool
    air_j_k: float
    wall_w_k: float
    together_w_k: float
    step_s: float

    @property
    def names(self) -> tuple[str, ...]:
        return (*(each.name for each in self.heaters), *(name for name, _ in self.passive))

    def heater(self, name: str) -> Heater | None:
        return next((each for each in self.heaters if each.name == name), None)

    def of_role(self, role: str) -> Heater | None:
        return next((each for each in self.heaters if each.role == role), None)


def log_uniform(rng: Rng, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def draw_machine(rng: Rng, step_s: float) -> Machine:
    """One nozzle or two (25 %), a bed (90 %), a heated chamber (12 %), further sensors."""
    word = str(rng.choice(NOZZLES))
    heaters = [_heater(rng, word, "nozzle")]
    if rng.random() < 0.25:
        heaters.append(_heater(rng, f"{word} 2", "nozzle"))
    if rng.random() < 0.9:
        heaters.append(_heater(rng, str(rng.choice(BEDS)), "bed"))
    is_closed = bool(rng.random() < 0.55)
    air_j_k = log_uniform(rng, 3000.0, 40_000.0) if is_closed else 800.0
    wall_w_k = float(rng.uniform(2.0, 8.0)) if is_closed else float(rng.uniform(30.0, 120.0))
    passive = []
    if is_closed and rng.random() < 0.22:
        heaters.append(_warms(_heater(rng, str(rng.choice(AIRS)), "chamber"), air_j_k, wall_w_k))
    elif rng.random() < 0.5 or len(heaters) == 1:
        passive.append((str(rng.choice(AIRS)), "air"))
    if rng.random() < 0.2:
        passive.append(("frame", "frame"))
    return Machine(
        heaters=tuple(heaters),
        passive=tuple(passive),
        is_closed=is_closed,
        air_j_k=air_j_k,
        wall_w_k=wall_w_k,
        together_w_k=log_uniform(rng, 0.001, 0.012),
        step_s=step_s,
    )


def _heater(rng: Rng, name: str, role: str) -> Heater:
    body = {"nozzle": _nozzle, "bed": _bed, "chamber": _chamber}[role](rng)
    return Heater(name, role, body, _settings(rng, role, body))


def _nozzle(rng: Rng) -> Body:
    """25–90 W in 6–45 J/K (15 to 100 g of metal); holds 200 °C with 12–40 % of its power."""
    block = log_uniform(rng, 6.0, 45.0)
    watts = min(float(rng.uniform(25.0, 90.0)), FASTEST_K_S * block)
    glow = float(rng.uniform(2e-4, 2e-3))
    share = float(rng.uniform(0.12, 0.4))
    body = Body(
        watts=watts,
        wire_j_k=float(rng.uniform(1.5, 5.0)),
        block_j_k=block,
        joint_w_k=float(rng.uniform(1.2, 5.0)),
        loss_w_k=watts * share / 180.0,
        radiating_m2=glow,
        far_j_k=float(rng.uniform(5.0, 40.0)),
        far_w_k=float(rng.uniform(0.005, 0.04)),
        far_loss_w_k=float(rng.uniform(0.1, 0.5)),
        fan_w_k=watts * share / 180.0 * float(rng.uniform(0.0, 0.25)),
        lag_s=log_uniform(rng, 0.5, 5.0),
    )
    return _strong(body, HOTTEST_C["nozzle"])


def _bed(rng: Rng) -> Body:
    """80–900 W on 0.3–3 kg of aluminium, with a sheet of steel or glass on it."""
    block = log_uniform(rng, 270.0, 2700.0)
    watts = min(max(block * float(rng.uniform(0.15, 0.8)), 80.0), 900.0)
    body = Body(
        watts=watts,
        wire_j_k=float(rng.uniform(20.0, 100.0)),
        block_j_k=block,
        joint_w_k=float(rng.uniform(10.0, 40.0)),
        loss_w_k=watts * float(rng.uniform(0.2, 0.5)) / 90.0,
        radiating_m2=float(rng.uniform(0.0, 0.05)),
        far_j_k=float(rng.uniform(100.0, 800.0)),
        far_w_k=float(rng.uniform(2.0, 15.0)),
        far_loss_w_k=float(rng.uniform(0.1, 1.0)),
        fan_w_k=watts * float(rng.uniform(0.0, 0.03)) / 90.0,
        lag_s=log_uniform(rng, 1.0, 15.0),
    )
    return _strong(body, HOTTEST_C["bed"])


def _chamber(rng: Rng) -> Body:
    """A fan heater of 100–400 W; its sensor hangs in the air."""
    watts = float(rng.uniform(100.0, 400.0))
    return Body(
        watts=watts,
        wire_j_k=float(rng.uniform(10.0, 50.0)),
        block_j_k=float(rng.uniform(50.0, 300.0)),
        joint_w_k=float(rng.uniform(5.0, 20.0)),
        loss_w_k=float(rng.uniform(4.0, 12.0)),
        radiating_m2=0.0,
        far_j_k=100.0,
        far_w_k=0.1,
        far_loss_w_k=0.1,
        fan_w_k=0.0,
        lag_s=float(rng.uniform(5.0, 40.0)),
        senses_air=True,
    )


def _warms(heater: Heater, air_j_k: float, wall_w_k: float) -> Heater:
    """The same chamber heater, able to hold its hottest and to bring half a kelvin a minute."""
    asked = max(wall_w_k * (HOTTEST_C["chamber"] - 15.0) / 0.75, SLOWEST_K_S * air_j_k)
    body = replace(heater.body, watts=max(heater.body.watts, asked))
    return replace(heater, body=body)


def _strong(body: Body, hottest_c: float) -> Body:
    """The same heater with power enough to hold its hottest with 75 % of it, fan on."""
    asked = body.holding_w(hottest_c, 20.0) + body.fan_w_k * (hottest_c - 20.0)
    return replace(body, watts=max(body.watts, asked / 0.75))


def _settings(rng: Rng, role: str, body: Body) -> Settings:
    """Gains from the rate at full power and the dead time (common practice)."""
    chances = {"nozzle": (0.08, 0.12, 0.8), "bed": (0.4, 0.1, 0.5), "chamber": (0.7, 0.1, 0.2)}
    ways: tuple[Way, ...] = ("on-off", "proportional", "pid")
    way = ways[int(rng.choice(3, p=chances[role]))]
    every_s = float(rng.choice([0.1, 0.2, 0.5, 1.0], p=[0.4, 0.2, 0.2, 0.2]))
    slow = {
        "nozzle": (0.0, 0.0, 0.0, 1.0),
        "bed": (0.0, 0.0, 1.0, 2.0, 5.0),
        "chamber": (0.0, 10.0),
    }
    # Seldom a multiple of a host's period: or each instant that is told would be the same.
    window_s = float(rng.choice(slow[role])) * float(rng.uniform(0.85, 1.15))
    rate = body.watts / (body.wire_j_k + body.block_j_k)
    dead_s = body.lag_s + body.wire_j_k / body.joint_w_k + every_s + 0.25 * window_s
    if role == "chamber":
        rate, dead_s = body.watts / 8000.0, dead_s + body.block_j_k / body.loss_w_k
    middle_c = 0.7 * HOTTEST_C[role]
    bands = {"nozzle": (0.2, 1.0), "bed": (0.2, 2.0), "chamber": (0.3, 1.5)}
    return Settings(
        way=way,
        every_s=every_s,
        band_k=float(rng.uniform(*bands[role])),
        gain_1_k=float(rng.uniform(0.2, 0.6)) / (rate * dead_s),
        reset_s=dead_s * float(rng.uniform(6.0, 20.0)),
        rate_s=dead_s * float(rng.uniform(0.0, 0.5)),
        hold=body.holding_w(middle_c, 25.0) / body.watts / (middle_c - 25.0),
        window_s=0.0 if way == "on-off" else window_s,
        most=float(rng.choice([1.0, 1.0, 1.0, 0.9])),
        levels=int(rng.choice([0, 0, 100, 255, 20])),
    )
