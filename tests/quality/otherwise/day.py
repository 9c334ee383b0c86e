"""What a machine is told to do over some hours, on a grid of steps."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MATERIALS = (
    (200.0, 55.0, 1.0),
    (215.0, 60.0, 1.0),
    (235.0, 80.0, 0.4),
    (250.0, 105.0, 0.15),
    (285.0, 112.0, 0.0),
)


@dataclass
class Day:
    """Columns on a grid of `step_s`: goals in °C, fan and flow 0–1, height in mm.

    `busy` is 1 while the carriage moves; `second` is the goal of a parked hot end. Lists of
    stretches: prints, rests of ten minutes at least, and heat-ups for a print.
    """

    step_s: float
    nozzle: Floats
    bed: Floats
    second: Floats
    fan: Floats
    busy: Floats
    flow: Floats
    height: Floats
    marks: list[tuple[float, str]] = field(default_factory=list)
    prints: list[tuple[float, float]] = field(default_factory=list)
    rests: list[tuple[float, float]] = field(default_factory=list)
    heats: list[tuple[float, float]] = field(default_factory=list)


def make_day(rng: np.random.Generator, hours: float, step_s: float, style: str = "any") -> Day:
    """A day of prints, pauses, manual heats and idle stretches, drawn anew."""
    n = int(hours * 3600 / step_s)
    nozzle, bed, second, fan, busy, flow, height = (np.zeros(n) for _ in range(7))
    day = Day(step_s, nozzle, bed, second, fan, busy, flow, height)
    day.height[:] = 50.0
    at = 0.0
    end = hours * 3600
    if style == "idle":
        day.rests.append((0.0, end))
        return day
    at = _idle(day, at, float(rng.choice([20.0, 120.0, 900.0])) * rng.uniform(0.5, 1.5))
    while at < end - 600:
        what = (
            rng.choice(["print", "print", "print", "manual", "tower", "idle"])
            if style == "any"
            else style
        )
        if what == "idle":
            at = _idle(day, at, rng.uniform(0.2, 3.0) * 3600)
        elif what == "manual":
            at = _manual(day, rng, at)
        else:
            at = _print(day, rng, at, tower=what == "tower", longest=end - at - 300)
        at = _idle(day, at, float(rng.choice([300.0, 1800.0, 7200.0])) * rng.uniform(0.5, 1.5))
    return day


def _put(day: Day, column: Floats, start: float, stop: float, value: float) -> None:
    column[int(start / day.step_s) : max(int(stop / day.step_s), 0)] = value


def _idle(day: Day, at: float, lasts: float) -> float:
    stop = min(at + lasts, len(day.nozzle) * day.step_s)
    if stop - at > 600:
        day.rests.append((at, stop))
    return at + lasts


def _manual(day: Day, rng: np.random.Generator, at: float) -> float:
    """Heat by hand: a filament change, a bed warmed and forgotten, a goal nudged up and down."""
    kind = rng.integers(3)
    day.marks.append((at, "heated by hand"))
    if kind == 0:
        stop = at + rng.uniform(240, 900)
        _put(day, day.nozzle, at, stop, float(rng.choice([190.0, 220.0, 240.0])))
        for _ in range(3):
            push = at + rng.uniform(180, 240)
            _put(day, day.flow, push, min(push + rng.uniform(5, 20), stop), 1.0)
    elif kind == 1:
        stop = at + rng.uniform(900, 5400)
        _put(day, day.bed, at, stop, float(rng.choice([50.0, 60.0, 90.0])))
    else:
        t = at
        for _ in range(int(rng.integers(2, 7))):
            nxt = t + rng.uniform(60, 420)
            _put(day, day.nozzle, t, nxt, float(rng.choice([150.0, 170.0, 200.0, 230.0, 260.0])))
            t = nxt
        stop = t
    return float(stop)


def _print(day: Day, rng: np.random.Generator, at: float, tower: bool, longest: float) -> float:
    hot, warm, blow = MATERIALS[int(rng.integers(len(MATERIALS)))]
    day.marks.append((at, "print started"))
    day.heats.append((at, at + 120))
    body = min(rng.uniform(0.4, 5.0) * 3600, max(longest - 900, 300))
    sequence = rng.integers(4)
    t = at
    if sequence == 0:  # bed first, nozzle at a preheat for probing, then hot
        soak = rng.uniform(180, 600)
        _put(day, day.bed, t, t + soak + body + 600, warm)
        _put(day, day.nozzle, t + soak * 0.5, t + soak + body, 150.0)
        _put(day, day.busy, t + soak * 0.7, t + soak, 1.0)
        t += soak
    elif sequence == 1:  # both at once
        _put(day, day.bed, t, t + 400 + body, warm)
        t += rng.uniform(0, 10)
    elif sequence == 2:  # a long soak with the fan stirring the chamber
        soak = rng.uniform(600, 1500)
        _put(day, day.bed, t, t + soak + 600 + body, warm)
        _put(day, day.fan, t + 60, t + soak, 0.5)
        t += soak
    else:  # cold bed
        warm = 0.0
    _put(day, day.nozzle, t, t + 600, hot)
    ready = t + rng.uniform(90, 260)
    stop = ready + body
    _put(day, day.nozzle, t, stop, hot)
    if warm:
        _put(day, day.bed, t, stop, warm)
    _put(day, day.busy, ready - 30, stop, 1.0)
    _put(day, day.flow, ready, stop, rng.uniform(0.2, 1.0))
    day.prints.append((ready, min(stop, len(day.nozzle) * day.step_s)))
    _layers(day, rng, ready, stop, blow)
    if rng.random() < 0.5:
        _put(
            day,
            day.nozzle,
            ready + rng.uniform(120, 400),
            stop,
            hot - float(rng.choice([5.0, 10.0])),
        )
    if warm and rng.random() < 0.4:
        _put(
            day,
            day.bed,
            ready + rng.uniform(120, 900),
            stop,
            warm - float(rng.choice([5.0, 10.0, 20.0])),
        )
    if tower:
        for k, here in enumerate(np.arange(ready + 300, stop, rng.uniform(240, 600))):
            _put(day, day.nozzle, float(here), stop, hot - 5.0 * (k % 8))
    if rng.random() < 0.35 and body > 2400:
        _pause(day, rng, ready + rng.uniform(0.3, 0.7) * body, stop)
    if rng.random() < 0.3:
        _second(day, rng, ready, stop, hot)
    over = int(stop / day.step_s)
    for column in (day.nozzle, day.bed, day.second, day.busy, day.flow):
        column[over:] = 0.0
    day.height[over:] = 60.0
    _put(day, day.fan, stop, stop + 3600, 0.0)
    if rng.random() < 0.3:
        _put(day, day.fan, stop, stop + rng.uniform(120, 600), 1.0)
    return float(stop)


def _layers(day: Day, rng: np.random.Generator, start: float, stop: float, blow: float) -> None:
    t, z, layer = start, 0.2, 0
    a_layer = rng.uniform(8, 90)
    kicks = rng.random() < 0.3
    base = 0.0
    while t < stop:
        nxt = t + a_layer * rng.uniform(0.7, 1.4)
        if layer >= 1:
            base = min(blow, blow * layer / 3) if layer < 3 else base
        if layer > 3 and rng.random() < 0.02:
            base = float(np.clip(blow * rng.uniform(0.4, 1.2), 0, 1))
        _put(day, day.fan, t, min(nxt, stop), base)
        if kicks and layer > 3 and rng.random() < 0.1:
            _put(day, day.fan, t, min(t + rng.uniform(3, 20), stop), 1.0)
        if rng.random() < 0.2:
            _put(day, day.flow, t, stop, rng.uniform(0.05, 1.0))
        _put(day, day.height, t, stop, z)
        t, z, layer = nxt, z + 0.2, layer + 1


def _pause(day: Day, rng: np.random.Generator, at: float, stop: float) -> None:
    lasts = min(rng.uniform(60, 1500), stop - at - 300)
    hot = float(day.nozzle[int(at / day.step_s)])
    heat_first = rng.uniform(60, 120)
    day.marks.append((at, "print paused"))
    for column in (day.busy, day.flow):
        _put(day, column, at, at + lasts, 0.0)
    day.prints[-1:] = [(day.prints[-1][0], at), (at + lasts, day.prints[-1][1])]
    if rng.random() < 0.6:
        _put(day, day.fan, at, at + lasts, 0.0)
    if rng.random() < 0.6:
        _put(day, day.nozzle, at, at + lasts - heat_first, float(rng.choice([0.0, 140.0])))
        _put(day, day.nozzle, at + lasts - heat_first, at + lasts, hot)


def _second(day: Day, rng: np.random.Generator, start: float, stop: float, hot: float) -> None:
    """A tool changer's other hot end: hot, then parked warm, again and again."""
    t = start
    while t < stop:
        work, park = rng.uniform(60, 400), rng.uniform(100, 900)
        _put(day, day.second, t, min(t + work, stop), hot)
        _put(day, day.second, t + work, min(t + work + park, stop), hot - 60.0)
        t += work + park
