"""Plain logs of one fault each, by physics written here: nothing of the simulated host's.

A block with a heater, a bed, the air of a chamber; a sensor that follows its block; a
regulator; a carriage that draws lines. Platinum by its two coefficients, a ratiometric
converter of 16 bits. Rows every 0.5 s, cold first, then heat, print, rest, print, cool.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from shared.updates import Update, Value

STEP_S, TICKS = 0.1, 5
COLD_S, PRINT_S, REST_S, AGAIN_S, OFF_S, END_S = 420.0, 640.0, 1100.0, 1200.0, 1700.0, 1900.0
ROOM_C = 23.0
A, B = 3.9083e-3, -5.775e-7
"""IEC 60751."""
R0_OHM, REFERENCE_OHM, FULL = 100.0, 402.0, 1 << 16
DIALECTS = ("full", "degrees", "still")
"""All facts; degrees, targets and power only; all but motion."""
IN_DEGREES = (".temperature_c", ".target_c", ".power")
OF_MOTION = ("motion.", "fan.")


def ohms(celsius: float) -> float:
    return R0_OHM * (1.0 + A * celsius + B * celsius * celsius)


def celsius(ohm: float) -> float:
    return (-A + math.sqrt(max(A * A - 4.0 * B * (1.0 - ohm / R0_OHM), 0.0))) / (2.0 * B)


@dataclass
class Machine:
    """What is so at one moment; faults change it."""

    time_s: float = 0.0
    uptime_s: float = 900.0
    moving: bool = False
    x_mm: float = 20.0
    y_mm: float = 100.0
    z_mm: float = 0.2
    fan: float = 0.0
    target_c: dict[str, float] = field(default_factory=lambda: {"nozzle": 0.0, "bed": 0.0})
    block_c: dict[str, float] = field(
        default_factory=lambda: dict.fromkeys(("nozzle", "bed", "chamber"), ROOM_C)
    )
    sensor_c: dict[str, float] = field(
        default_factory=lambda: dict.fromkeys(("nozzle", "bed", "chamber"), ROOM_C)
    )
    power: dict[str, float] = field(default_factory=lambda: {"nozzle": 0.0, "bed": 0.0})
    on: dict[str, bool] = field(default_factory=lambda: {"nozzle": False, "bed": False})
    """Whether the switched power is on just now."""
    works: dict[str, float] = field(default_factory=lambda: {"nozzle": 1.0, "bed": 1.0})
    coupling: dict[str, float] = field(
        default_factory=lambda: {"nozzle": 1.0, "bed": 1.0, "chamber": 1.0}
    )
    extra: dict[str, Value] = field(default_factory=dict)
    """Further words of the host at this moment."""
    silent: bool = False
    gone: bool = False


Fault = Callable[[Machine, np.random.Generator], None]
Wire = Callable[[Machine, str, float, np.random.Generator], float]
Code = Callable[[Machine, str, int, np.random.Generator], int | None]
Flags = Callable[[Machine, str, int], str]


def _nothing(machine: Machine, rng: np.random.Generator) -> None:
    del machine, rng


def _as_is(machine: Machine, channel: str, ohm: float, rng: np.random.Generator) -> float:
    del machine, channel, rng
    return ohm


def _whole(machine: Machine, channel: str, code: int, rng: np.random.Generator) -> int | None:
    del machine, channel, rng
    return code


def limit_flags(machine: Machine, channel: str, code: int) -> str:
    """What a converter says of a code at its ends."""
    del machine, channel
    return "open" if code >= FULL - 1 else "short" if code <= 200 else "none"


@dataclass(frozen=True)
class Story:
    """One fault: what it does to the machine, to the ohms, to the code; the host's belief."""

    machine: Fault = _nothing
    wire: Wire = _as_is
    code: Code = _whole
    flags: Flags = limit_flags
    reference_ohm: float = REFERENCE_OHM
    """On the board; the host counts with 402 Ω."""
    noise_codes: float = 0.7


class Row(NamedTuple):
    """What is so at one moment, before a host tells it in its way."""

    time_s: float
    facts: dict[str, Value]
    extra: dict[str, Value]


def log_of(story: Story, dialect: str, seed: int = 1, end_s: float = END_S) -> list[Update]:
    """The log of a fault, as one kind of host tells it."""
    return told(rows_of(story, seed, end_s), dialect)


def rows_of(story: Story, seed: int = 1, end_s: float = END_S) -> list[Row]:
    """The physics of a fault: the same for every dialect."""
    return list(_rows(story, seed, end_s))


def told(rows: list[Row], dialect: str) -> list[Update]:
    """Rows as one kind of host tells them."""
    updates = [Update(row.time_s, _in_dialect(row, dialect)) for row in rows]
    return [update for update in updates if update.values]


def _in_dialect(row: Row, dialect: str) -> dict[str, Value]:
    if dialect == "degrees":
        return {key: value for key, value in row.facts.items() if key.endswith(IN_DEGREES)}
    if dialect == "still":
        facts = {k: v for k, v in row.facts.items() if not k.startswith(OF_MOTION)}
        return {**facts, **row.extra}
    return {**row.facts, **row.extra}


