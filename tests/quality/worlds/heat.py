"""One heater by its balance of energy, in finite steps (explicit Euler).

    wire ──joint──→ block ──loss, radiation, fan, filament──→ air
                      └──far──→ what hangs on it ──far loss──→ air

A sensor follows the block, or the air, with a lag of first order. Everything that leaves a
block but filament goes to the air it stands in; radiation too, which is a simplification.
Units: J/K, W/K, W, s, °C.
"""

from dataclasses import dataclass

STEFAN_BOLTZMANN = 5.670374e-8
"""W/(m² K⁴), CODATA 2018."""
KELVIN = 273.15


@dataclass(frozen=True, slots=True)
class Body:
    """What a heater is made of. `tests.quality.worlds.machine` says from what ranges."""

    watts: float
    wire_j_k: float
    block_j_k: float
    joint_w_k: float
    loss_w_k: float
    radiating_m2: float
    far_j_k: float
    far_w_k: float
    far_loss_w_k: float
    fan_w_k: float
    lag_s: float
    senses_air: bool = False

    def loss_w(self, block_c: float, air_c: float, fan_w_k: float = 0.0) -> float:
        """What the block loses to air by itself, W."""
        hot, cold = block_c + KELVIN, air_c + KELVIN
        glow = STEFAN_BOLTZMANN * self.radiating_m2 * (hot**4 - cold**4)
        return (self.loss_w_k + fan_w_k) * (block_c - air_c) + glow

    def holding_w(self, block_c: float, air_c: float) -> float:
        """What it takes to hold a temperature for good, W."""
        far_w_k = self.far_w_k * self.far_loss_w_k / (self.far_w_k + self.far_loss_w_k + 1e-9)
        return self.loss_w(block_c, air_c) + far_w_k * (block_c - air_c)


@dataclass(slots=True)
class Heat:
    """A heater's temperatures, °C, as they go."""

    body: Body
    wire_c: float
    block_c: float
    far_c: float
    sensor_c: float

    @classmethod
    def at(cls, body: Body, celsius: float) -> "Heat":
        return cls(body, celsius, celsius, celsius, celsius)

    def stored_j(self) -> float:
        """Energy over 0 °C; the sensor weighs nothing."""
        body = self.body
        return (
            body.wire_j_k * self.wire_c + body.block_j_k * self.block_c + body.far_j_k * self.far_c
        )

    def step(
        self, seconds: float, watts: float, air_c: float, fan_w_k: float, feed_w_k: float,
        slip: float, more_w: float,
    ) -> tuple[float, float]:  # fmt: skip
        """One step on; what went to the air and into filament in it, W.

        `slip` is the part of the sensor that has left the block for the air; `more_w` comes
        from a neighbour.
        """
        body = self.body
        block_c = self.block_c
        to_block = body.joint_w_k * (self.wire_c - block_c)
        to_far = body.far_w_k * (block_c - self.far_c)
        far_out = body.far_loss_w_k * (self.far_c - air_c)
        out = body.loss_w(block_c, air_c, fan_w_k)
        melt = feed_w_k * (block_c - air_c)
        felt = air_c if body.senses_air else block_c + slip * (air_c - block_c)
        self.sensor_c += seconds * (felt - self.sensor_c) / body.lag_s
        self.wire_c += seconds * (watts - to_block) / body.wire_j_k
        self.block_c += seconds * (to_block - to_far - out - melt + more_w) / body.block_j_k
        self.far_c += seconds * (to_far - far_out) / body.far_j_k
        return out + far_out, melt


@dataclass(slots=True)
class Air:
    """The air of a machine and its walls: one temperature, °C."""

    j_k: float
    wall_w_k: float
    celsius: float

    def step(self, seconds: float, watts: float, room_c: float, open_times: float) -> float:
        """One step on with what heaters gave; what left for the room, W."""
        out = self.wall_w_k * open_times * (self.celsius - room_c)
        self.celsius += seconds * (watts - out) / self.j_k
        return out
