"""Heat, sensors and control together, step by step: what a machine did.

A control sees what its converter gave, noise, rounding and faults included, as a real one does.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.updates import Floats
from tests.quality.worlds.around import Around
from tests.quality.worlds.chain import Sensor, noise_ohm
from tests.quality.worlds.control import Loop
from tests.quality.worlds.element import celsius_of, ratio_of
from tests.quality.worlds.heat import Air, Heat
from tests.quality.worlds.machine import Heater, Machine, Rng
from tests.quality.worlds.program import Program
from tests.quality.worlds.upset import Upset

FILAMENT_J_K_MM = 2.405 * 1.24e-3 * 1.9
"""Heat a millimetre of filament takes for each kelvin, J: 1.75 mm across, 1.24 g/cm³ and about
1.9 J/(g K) (handbook values of a common plastic)."""
AIR_LAG_S, FRAME_LAG_S = 8.0, 400.0


@dataclass(slots=True)
class Run:
    """What happened, on the grid of steps.

    felt_c  what each sensor had, °C; codes: the last that its converter gave
    duty    what a control asked for, given: what its switch let through, 0–1
    in_j, out_j, stored_j   energy of heaters, to room and filament, and kept
    """

    felt_c: dict[str, Floats]
    codes: dict[str, Floats]
    duty: dict[str, Floats]
    given: dict[str, Floats]
    in_j: float
    out_j: float
    stored_j: float


def run(
    machine: Machine,
    program: Program,
    around: Around,
    sensors: dict[str, Sensor],
    converts_every: int,
    upset: Upset,
    rng: Rng,
    warm: bool = False,
) -> Run:
    """One machine through one program. `converts_every`: steps from conversion to conversion.

    `warm`: the log begins on a machine that has long been at its targets.
    """
    return _Course(machine, program, around, sensors, converts_every, upset, rng, warm).whole()


class _Course:
    """The loop, and all that it holds."""

    def __init__(
        self, machine: Machine, program: Program, around: Around, sensors: dict[str, Sensor],
        converts_every: int, upset: Upset, rng: Rng, warm: bool,
    ) -> None:  # fmt: skip
        self.machine, self.program, self.around = machine, program, around
        self.count = len(program.fan)
        self.every = converts_every
        room_c = float(around.room_c[0])
        self.air = Air(machine.air_j_k, machine.wall_w_k, room_c)
        self.heats = [Heat.at(each.body, room_c) for each in machine.heaters]
        self.loops = [Loop(each.settings) for each in machine.heaters]
        if warm:
            self._warm(room_c)
        self.passive_c = [self.air.celsius for _ in machine.passive]
        self.converters = [
            _Converter(sensors[name], name, self.count, converts_every, machine.step_s, upset, rng)
            for name in machine.names
        ]
        self.slip = _lists(upset.slip, machine, self.count, 0.0)
        self.gain = _lists(upset.gain, machine, self.count, 1.0)
        self.stuck = _lists(upset.stuck, machine, self.count, 0.0)
        self.felt = {name: [0.0] * self.count for name in machine.names}
        self.duty = [[0.0] * self.count for _ in machine.heaters]
        self.given = [[0.0] * self.count for _ in machine.heaters]

    def _warm(self, room_c: float) -> None:
        """Begin where a balance would long have led."""
        for heat, loop, heater in zip(self.heats, self.loops, self.machine.heaters, strict=True):
            target_c = float(self.program.targets[heater.name][0])
            if target_c <= 0.0 or heater.role == "chamber":
                continue
            watts = heat.body.holding_w(target_c, room_c)
            heat.block_c = heat.sensor_c = target_c
            heat.wire_c = target_c + watts / heat.body.joint_w_k
            far, loss = heat.body.far_w_k, heat.body.far_loss_w_k
            heat.far_c = (far * target_c + loss * room_c) / (far + loss)
            loop.sum = loop.duty = watts / heat.body.watts
            self.air.celsius += watts / self.machine.wall_w_k
        self.air.celsius = min(self.air.celsius, room_c + 25.0)

    def whole(self) -> Run:
        machine, program, around = self.machine, self.program, self.around
        step_s = machine.step_s
        room, draught, open_times = (
            column.tolist() for column in (around.room_c, around.draught, around.open_times)
        )
        fan = program.fan.tolist()
        feed = (program.feed_mm_s * FILAMENT_J_K_MM).tolist()
        targets = [program.targets[each.name].tolist() for each in machine.heaters]
        reckons = [max(1, round(h.settings.every_s / step_s)) for h in machine.heaters]
        nozzles = [k for k, each in enumerate(machine.heaters) if each.role == "nozzle"]
        felt = [self.felt[name] for name in machine.names]
        heaters = range(len(machine.heaters))
        in_j, out_j, stored_j = 0.0, 0.0, self._stored_j()
        for k in range(self.count):
            for place, column in enumerate(felt):
                is_heated = place < len(heaters)
                column[k] = (
                    self.heats[place].sensor_c
                    if is_heated
                    else self.passive_c[place - len(heaters)]
                )
            if k % self.every == 0:
                for converter, column in zip(self.converters, felt, strict=True):
                    converter.take(k, column[k])
            across = 0.0
            if len(nozzles) == 2:
                first, second = (self.heats[n].block_c for n in nozzles)
                across = machine.together_w_k * (second - first)
            to_air, air_c = 0.0, self.air.celsius
            for h in heaters:
                heat, loop = self.heats[h], self.loops[h]
                if k % reckons[h] == 0:
                    loop.reckon(self.converters[h].celsius, targets[h][k])
                share = max(loop.is_on(k * step_s) * self.gain[h][k], self.stuck[h][k])
                self.duty[h][k], self.given[h][k] = loop.duty, loop.is_on(k * step_s)
                body = heat.body
                more = across if h == nozzles[0] else (-across if h in nozzles else 0.0)
                blown = body.fan_w_k * fan[k] + body.loss_w_k * (draught[k] - 1.0)
                melt = feed[k] if h == nozzles[0] else 0.0
                out, gone = heat.step(
                    step_s, body.watts * share, air_c, blown, melt, self.slip[h][k], more
                )
                to_air += out
                in_j += body.watts * share * step_s
                out_j += gone * step_s
            out_j += self.air.step(step_s, to_air, room[k], open_times[k]) * step_s
            self._passive(step_s, air_c, room[k])
        codes = {each.name: np.array(each.codes) for each in self.converters}
        for converter in self.converters:
            codes[converter.name] = np.repeat(codes[converter.name], self.every)[: self.count]
        names = [each.name for each in machine.heaters]
        return Run(
            {name: np.array(column) for name, column in self.felt.items()},
            codes,
            {name: np.array(column) for name, column in zip(names, self.duty, strict=True)},
            {name: np.array(column) for name, column in zip(names, self.given, strict=True)},
            in_j,
            out_j,
            self._stored_j() - stored_j,
        )

    def _passive(self, step_s: float, air_c: float, room_c: float) -> None:
        for place, (_, role) in enumerate(self.machine.passive):
            now = self.passive_c[place]
            if role == "air":
                self.passive_c[place] += step_s * (air_c - now) / AIR_LAG_S
            else:
                self.passive_c[place] += step_s * (0.5 * (air_c + room_c) - now) / FRAME_LAG_S

    def _stored_j(self) -> float:
        return sum(each.stored_j() for each in self.heats) + self.air.j_k * self.air.celsius


class _Converter:
    """One chain's conversions: what each gave, and the °C that the control takes it for."""

    def __init__(
        self, sensor: Sensor, name: str, count: int, every: int, step_s: float, upset: Upset,
        rng: Rng,
    ) -> None:  # fmt: skip
        self.sensor, self.name, self.every = sensor, name, every
        self.codes: list[float] = []
        self.celsius = 20.0
        conversions = -(-count // every)
        self._noise = noise_ohm(rng, sensor, conversions, every * step_s).tolist()
        self._ohm = upset.ohm[name][::every].tolist() if name in upset.ohm else None
        self._hold = upset.hold[name][::every].tolist() if name in upset.hold else None

    def take(self, step: int, felt_c: float) -> None:
        """One conversion."""
        at, sensor = step // self.every, self.sensor
        if self._hold is not None and self._hold[at] and self.codes:
            self.codes.append(self.codes[-1])
            return
        ohm = sensor.r0_ohm * ratio_of(felt_c) + sensor.offset_ohm + self._noise[at]
        if self._ohm is not None:
            ohm += self._ohm[at]
        ohm = min(max(ohm, 0.0), 2.0 * sensor.reference_ohm)
        code = min(round(ohm / sensor.code_ohm), sensor.top)
        self.codes.append(float(code))
        self.celsius = celsius_of(code * sensor.code_ohm / sensor.r0_ohm)


def _lists(
    columns: dict[str, Floats], machine: Machine, count: int, usual: float
) -> list[list[float]]:
    """A heater's columns as lists, with the usual value where no fault is."""
    none = [usual] * count

    def of(heater: Heater) -> list[float]:
        column: NDArray[np.float64] | None = columns.get(heater.name)
        return none if column is None else column.tolist()

    return [of(each) for each in machine.heaters]
