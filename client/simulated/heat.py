"""Heat: blocks of two masses with a heater, air, and the electronics, in plain floats.

All steps are explicit Euler: at 0.05 s against time constants of 3 s and more the error
stays below 1 %, and the closed form of a single mass is met within 0.05 % (tested).
"""

from collections import deque
from dataclasses import dataclass

from client.simulated.rhythm import STEP_S


@dataclass(frozen=True, slots=True)
class BlockFacts:
    """A heater with its block (core) and what the sensor sits in (tip). Our assumptions."""

    watts: float
    """Heat at full power, W."""
    core_j_k: float
    tip_j_k: float
    couple_w_k: float
    """Coupling of core and tip, W/K."""
    core_loss_w_k: float
    tip_loss_w_k: float
    core_fan_w_k: float
    """Further loss of the core at full fan, W/K."""
    tip_fan_w_k: float
    flow_w_k: float
    """Heat carried off by material while printing, W/K, at the tip."""
    dead_s: float
    """Dead time between power and heat."""


NOZZLE = BlockFacts(50.0, 14.0, 1.6, 0.55, 0.075, 0.012, 0.018, 0.006, 0.016, 1.0)
BED = BlockFacts(280.0, 640.0, 60.0, 8.0, 1.7, 0.15, 0.15, 0.0, 0.0, 1.5)


class HotBlock:
    """Heater, block and tip, at temperatures `core_c` and `tip_c`."""

    __slots__ = ("_queue", "air_w_k", "core_c", "facts", "is_broken", "left", "step_s", "tip_c")

    def __init__(self, facts: BlockFacts, celsius: float, step_s: float = STEP_S) -> None:
        self.facts = facts
        self.core_c = self.tip_c = celsius
        self.step_s = step_s
        self._queue: deque[float] = deque([0.0] * round(facts.dead_s / step_s))
        self.is_broken = False
        """Whether the heater's circuit is open."""
        self.left = 1.0
        """Part of the coupling that a slipped sensor has left."""
        self.air_w_k = 0.0
        """Coupling to the air that a slipped sensor has gained, W/K."""

    def settle(self, tip_c: float, air_c: float) -> float:
        """Rest at this tip temperature, and give the power (0…1) that holds it."""
        facts = self.facts
        tip_w = facts.tip_loss_w_k * (tip_c - air_c)
        self.tip_c = tip_c
        self.core_c = tip_c + tip_w / facts.couple_w_k
        power = (tip_w + facts.core_loss_w_k * (self.core_c - air_c)) / facts.watts
        self._queue = deque([power] * len(self._queue))
        return power

    def step(self, power: float, air_c: float, fan: float, flow: float) -> None:
        """One step: power and fan 0…1, flow of material 0…1."""
        facts = self.facts
        queue = self._queue
        if queue:
            queue.append(power)
            power = queue.popleft()
        core_c, tip_c = self.core_c, self.tip_c
        heat_w = 0.0 if self.is_broken else power * facts.watts
        across_w = facts.couple_w_k * self.left * (core_c - tip_c)
        core_loss = facts.core_loss_w_k + facts.core_fan_w_k * fan
        tip_loss = facts.tip_loss_w_k + facts.tip_fan_w_k * fan + self.air_w_k
        # A sensor out of its seat is no longer cooled by the material that passes the tip.
        drawn = facts.flow_w_k * flow
        tip_drawn = drawn * self.left
        step_s = self.step_s
        self.core_c = core_c + step_s / facts.core_j_k * (
            heat_w - across_w - (core_loss + drawn - tip_drawn) * (core_c - air_c)
        )
        self.tip_c = tip_c + step_s / facts.tip_j_k * (
            across_w - (tip_loss + tip_drawn) * (tip_c - air_c)
        )


class Air:
    """Air of the chamber, warmed by the bed and the block, and leaking into the room."""

    __slots__ = ("celsius",)

    J_K = 900.0
    FROM_BED_W_K = 0.5
    LEAK_W_K = 2.4

    def __init__(self, celsius: float) -> None:
        self.celsius = celsius

    def step(self, step_s: float, room_c: float, bed_c: float, nozzle_w: float) -> None:
        flow_w = self.FROM_BED_W_K * (bed_c - self.celsius) + 0.5 * nozzle_w
        self.celsius += step_s / self.J_K * (flow_w - self.LEAK_W_K * (self.celsius - room_c))


class Electronics:
    """The controller's board: its own heat, more of it while motors run."""

    __slots__ = ("celsius",)

    J_K = 40.0
    LOSS_W_K = 0.2
    IDLE_W = 0.12
    MOTORS_W = 2.2

    def __init__(self, celsius: float) -> None:
        self.celsius = celsius

    def step(self, step_s: float, room_c: float, is_moving: bool) -> None:
        heat_w = self.IDLE_W + (self.MOTORS_W if is_moving else 0.0)
        self.celsius += step_s / self.J_K * (heat_w - self.LOSS_W_K * (self.celsius - room_c))
