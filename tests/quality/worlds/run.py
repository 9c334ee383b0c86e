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
from tests.quality.worlds.program import FILAMENT_J_K_MM, Program
from tests.quality.worlds.upset import Upset

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
        self.felt = [[0.0] * self.count for _ in machine.names]
        self.duty = [[0.0] * self.count for _ in machine.heaters]
        self.given = [[0.0] * self.count for _ in machine.heaters]
        self.room_c, self.draught = around.room_c.tolist(), around.draught.tolist()
        self.open_times, self.fan = around.open_times.tolist(), program.fan.tolist()
        self.feed = (program.feed_mm_s * FILAMENT_J_K_MM).tolist()
        self.targets = [program.targets[each.name].tolist() for each in machine.heaters]
        self.reckons = [
            max(1, round(each.settings.every_s / machine.step_s)) for each in machine.heaters
        ]
        nozzles = [k for k, each in enumerate(machine.heaters) if each.role == "nozzle"]
        self.second = self.heats[nozzles[1]] if len(nozzles) > 1 else None
        self.side = [
            1.0 if k == 0 else -1.0 if k in nozzles else 0.0 for k in range(len(self.heats))
        ]
        self.in_j = self.out_j = 0.0

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
        stored_j = self._stored_j()
        for step in range(self.count):
            self._sense(step)
            self._heat(step)
        return self._done(self._stored_j() - stored_j)

    def _sense(self, step: int) -> None:
        """What each sensor has, and what its converter makes of it."""
        heated = len(self.heats)
        converts = step % self.every == 0
        for place, converter in enumerate(self.converters):
            at_c = self.heats[place].sensor_c if place < heated else self.passive_c[place - heated]
            self.felt[place][step] = at_c
            if converts:
                converter.take(step, at_c)

    def _heat(self, step: int) -> None:
        """Every heater, then the air, one step on."""
        step_s, air_c, room_c = self.machine.step_s, self.air.celsius, self.room_c[step]
        across_w, to_air_w = self._across_w(), 0.0
        for place, heat in enumerate(self.heats):
            body = heat.body
            watts = body.watts * self._share(place, step)
            more_w = across_w * self.side[place]
            blown = body.fan_w_k * self.fan[step] + body.loss_w_k * (self.draught[step] - 1.0)
            melt = self.feed[step] if place == 0 else 0.0
            out_w, gone_w = heat.step(
                step_s, watts, air_c, blown, melt, self.slip[place][step], more_w
            )
            to_air_w += out_w
            self.in_j += watts * step_s
            self.out_j += gone_w * step_s
        self.out_j += self.air.step(step_s, to_air_w, room_c, self.open_times[step]) * step_s
        self._passive(step_s, air_c, room_c)

    def _share(self, place: int, step: int) -> float:
        """The share of its power that a heater gets: what its control asks, or a fault gives."""
        loop = self.loops[place]
        if step % self.reckons[place] == 0:
            loop.reckon(self.converters[place].celsius, self.targets[place][step])
        asked = loop.is_on(step * self.machine.step_s)
        self.duty[place][step], self.given[place][step] = loop.duty, asked
        return max(asked * self.gain[place][step], self.stuck[place][step])

    def _across_w(self) -> float:
        """What the second nozzle gives to the first, W."""
        if self.second is None:
            return 0.0
        return self.machine.together_w_k * (self.second.block_c - self.heats[0].block_c)

    def _done(self, stored_j: float) -> Run:
        names = [each.name for each in self.machine.heaters]
        codes = {
            each.name: np.repeat(np.array(each.codes), self.every)[: self.count]
            for each in self.converters
        }
        felt = zip(self.machine.names, self.felt, strict=True)
        return Run(
            {name: np.array(column) for name, column in felt},
            codes,
            {name: np.array(column) for name, column in zip(names, self.duty, strict=True)},
            {name: np.array(column) for name, column in zip(names, self.given, strict=True)},
            self.in_j,
            self.out_j,
            stored_j,
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
