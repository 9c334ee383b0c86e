"""What a machine is told to do over some hours: prints of different kinds, heat by hand, rest.

Temperatures are those usual for common plastics (memory); times from a minute to hours.
"""

from dataclasses import dataclass, field

import numpy as np

from shared.updates import Floats
from tests.quality.worlds.machine import Machine, Rng

MATERIALS = ((200.0, 55.0, 1.0), (215.0, 60.0, 1.0), (235.0, 80.0, 0.5), (250.0, 105.0, 0.2))
"""Nozzle, bed, °C, and fan in full layers."""
FILAMENT_J_K_MM = 2.405 * 1.24e-3 * 1.9
"""Heat a millimetre of filament takes for each kelvin, J: 1.75 mm across, 1.24 g/cm³ and about
1.9 J/(g K) (handbook values of a common plastic)."""
MELTS, MELT_K = 0.125, 200.0
STYLES = ("mixed", "several", "one long", "idle", "on from the start")
STYLE_CHANCES = (0.3, 0.25, 0.2, 0.1, 0.15)


@dataclass(slots=True)
class Program:
    """Columns on the grid of steps, and stretches in s: prints while moving, and rests."""

    step_s: float
    targets: dict[str, Floats]
    fan: Floats
    x_mm: Floats
    y_mm: Floats
    z_mm: Floats
    speed_mm_s: Floats
    feed_mm_s: Floats
    style: str
    heats: list[tuple[float, float]] = field(default_factory=list)
    """From the order to heat to the end of that print's heat."""
    prints: list[tuple[float, float]] = field(default_factory=list)
    rests: list[tuple[float, float]] = field(default_factory=list)

    def cut(self, start_s: float, stop_s: float) -> slice:
        return slice(max(int(start_s / self.step_s), 0), max(int(stop_s / self.step_s), 0))

    @property
    def seconds(self) -> float:
        return len(self.fan) * self.step_s

    def off(self, start_s: float, stop_s: float) -> None:
        """No order at all for a while: the machine was stopped."""
        span = self.cut(start_s, stop_s)
        for column in (*self.targets.values(), self.fan, self.speed_mm_s, self.feed_mm_s):
            column[span] = 0.0


def still(step_s: float, targets: dict[str, Floats], style: str) -> Program:
    """Targets, and nothing that moves or blows."""
    fan, x, y, z, speed, feed = (np.zeros(len(next(iter(targets.values())))) for _ in range(6))
    return Program(step_s, targets, fan, x, y, z, speed, feed, style)


def draw_program(rng: Rng, machine: Machine, hours: float, style: str | None = None) -> Program:
    """A day of so many hours; a style is drawn where none is asked for."""
    style = style or str(rng.choice(STYLES, p=STYLE_CHANCES))
    count = int(hours * 3600.0 / machine.step_s)
    targets = {each.name: np.zeros(count) for each in machine.heaters}
    program = still(machine.step_s, targets, style)
    end_s, at_s = hours * 3600.0, 0.0
    if style == "idle":
        program.rests.append((0.0, end_s))
        return program
    if style != "on from the start":
        at_s = _rest(program, 0.0, rng.uniform(120.0, 900.0))
    while at_s < end_s - 900.0:
        if style == "mixed" and rng.random() < 0.3:
            at_s = _by_hand(rng, program, machine, at_s)
        else:
            longest_s = end_s - at_s - 300.0
            if style == "several":
                longest_s = min(longest_s, rng.uniform(900.0, 3600.0))
            elif style != "one long":
                longest_s = min(longest_s, rng.uniform(1200.0, 10_000.0))
            at_s = _print(rng, program, machine, at_s, longest_s)
        at_s = _rest(program, at_s, rng.choice([300.0, 900.0, 2400.0]) * rng.uniform(0.5, 1.5))
    if at_s < end_s:
        _rest(program, at_s, end_s - at_s)
    return program


def _rest(program: Program, at_s: float, lasts_s: float) -> float:
    program.rests.append((at_s, min(at_s + lasts_s, program.seconds)))
    return at_s + lasts_s


def _by_hand(rng: Rng, program: Program, machine: Machine, at_s: float) -> float:
    """Heat without a print: filament changed, a bed warmed, a target moved up and down."""
    heater = machine.heaters[int(rng.integers(len(machine.heaters)))]
    levels = {"nozzle": (150.0, 260.0), "bed": (40.0, 100.0), "chamber": (35.0, 60.0)}[heater.role]
    for _ in range(int(rng.integers(1, 5))):
        lasts_s = rng.uniform(120.0, 900.0)
        target = 5.0 * round(rng.uniform(*levels) / 5.0)
        program.targets[heater.name][program.cut(at_s, at_s + lasts_s)] = target
        at_s += lasts_s
    return at_s


