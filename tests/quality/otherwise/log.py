"""From courses to the plain log of the contract: rows, codes, rounding, deltas, clocks."""

import csv
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from tests.quality.otherwise.day import Day
from tests.quality.otherwise.machine import Machine, Sensor

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Truth:
    """One label: what happened, where, when, and the causes that may be named first."""

    kind: str
    channel: str
    start_s: float
    end_s: float
    causes: tuple[str, ...] = ()
    size: str = ""


@dataclass
class Edits:
    """What happens to rows rather than to heat, in seconds of the grid."""

    truths: list[Truth] = field(default_factory=list)
    gaps: list[tuple[float, float]] = field(default_factory=list)
    states: list[tuple[float, float, str]] = field(default_factory=list)
    restarts: list[float] = field(default_factory=list)
    flags: list[tuple[str, float, float, str]] = field(default_factory=list)
    codes: list[tuple[str, float, int, str]] = field(default_factory=list)
    """channel, moment, value, `set` or `xor`: exactly one row."""
    rows: list[tuple[str, float, float]] = field(default_factory=list)
    """channel, moment, K added to exactly one row."""
    messages: list[tuple[float, str]] = field(default_factory=list)


def platinum_ohm(celsius: Floats, r0: float) -> Floats:
    """IEC 60751, both branches."""
    t = celsius
    plain = r0 * (1 + 3.9083e-3 * t - 5.775e-7 * t * t)
    return np.where(t < 0, plain + r0 * -4.183e-12 * (t - 100) * t**3, plain)


def platinum_celsius(ohm: Floats, r0: float) -> Floats:
    """The inverse by Newton steps; beyond the curve what its square root gives."""
    ratio = np.clip(ohm / r0, 0.0, 4.5)
    t = (-3.9083e-3 + np.sqrt(np.maximum(3.9083e-3**2 - 4 * -5.775e-7 * (1 - ratio), 0))) / (
        2 * -5.775e-7
    )
    for _ in range(4):
        cold = t < 0
        slope = (
            3.9083e-3 - 2 * 5.775e-7 * t + np.where(cold, -4.183e-12 * (4 * t**3 - 300 * t * t), 0)
        )
        t = t - np.where(cold, (platinum_ohm(t, 1.0) - ratio) / slope, 0)
    return t


def thermistor_celsius(celsius: Floats, sensor: Sensor, rng: np.random.Generator) -> Floats:
    """What a divider and a converter of few counts make of a temperature, by the beta law."""
    kelvin = celsius + 273.15
    ohm = sensor.cold_ohm * np.exp(sensor.beta * (1 / kelvin - 1 / 298.15))
    share = ohm / (ohm + sensor.pull_up) * sensor.counts
    share = np.clip(
        np.round(share + 0.25 * rng.standard_normal(len(celsius))), 1, sensor.counts - 1
    )
    back = sensor.pull_up * share / (sensor.counts - share)
    return 1 / (np.log(back / sensor.cold_ohm) / sensor.beta + 1 / 298.15) - 273.15


def write_log(
    path: Path, machine: Machine, day: Day, edits: Edits, rng: np.random.Generator
) -> list[Truth]:
    """Write the CSV and give the labels in the log's own seconds."""
    host = machine.host
    span = len(day.nozzle) * day.step_s
    n = int(span / host.period_s * 1.1) + 50
    gaps = host.period_s * np.maximum(1 + host.jitter * rng.standard_normal(n), 0.15)
    late = rng.random(n) < host.late
    gaps = gaps + late * host.period_s * rng.uniform(1, 3, n)
    t = np.cumsum(gaps)
    t = t[t < span - 2 * day.step_s]
    keep = np.ones(len(t), bool)
    for start, stop in edits.gaps:
        keep &= ~((t > start) & (t < stop))
    extra = [m for start, stop, _ in edits.states for m in (start, stop) if 0 < m < span - 1]
    t = np.unique(np.round(np.concatenate([t[keep], extra]), 4))
    at = np.minimum((t / day.step_s).astype(int), len(day.nozzle) - 1)
    columns: dict[str, list[str]] = {}
    for sensor in machine.sensors:
        _sensor_columns(columns, sensor, machine, day, edits, t, at, rng)
    _machine_columns(columns, machine, day, edits, t, at, rng)
    clock = t * (1 + 2e-5) + host.origin_s
    shifts = np.zeros(len(t))
    for _ in range(host.jumps):
        shifts[int(rng.integers(len(t))) :] += (
            rng.uniform(0.5, 30.0) if host.uptime else rng.uniform(0.2, 2.0)
        )
    clock = clock + shifts
    _save(path, clock, columns, host.delta, host.skip_empty)

    def moved(s: float) -> float:
        return float(np.interp(s, t, clock))

    return [
        Truth(x.kind, x.channel, moved(x.start_s), moved(x.end_s), x.causes, x.size)
        for x in edits.truths
    ]


