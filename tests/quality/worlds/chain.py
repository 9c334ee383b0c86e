"""Sensor chains drawn at random: element, wires, converter, noise.

References are standard resistors of about four times R0 (IEC 60063), bits 12 to 24 (common),
noise 4 to 150 mK of the reading (memory of what such chains show), leads of two wires up to
0.4 Ω, elements within about class B at room temperature (IEC 60751: ± 0.3 K at 0 °C).
"""

from dataclasses import dataclass

import numpy as np

from shared.chain import Chain
from shared.converter import REFERENCES
from shared.updates import Floats
from tests.quality.worlds.around import wander
from tests.quality.worlds.element import A
from tests.quality.worlds.machine import Rng, log_uniform

COLOURS = ("white", "correlated", "pink")


@dataclass(frozen=True, slots=True)
class Sensor:
    """One chain. `offset_ohm` is what leads and element add; noise is in K, one sd."""

    r0_ohm: float
    wires: int
    ratio: float
    bits: int
    noise_k: float
    colour: str
    memory_s: float
    offset_ohm: float

    @property
    def reference_ohm(self) -> float:
        return self.r0_ohm * self.ratio

    @property
    def top(self) -> int:
        """Highest code."""
        return (1 << self.bits) - 1

    @property
    def code_ohm(self) -> float:
        return self.reference_ohm / (1 << self.bits)

    @property
    def code_k(self) -> float:
        """One code in K, near 0 °C."""
        return self.code_ohm / (A * self.r0_ohm)


def draw_sensors(rng: Rng, names: tuple[str, ...]) -> dict[str, Sensor]:
    """A board's channels: one converter, elements and noise of each its own."""
    r0_ohm = 1000.0 if rng.random() < 0.35 else 100.0
    wires, ratio = int(rng.choice([2, 3, 4])), float(rng.choice(REFERENCES))
    bits = int(rng.choice([12, 14, 15, 16, 18, 20, 24]))
    noise_k, colour = log_uniform(rng, 0.004, 0.15), str(rng.choice(COLOURS))
    sensors = {}
    for name in names:
        leads = float(rng.uniform(0.02, 0.4)) if wires == 2 else 0.0
        element = float(rng.normal(0.0, 0.1)) * A * r0_ohm
        sensors[name] = Sensor(
            r0_ohm, wires, ratio, bits, noise_k * float(rng.uniform(0.7, 1.5)), colour,
            float(rng.uniform(0.3, 5.0)), leads + element,
        )  # fmt: skip
    return sensors


def noise_ohm(rng: Rng, sensor: Sensor, count: int, every_s: float) -> Floats:
    """Noise of so many conversions, Ω."""
    white = rng.standard_normal(count)
    if sensor.colour == "correlated":
        unit = 0.5 * white + 0.87 * wander(rng, count, sensor.memory_s / every_s)
    elif sensor.colour == "pink":
        # Octaves of memories, each as strong, make about one over f.
        parts = [wander(rng, count, tau / every_s) for tau in (1.0, 8.0, 64.0, 512.0)]
        unit = 0.6 * white + 0.4 * np.sum(parts, axis=0)
    else:
        unit = white
    return np.asarray(unit * sensor.noise_k * A * sensor.r0_ohm, dtype=np.float64)


def told_chain(sensor: Sensor) -> Chain:
    """What a profile tells of a chain: element, reference, bits and wires, and no more."""
    wires = {2: 2, 3: 3, 4: 4}[sensor.wires]
    return Chain(
        r0_ohm=sensor.r0_ohm,
        reference_ohm=sensor.reference_ohm,
        bits=sensor.bits,
        wires=wires,  # type: ignore[arg-type]
        told=("r0_ohm", "reference_ohm", "bits", "wires"),
    )
