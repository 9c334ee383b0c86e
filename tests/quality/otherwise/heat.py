"""Heaters as three lumps (wire, block, sensor) and three controls.

Nothing here is shared with `client/simulated` or the other physics of this bench: conduction
between lumps, loss by convection and radiation, a draught that falls off with height, the load
of the melt.
"""

from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
STEFAN_BOLTZMANN = 5.670374e-8  # W/m²K⁴, CODATA 2018


@dataclass(frozen=True)
class Plant:
    """One heater's body: watts, joules a kelvin, watts a kelvin, seconds."""

    watts: float
    wire_j: float
    block_j: float
    joint_w_k: float
    loss_w_k: float
    radiating_m2: float
    sensor_lag_s: float
    fan_w_k: float = 0.0
    fan_height_mm: float = 5.0
    melt_watts: float = 0.0

    def power_for(self, hot_c: float, room_c: float) -> float:
        """The share of full power that holds `hot_c` without fan or melt."""
        radiated = (
            STEFAN_BOLTZMANN
            * self.radiating_m2
            * 0.8
            * ((hot_c + 273.15) ** 4 - (room_c + 273.15) ** 4)
        )
        return (self.loss_w_k * (hot_c - room_c) + radiated) / self.watts


@dataclass(frozen=True)
class Control:
    """How a heater is driven: `pid`, `relay` (two-point) or `model` (a forecast of losses)."""

    kind: str
    band_c: float
    reset_s: float
    rate_s: float = 0.0
    most: float = 1.0
    levels: int = 0
    window_s: float = 0.0
    model_error: float = 0.0
    knows_fan: bool = True


@dataclass(frozen=True)
class Disturbance:
    """What the sensor path and the heater do besides: arrays on the grid of steps."""

    noise_c: Floats
    ohm: Floats
    celsius: Floats
    instead: Floats
    hold: NDArray[np.bool_]
    slip: Floats
    heater_gain: Floats
    stuck_on: Floats


@dataclass(frozen=True)
class Course:
    """What came of it, on the grid of steps: true and read degrees, asked and given power."""

    true_c: Floats
    read_c: Floats
    asked: Floats
    given: Floats


def ohms_to_celsius(read_c: float, r0: float) -> float:
    """Degrees an added ohm makes at a temperature (IEC 60751 slope)."""
    return 1.0 / (r0 * (3.9083e-3 - 2 * 5.775e-7 * read_c))


def run(
    plant: Plant,
    control: Control,
    goal: Floats,
    room: Floats,
    fan: Floats,
    height: Floats,
    flow: Floats,
    trouble: Disturbance,
    step_s: float,
    r0: float = 100.0,
) -> Course:
    """One heater over the whole log."""
    n = len(goal)
    true_c, read_c, asked, given = (np.empty(n) for _ in range(4))
    wire = block = tip = float(room[0])
    last, held, slope = tip, tip, 0.0
    total, model_room = 0.0, float(room[0])
    relay_on, phase = False, 0.0
    follow = 1.0 - exp(-step_s / plant.sensor_lag_s)
    damp = step_s / (step_s + max(control.rate_s / 3.0, step_s))
    loss, radiating = plant.loss_w_k, STEFAN_BOLTZMANN * plant.radiating_m2 * 0.8
    kind, band, most = control.kind, control.band_c, control.most
    before = 0.0
    columns = (
        goal, room, fan, height, flow,
        trouble.noise_c, trouble.ohm, trouble.celsius, trouble.instead, trouble.hold,
        trouble.slip, trouble.heater_gain, trouble.stuck_on,
    )  # fmt: skip
    for i, (
        want,
        air,
        wind,
        z,
        melt,
        noise,
        ohm,
        extra,
        instead,
        hold,
        slip,
        gain,
        stuck,
    ) in enumerate(zip(*(c.tolist() for c in columns), strict=True)):
        if not hold:
            held = tip + noise + extra
            if ohm:
                held += ohm * ohms_to_celsius(held, r0)
            if instead == instead:
                held = instead
        read = held
        believed = read if -40.0 < read < 450.0 else last
        if want <= 0.0:
            drive, total, relay_on = 0.0, 0.0, False
            before = want
        else:
            if want != before:
                total = min(total, 0.5) if want > before - 30.0 else 0.0
                before = want
            error = want - believed
            slope += damp * ((believed - last) / step_s - slope)
            if kind == "relay":
                relay_on = error > -band if relay_on else error > band
                drive = most if relay_on else 0.0
            elif kind == "pid":
                drive = error / band + total - slope * control.rate_s / band
                if 0.0 < drive < most or (error < 0.0) == (total > 0.0):
                    total = min(max(total + error / band * step_s / control.reset_s, 0.0), most)
                drive = min(max(drive, 0.0), most)
            else:
                known = plant.power_for(want, model_room) * (1.0 + control.model_error)
                if control.knows_fan:
                    known += (
                        wind
                        * plant.fan_w_k
                        * exp(-z / plant.fan_height_mm)
                        * (want - model_room)
                        / plant.watts
                    )
                drive = min(max(known + error / band - slope * control.rate_s / band, 0.0), most)
                if abs(error) < 3.0 * band and 0.0 < drive < most:
                    model_room = min(
                        max(model_room - error * step_s / control.reset_s, -40.0), 120.0
                    )
        last = believed
        if control.levels:
            drive = round(drive * control.levels) / control.levels
        actual = seen = drive
        if control.window_s:
            way = step_s / control.window_s
            seen = 1.0 if phase < drive else 0.0
            actual = max(min(phase + way, drive) - phase, 0.0) / way
            phase += way
            if phase > 1.0 - 1e-9:
                phase -= 1.0
                actual = min(actual + min(phase, drive) / way, 1.0)
        asked[i], given[i] = drive, seen
        watts = plant.watts * max(actual * gain, stuck)
        through = plant.joint_w_k * (wire - block)
        wire += (watts - through) * step_s / plant.wire_j
        away = (loss + wind * plant.fan_w_k * exp(-z / plant.fan_height_mm)) * (block - air)
        away += radiating * ((block + 273.15) ** 4 - (air + 273.15) ** 4)
        away += melt * plant.melt_watts * max(block - 60.0, 0.0) / 150.0
        block += (through - away) * step_s / plant.block_j
        tip += follow * (block - slip * (block - air) - tip)
        true_c[i], read_c[i] = block, read
    return Course(true_c, read_c, asked, given)