def _sensor_columns(
    columns: dict[str, list[str]],
    sensor: Sensor,
    machine: Machine,
    day: Day,
    edits: Edits,
    t: Floats,
    at: NDArray[np.int64],
    rng: np.random.Generator,
) -> None:
    course = machine.courses[sensor.name]
    read = course.read_c[at]
    name = sensor.name
    if sensor.kind == "platinum" and (sensor.codes or sensor.ohms):
        ohm = platinum_ohm(np.clip(read, -240, 1200), sensor.r0)
        full = (1 << sensor.bits) - 1
        ohm_a_code = sensor.ratio * sensor.r0 / (full + 1)
        code = np.clip(np.round(ohm / ohm_a_code), 0, full).astype(int)
        code[read > 850] = full
        for where, moment, value, how in edits.codes:
            if where == name:
                k = int(np.searchsorted(t, moment))
                if k < len(code):
                    code[k] = value if how == "set" else min(code[k] ^ value, full)
        for where, moment, celsius in edits.rows:
            if where == name:
                k = int(np.searchsorted(t, moment))
                code[k] = _code_of(read[k] + celsius, sensor)
        ohm = code * ohm_a_code
        read = platinum_celsius(ohm, sensor.r0)
        if sensor.codes:
            columns[f"{name}.code"] = [str(c) for c in code]
        if sensor.ohms:
            columns[f"{name}.resistance_ohm"] = [f"{o:.3f}" for o in ohm]
    else:
        if sensor.kind == "thermistor":
            good = (read > -30) & (read < 330)
            read = np.where(good, thermistor_celsius(np.clip(read, -30, 330), sensor, rng), read)
        for where, moment, value, how in edits.codes:
            if where == name and how == "xor":
                k = int(np.searchsorted(t, moment))
                flipped = _code_of(read[k], sensor) ^ value
                ohm_then = np.array([flipped / (1 << sensor.bits) * sensor.ratio * sensor.r0])
                read[k] = platinum_celsius(ohm_then, sensor.r0)[0]
        for where, moment, celsius in edits.rows:
            if where == name:
                read[int(np.searchsorted(t, moment))] += celsius
        if sensor.step_c:
            read = np.round(read / sensor.step_c) * sensor.step_c
    columns[f"{name}.temperature_c"] = _text(read, sensor.decimals)
    if sensor.plant is not None:
        goal = {"nozzle": day.nozzle, "bed": day.bed, "second": day.second}[sensor.role]
        columns[f"{name}.target_c"] = [f"{g:g}" for g in goal[at]]
        columns[f"{name}.power"] = _power(sensor, course.asked, course.given, at, day.step_s)
    if sensor.flags:
        flags = np.full(len(t), "none", dtype=object)
        for where, start, stop, word in edits.flags:
            if where == name:
                a, b = np.searchsorted(t, [start, stop])
                flags[a : max(b, a + 1)] = word
        columns[f"{name}.flags"] = [str(f) for f in flags]


def _code_of(celsius: float, sensor: Sensor) -> int:
    """Ratiometric code of the sensor's converter."""
    share = float(platinum_ohm(np.array([celsius]), 1.0)[0]) / sensor.ratio
    return round(share * (1 << sensor.bits))