def _rows(story: Story, seed: int, end_s: float) -> Iterator[Row]:
    rng = np.random.default_rng(seed)
    machine = Machine()
    shown = dict.fromkeys(machine.sensor_c, ROOM_C)
    last = dict.fromkeys(shown, 0)
    integral = {"nozzle": 0.0, "bed": 0.0}
    for tick in range(round(end_s / STEP_S)):
        machine.time_s = tick * STEP_S
        machine.uptime_s += STEP_S
        machine.extra = {}
        machine.silent = False
        _program(machine)
        story.machine(machine, rng)
        _heat(machine)
        if tick % TICKS:
            continue
        for name in shown:
            ohm = ohms(machine.sensor_c[name])
            ohm = story.wire(machine, name, ohm, rng)
            ratio = ohm / story.reference_ohm if name == "nozzle" else ohm / REFERENCE_OHM
            noise = float(rng.normal(0.0, story.noise_codes))
            exact = FULL - 1 if math.isinf(ohm) else round(ratio * FULL + noise)
            code = story.code(machine, name, min(max(exact, 0), FULL - 1), rng)
            if code is not None:
                last[name] = code
            shown[name] = celsius(last[name] / FULL * REFERENCE_OHM)
        _regulate(machine, shown, integral)
        if machine.silent:
            continue
        facts = {} if machine.gone else _facts(machine, story, shown, last)
        time_s = round(machine.time_s + float(rng.uniform(0.0, 0.04)), 3)
        yield Row(time_s, facts, machine.extra)


def _program(machine: Machine) -> None:
    now = machine.time_s
    hot = COLD_S <= now < OFF_S
    machine.target_c = {"nozzle": 215.0 if hot else 0.0, "bed": 60.0 if hot else 0.0}
    machine.moving = PRINT_S <= now < REST_S or AGAIN_S <= now < OFF_S
    machine.fan = 0.6 if machine.moving and now > PRINT_S + 60.0 else 0.0
    if machine.moving:
        way = (now * 60.0) % 400.0
        machine.x_mm = 20.0 + (way if way < 200.0 else 400.0 - way)
        machine.y_mm = 100.0 + 60.0 * math.sin(now / 11.0)
        machine.z_mm = 0.2 + 0.2 * (now - PRINT_S) // 60.0


def _heat(machine: Machine) -> None:
    """One step of heat; switched power has a period of 2 s."""
    rise = {"nozzle": 4.5, "bed": 0.55}
    loss = {"nozzle": 1.0 / 95.0, "bed": 1.0 / 220.0}
    lag = {"nozzle": 2.2, "bed": 5.0, "chamber": 8.0}
    for name in ("nozzle", "bed"):
        phase = (machine.time_s % 2.0) / 2.0
        machine.on[name] = phase < machine.power[name]
        heat = rise[name] * machine.power[name] * machine.works[name]
        blown = 1.0 + 0.15 * machine.fan * (name == "nozzle")
        machine.block_c[name] += STEP_S * (
            heat - blown * loss[name] * (machine.block_c[name] - ROOM_C)
        )
    air_c = ROOM_C + 0.15 * (machine.block_c["bed"] - ROOM_C)
    machine.block_c["chamber"] += STEP_S * (air_c - machine.block_c["chamber"]) / 300.0
    for name, tau in lag.items():
        part = machine.coupling[name]
        toward = part * machine.block_c[name] + (1.0 - part) * air_c
        machine.sensor_c[name] += STEP_S * (toward - machine.sensor_c[name]) / tau


def _regulate(machine: Machine, shown: Mapping[str, float], integral: dict[str, float]) -> None:
    gain = {"nozzle": 0.04, "bed": 0.15}
    for name, target_c in machine.target_c.items():
        error = target_c - shown[name]
        if target_c <= 0.0:
            machine.power[name] = integral[name] = 0.0
            continue
        if abs(error) < 12.0:
            step = 0.03 * gain[name] * error * STEP_S * TICKS
            integral[name] = min(max(integral[name] + step, 0.0), 1.0)
        machine.power[name] = min(max(gain[name] * error + integral[name], 0.0), 1.0)


def _facts(
    machine: Machine, story: Story, shown: Mapping[str, float], last: Mapping[str, int]
) -> dict[str, Value]:
    values: dict[str, Value] = {}
    for name, degrees in shown.items():
        values[f"{name}.temperature_c"] = round(degrees, 2)
        values[f"{name}.code"] = float(last[name])
        values[f"{name}.flags"] = story.flags(machine, name, last[name])
    for name in machine.power:
        values[f"{name}.target_c"] = machine.target_c[name]
        values[f"{name}.power"] = round(machine.power[name], 3)
    values["motion.x_mm"] = round(machine.x_mm, 2)
    values["motion.y_mm"] = round(machine.y_mm, 2)
    values["motion.z_mm"] = round(machine.z_mm, 2)
    values["motion.speed_mm_s"] = 60.0 if machine.moving else 0.0
    values["fan.speed"] = machine.fan
    values["controller.uptime_s"] = round(machine.uptime_s, 1)
    values["host.state"] = "up"
    return values