def _print(rng: Rng, program: Program, machine: Machine, at_s: float, longest_s: float) -> float:
    """Heat up in one of three orders, a first layer without fan, layers, then off."""
    hot_c, warm_c, blow = MATERIALS[int(rng.integers(len(MATERIALS)))]
    stop_s = at_s + longest_s
    wait_s = min(rng.uniform(120.0, 600.0), 0.3 * longest_s)
    order = int(rng.integers(3))
    nozzle_s = at_s if order == 0 else at_s + rng.uniform(0.3, 0.9) * wait_s
    first_s = min(rng.uniform(60.0, 600.0), 0.2 * longest_s)
    program.heats.append((at_s, stop_s))
    begins_s = at_s + wait_s
    for heater in machine.heaters:
        target = program.targets[heater.name]
        if heater.role == "bed":
            target[program.cut(at_s, stop_s)] = warm_c
        elif heater.role == "chamber":
            target[program.cut(at_s, stop_s)] = 5.0 * round(rng.uniform(35.0, 60.0) / 5.0)
        else:
            if order == 2:
                target[program.cut(at_s, nozzle_s)] = 150.0
            target[program.cut(nozzle_s, stop_s)] = hot_c
            if rng.random() < 0.4:
                after = program.cut(begins_s + first_s, stop_s)
                target[after] = hot_c - float(rng.choice([5.0, 10.0]))
    second = next((h for h in machine.heaters if h.name.endswith(" 2")), None)
    if second is not None:
        _in_turns(rng, program, second.name, begins_s, stop_s, hot_c)
    _move(rng, program, begins_s, stop_s, _fastest_feed(machine))
    _blow(rng, program, begins_s + first_s, stop_s, blow)
    program.prints.append((begins_s, min(stop_s, program.seconds)))
    if rng.random() < 0.3:
        program.fan[program.cut(stop_s, stop_s + rng.uniform(60.0, 400.0))] = 1.0
    return stop_s


def _in_turns(
    rng: Rng, program: Program, name: str, at_s: float, stop_s: float, hot_c: float
) -> None:
    """A second nozzle: off all print, or hot and parked in turns."""
    target = program.targets[name]
    if rng.random() < 0.5:
        target[program.cut(at_s - 3600.0, stop_s)] = 0.0
        return
    while at_s < stop_s:
        hot_s, park_s = rng.uniform(120.0, 900.0), rng.uniform(120.0, 900.0)
        target[program.cut(at_s + hot_s, min(at_s + hot_s + park_s, stop_s))] = hot_c - 60.0
        at_s += hot_s + park_s


def _fastest_feed(machine: Machine) -> float:
    """What a nozzle melts with an eighth of its power, mm/s: hardly anyone asks for more."""
    return MELTS * machine.heaters[0].body.watts / (FILAMENT_J_K_MM * MELT_K)


def _move(rng: Rng, program: Program, at_s: float, stop_s: float, fastest_feed: float) -> None:
    """Straight moves of 0.3–8 s between drawn places, with pauses; layer by layer."""
    span = program.cut(at_s, stop_s)
    seconds = np.arange(span.start, min(span.stop, len(program.fan))) * program.step_s - at_s
    count = int((stop_s - at_s) / 0.8) + 20
    mean_s = float(rng.uniform(1.0, 4.0))
    lasts = np.clip(rng.exponential(mean_s, count), 0.3, 8.0)
    is_pause = rng.random(count) < float(rng.choice([0.0, 0.02, 0.1]))
    knots = np.concatenate([[0.0], np.cumsum(lasts)])
    places = rng.uniform(20.0, 200.0, (2, count + 1))
    for k in np.flatnonzero(is_pause):
        places[:, k + 1] = places[:, k]
    move = np.minimum(np.searchsorted(knots, seconds, side="right") - 1, count - 1)
    pace = np.hypot(*np.diff(places, axis=1)) / lasts
    share = np.where(is_pause, 0.0, rng.choice([0.0, 1.0], count, p=[0.25, 0.75]))
    slow = np.repeat(rng.uniform(0.2, 1.0, count // 60 + 1), 60)[:count]
    feed = share * slow * float(rng.uniform(0.1, 1.0)) * fastest_feed
    program.x_mm[span] = np.interp(seconds, knots, places[0])
    program.y_mm[span] = np.interp(seconds, knots, places[1])
    layer_s = float(rng.uniform(15.0, 120.0))
    program.z_mm[span] = 0.2 * (1 + np.floor(seconds / layer_s))
    program.speed_mm_s[span] = pace[move]
    program.feed_mm_s[span] = feed[move]


def _blow(rng: Rng, program: Program, at_s: float, stop_s: float, blow: float) -> None:
    """The fan after the first layer: steady, in steps, or with kicks for bridges."""
    way = str(rng.choice(["steady", "steps", "kicks"]))
    if way == "steady":
        program.fan[program.cut(at_s, stop_s)] = blow
        return
    while at_s < stop_s:
        lasts_s = rng.uniform(20.0, 600.0)
        level = blow * rng.uniform(0.3, 1.0) if way == "steps" else blow
        program.fan[program.cut(at_s, min(at_s + lasts_s, stop_s))] = round(float(level), 2)
        if way == "kicks":
            kick_s = min(at_s + rng.uniform(3.0, 20.0), stop_s)
            program.fan[program.cut(at_s, kick_s)] = 1.0
        at_s += lasts_s
