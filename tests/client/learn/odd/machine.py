"""A machine that heats, in small steps, so that what is true is known at each of them."""

import math
import random
from dataclasses import dataclass, field
from typing import Literal

from shared.platinum import ohms

STEP_S = 0.25
AMBIENT_C = 22.4
Life = Literal["heating", "holding", "cold"]
"""What goes on while one listens: the nozzle heats up, holds its target, or all is off."""


@dataclass
class Heated:
    """First order, proportional control, measured with noise."""

    name: str
    chance: random.Random
    goal: float
    at: float
    reach_k: float
    """Degrees above the room that full power holds."""
    slow_s: float
    power: float = 0.0
    shown: float = field(init=False)

    def __post_init__(self) -> None:
        self.shown = self.at

    def step(self) -> None:
        hold = (self.goal - AMBIENT_C) / self.reach_k
        error = self.goal - self.shown
        self.power = min(max(hold + error / 25.0, 0.0), 1.0) if self.goal else 0.0
        away = AMBIENT_C + self.power * self.reach_k - self.at
        self.at += away * STEP_S / self.slow_s
        self.shown = self.at + self.chance.gauss(0.0, 0.07)


@dataclass
class Machine:
    """Nozzle, bed and an unheated chamber; a carriage that moves; clocks."""

    life: Life = "heating"
    seed: int = 1
    n: int = -1
    """Steps since the listening began; the first message is of step 0."""
    heaters: dict[str, Heated] = field(default_factory=dict)
    x: float = 10.0
    y: float = 20.0
    z: float = 0.2
    booted_s: float = 812.5
    """How long the host had been running."""
    began_s: float = 1.79e9
    """Wall time at which the listening began."""

    def __post_init__(self) -> None:
        chance = random.Random(self.seed)
        hot = {"heating": 30.0, "holding": 210.0, "cold": AMBIENT_C}[self.life]
        warm = {"heating": 59.0, "holding": 60.0, "cold": AMBIENT_C - 0.2}[self.life]
        goals = (0.0, 0.0) if self.life == "cold" else (210.0, 60.0)
        self.heaters = {
            "nozzle": Heated("nozzle", chance, goals[0], hot, 330.0, 70.0),
            "bed": Heated("bed", chance, goals[1], warm, 90.0, 200.0),
            "chamber": Heated("chamber", chance, 0.0, AMBIENT_C + 1.3, 1.0, 900.0),
        }
        if self.life == "heating":
            self.nozzle.goal = 0.0
        self.chance = chance

    @property
    def nozzle(self) -> Heated:
        return self.heaters["nozzle"]

    @property
    def bed(self) -> Heated:
        return self.heaters["bed"]

    @property
    def chamber(self) -> Heated:
        return self.heaters["chamber"]

    @property
    def up_s(self) -> float:
        """Seconds since the host started."""
        return self.booted_s + self.n * STEP_S

    @property
    def wall_s(self) -> float:
        """Seconds since 1970."""
        return self.began_s + self.n * STEP_S

    @property
    def ohm(self) -> float:
        """Resistance of the nozzle's Pt100."""
        return ohms(self.nozzle.shown)

    @property
    def code(self) -> int:
        """Code of an 18 bit converter with a 412 Ω reference."""
        return round(self.ohm / 412.0 * 2**18)

    def step(self) -> "Machine":
        self.n += 1
        if self.life == "heating" and self.n == 12:
            self.nozzle.goal = 210.0
        for heater in self.heaters.values():
            heater.step()
        if self.life != "cold":
            self.x = 100.0 + 60.0 * math.sin(self.n * 0.35)
            self.y = 90.0 + 40.0 * math.cos(self.n * 0.5)
        return self