def _power(
    sensor: Sensor, asked: Floats, given: Floats, at: NDArray[np.int64], step_s: float
) -> list[str]:
    if sensor.power_as == "given":
        return [f"{v:g}" for v in given[at]]
    if sensor.power_as == "late":
        return [f"{v:.4g}" for v in asked[np.maximum(at - int(1.0 / step_s), 0)]]
    if sensor.power_as == "smooth":
        keep = float(np.exp(-step_s / 5.0))
        return [f"{v:.3f}" for v in np.asarray(lfilter([1 - keep], [1, -keep], asked))[at]]
    return [f"{v:.2f}" if sensor.power_as == "percent" else f"{v:.5g}" for v in asked[at]]


def _machine_columns(
    columns: dict[str, list[str]],
    machine: Machine,
    day: Day,
    edits: Edits,
    t: Floats,
    at: NDArray[np.int64],
    rng: np.random.Generator,
) -> None:
    host = machine.host
    if host.motion != "none":
        xyz, speed = movement(day, rng)
        if host.motion in ("all", "xyz"):
            for axis, where in zip("xy", xyz, strict=True):
                columns[f"motion.{axis}_mm"] = [f"{v:.2f}" for v in where[at]]
            columns["motion.z_mm"] = [f"{v:.2f}" for v in day.height[at]]
        if host.motion in ("all", "speed"):
            columns["motion.speed_mm_s"] = [f"{v:.1f}" for v in speed[at]]
    if host.fan:
        columns["fan.speed"] = [f"{round(v * 250) / 250:.3g}" for v in day.fan[at]]
    if host.uptime or edits.restarts:
        up = t + 33.0
        for moment in edits.restarts:
            up = np.where(t >= moment, t - moment + 2.0, up)
        columns["controller.uptime_s"] = [f"{v:.2f}" for v in up]
    if host.state or edits.states:
        states = np.full(len(t), "up", dtype=object)
        for start, stop, word in edits.states:
            states[(t >= start - 1e-3) & (t < stop - 1e-3)] = word
        columns["host.state"] = [str(s) for s in states]
    notes = [(m, w) for m, w in (day.marks + edits.messages) if m < t[-1]]
    if host.state and notes:
        words = [""] * len(t)
        for moment, word in notes:
            words[int(np.searchsorted(t, moment))] = word
        columns["host.message"] = words


def movement(day: Day, rng: np.random.Generator) -> tuple[tuple[Floats, Floats], Floats]:
    """Straight moves between drawn points while busy; still otherwise."""
    n = len(day.busy)
    moving = np.flatnonzero(day.busy > 0)
    x, y, speed = np.full(n, 10.0), np.full(n, 200.0), np.zeros(n)
    if len(moving):
        lasts = len(moving) * day.step_s
        count = int(lasts / 0.3) + 4
        centre, size = rng.uniform(60, 160, 2), rng.uniform(10, 90)
        points = centre[:, None] + rng.uniform(-size, size, (2, count))
        length = np.hypot(*np.diff(points, axis=1))
        fast = rng.choice([25.0, 60.0, 90.0, 150.0], len(length)) * rng.uniform(
            0.8, 1.1, len(length)
        )
        when = np.concatenate([[0.0], np.cumsum(length / fast)])
        here = (np.arange(len(moving)) * day.step_s) % when[-1]
        x[moving], y[moving] = np.interp(here, when, points[0]), np.interp(here, when, points[1])
        speed[moving] = fast[np.minimum(np.searchsorted(when, here, "right") - 1, len(fast) - 1)]
    return (x, y), speed


def _text(values: Floats, decimals: int | None) -> list[str]:
    if decimals is None:
        return [repr(float(v)) for v in values]
    return [f"{v:.{decimals}f}" for v in values]


def _save(
    path: Path, clock: Floats, columns: dict[str, list[str]], delta: bool, skip_empty: bool
) -> None:
    if delta:
        columns = {name: _changes(cells) for name, cells in columns.items()}
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(["time_s", *columns])
        for moment, *cells in zip(clock.tolist(), *columns.values(), strict=True):
            if not skip_empty or any(cells):
                out.writerow([f"{moment:.4f}", *cells])


def _changes(cells: list[str]) -> list[str]:
    out, last = [], None
    for cell in cells:
        out.append("" if cell == last else cell)
        last = cell or last
    return out
