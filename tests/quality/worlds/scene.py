"""Where a fault is put: the machine, its day, its chains and host, and what it may touch."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from shared.updates import Floats
from shared.words import Cause, Kind
from tests.quality.worlds.chain import Sensor
from tests.quality.worlds.element import slope_of
from tests.quality.worlds.host import Host
from tests.quality.worlds.machine import Heater, Machine, Rng
from tests.quality.worlds.program import Program
from tests.quality.worlds.run import Run
from tests.quality.worlds.upset import Upset

HEAT_K_S = 10.0
"""Faster than any heater here, K/s: what heat may do between two rows is reckoned with it."""
OVER = 1.5
"""Jumps are drawn from so many times what heat, noise and rounding may do."""
LEARNT_S = 1500.0
"""Faults begin no earlier, s: detectors must have seen the machine well."""


@dataclass(frozen=True, slots=True)
class Planted:
    """What is true, in the machine's own seconds. `cause` where there is one only."""

    kind: Kind
    channel: str
    start_s: float
    stop_s: float
    size: str
    also: frozenset[Kind] = frozenset()
    cause: Cause | None = None


@dataclass(slots=True)
class Scene:
    """One world before it runs."""

    machine: Machine
    program: Program
    sensors: dict[str, Sensor]
    host: Host
    upset: Upset
    rng: Rng
    healthy: Callable[[], Run]
    """The same world without a fault; takes as long as the world itself."""

    @property
    def seconds(self) -> float:
        return self.program.seconds

    @property
    def spacing_s(self) -> float:
        """Longest usual time between two fresh rows of a channel, s."""
        return spacing_of(self.host, len(self.sensors))

    def moment(self, before_s: float = 600.0) -> float:
        """A time after what detectors need to learn, and so long before the end."""
        return float(self.rng.uniform(LEARNT_S, max(self.seconds - before_s, LEARNT_S + 1.0)))

    def pick(self) -> str:
        """Any channel, a heater's more often."""
        heated = [each.name for each in self.machine.heaters]
        names = heated if self.rng.random() < 0.75 else list(self.sensors)
        return names[int(self.rng.integers(len(names)))]

    def heater(self, *roles: str) -> Heater:
        """A heater that prints hold; a second nozzle may rest all day."""
        fit = [
            each
            for each in self.machine.heaters
            if each.role in roles and not each.name.endswith(" 2")
        ]
        return fit[int(self.rng.integers(len(fit)))]

    def column(self, usual: float = 0.0) -> Floats:
        return np.full(len(self.program.fan), usual)

    def ohm_at(self, name: str) -> Floats:
        """The column of ohms that a fault adds on a channel."""
        return self.upset.ohm.setdefault(name, self.column())

    def ohm_k(self, name: str, celsius: float = 100.0) -> float:
        """Ω for each kelvin of a channel's element."""
        return self.sensors[name].r0_ohm * slope_of(celsius)

    def told_step_k(self, name: str) -> float:
        """Finest step of what is told of a channel, K."""
        code_k = self.sensors[name].code_k
        return code_k if self.host.codes or self.host.ohms else max(code_k, self.host.step_k, 0.001)

    def jump_ohm(self, name: str) -> float:
        """More than heat, noise and rounding do between two rows, Ω: the least of a jump."""
        noise_k = self.sensors[name].noise_k
        least_k = HEAT_K_S * self.spacing_s + 8.0 * noise_k + 2.0 * self.told_step_k(name)
        return OVER * least_k * self.ohm_k(name, 0.0)

    def shown_ohm(self, name: str, start_s: float, stop_s: float) -> Floats:
        """What a healthy channel would show at each fresh row of a stretch, Ω."""
        codes = self.healthy().codes[name][self.program.cut(start_s, stop_s)]
        stride = max(1, round(self.host.steady_s / self.program.step_s))
        return np.asarray(codes[::stride] * self.sensors[name].code_ohm, dtype=np.float64)

    def floor_ohm(self, name: str, start_s: float, stop_s: float) -> float:
        """Noise of a channel from row to row when all is well, rounding included, one sd, Ω."""
        shown = self.shown_ohm(name, start_s, stop_s)
        bends = np.diff(shown, 2)
        spread = float(np.median(np.abs(bends - np.median(bends)))) / 0.6745 / float(np.sqrt(6.0))
        return max(spread, 0.5 * self.told_step_k(name) * self.ohm_k(name, 0.0))

    def sway_ohm(self, name: str, start_s: float, stop_s: float) -> float:
        """All that a channel moves about its trend when all is well, one sd, Ω."""
        shown = self.shown_ohm(name, start_s, stop_s)
        place = np.arange(len(shown), dtype=np.float64)
        slope, base = np.polyfit(place, shown, 1)
        rest = float(np.std(shown - base - slope * place))
        return max(rest, self.told_step_k(name) * self.ohm_k(name, 0.0))


def spacing_of(host: Host, sensors: int) -> float:
    """Longest usual time between two fresh rows of a channel, s, lost updates and bursts too."""
    turns = sensors + 2 if host.form == "in turns" else 1
    return max(host.period_s * turns * host.burst, host.converts_s) * (2.0 if host.lost else 1.0)


@dataclass(frozen=True, slots=True)
class Fault:
    """How a kind is planted, and what a world must be for the kind not to be blind.

    longest_s   rows of a channel may be so far apart at most, s
    fresh       every row holds a conversion of its own
    host        what a host must tell
    hours       least length of the log
    style       what kind of day
    smooth      power that is not switched as fast as it is told
    """

    plant: Callable[[Scene], list[Planted]]
    longest_s: float = 10.0
    fresh: bool = False
    host: Mapping[str, object] = field(default_factory=dict)
    hours: float = 0.0
    style: str | None = None
    smooth: bool = False
