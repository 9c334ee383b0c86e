"""Power that grows over hours: stretches of like states against the earliest of them.

Looks (`detectors.duty`) of one state are gathered into stretches: half an hour of looks while
material may flow, ten minutes otherwise, pauses between them left out. A state is one target,
fan, and targets of the machine's other heaters, since a bed warms the air.

At rest with the fan off, and for heaters that melt nothing, each stretch is held against the
first of this log. It and the next one must both exceed the limit.

Where material flows, or a fan may run that is not reported, a growing demand looks the same.
So only stretches of one stay at a target count, each by its lower looks (a fifth lie below), in
which little flows; and the rise must be wide, and come little by little: over two hours at
least, no step of it half of the way, and no fall of a third of it.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from detectors.duty import Look

REST_S, FLOW_S = 600.0, 1800.0
"""Looks of so much time make a stretch."""
REST_LEAST, BUSY_LEAST, FLOW_LEAST = 0.15, 0.25, 0.25
"""Least part of more power: at rest; for a bed while printing; while material flows. Flow at a
common 10 mm³/s takes some 4 W, a quarter of what a nozzle needs at rest (computed from 1.24 g/cm³
and 340 J/g, from memory); the lower looks of a stretch hold less of it."""
AIR_K = 20.0
"""How far a chamber may cool over hours, K (an assumption): no fault of the sensor."""
ROOM_C = 25.0
APART_S, FLOW_APART_S = 3600.0, 7200.0
"""From the middle of the first stretch to that of the present one."""
STEP_PART, FALL_PART = 0.5, 1.0 / 3.0
LOW_PART = 0.2
AIR_C = (-40.0, 100.0)
"""Degrees that a channel without a heater must read to be taken for the air's."""
MOST_STATES = 64

State = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Power of a stretch of looks in one state, and mean degrees of unheated channels."""

    start_s: float
    end_s: float
    power: float
    air_c: Mapping[str, float]

    @property
    def middle_s(self) -> float:
        return 0.5 * (self.start_s + self.end_s)


@dataclass(frozen=True, slots=True)
class Rise:
    """Where a state's power stands: `off` is the part more than `since_s` took, of `own`."""

    off: float
    least: float
    own: float
    power: float
    since_s: float
    is_clear: bool
    """Whether it is a drift."""


@dataclass(slots=True)
class _Gathered:
    looks: list[tuple[Look, Mapping[str, float]]] = field(default_factory=list)
    span_s: float = 0.0
    stretches: list[Stretch] = field(default_factory=list)

    def add(self, look: Look, air_c: Mapping[str, float], enough_s: float, part: float) -> bool:
        self.looks.append((look, air_c))
        self.span_s += look.end_s - look.start_s
        if self.span_s < enough_s:
            return False
        looks = [one for one, _ in self.looks]
        powers = sorted(one.power for one in looks)
        names = set.intersection(*(set(air) for _, air in self.looks))
        air = {n: math.fsum(a[n] for _, a in self.looks) / len(looks) for n in sorted(names)}
        power = powers[int(part * (len(powers) - 1))]
        self.stretches.append(Stretch(looks[0].start_s, looks[-1].end_s, power, air))
        self.looks.clear()
        self.span_s = 0.0
        return True


class Hours:
    """Keeps the stretches of one heater's states."""

    def __init__(self) -> None:
        self._steady: dict[State, _Gathered] = {}
        self._flowing: dict[State, _Gathered] = {}

    def leave(self) -> None:
        """The target was left: where material may flow, another stay begins."""
        self._flowing.clear()

    def steady(
        self, state: State, target_c: float, busy: bool, look: Look, air_c: Mapping[str, float]
    ) -> Rise | None:
        """Take a look of a state in which nothing hidden takes power; None between stretches."""
        gathered = _of(self._steady, state)
        if gathered is None or not gathered.add(look, air_c, REST_S, 0.5):
            return None
        first, now = gathered.stretches[0], gathered.stretches[-1]
        before = gathered.stretches[-2] if len(gathered.stretches) > 2 else first
        del gathered.stretches[1:-1]
        least = max(BUSY_LEAST if busy else REST_LEAST, AIR_K / max(target_c - ROOM_C, 1.0))
        off = _excess(first, now, target_c)
        is_clear = min(off, _excess(first, before, target_c)) > least
        is_clear = is_clear and before.middle_s - first.middle_s >= APART_S
        return Rise(off, least, first.power, now.power, first.end_s, is_clear)

    def flowing(
        self, state: State, target_c: float, look: Look, air_c: Mapping[str, float]
    ) -> Rise | None:
        """Take a look of a state in which material or a fan may take power."""
        gathered = _of(self._flowing, state)
        if gathered is None or not gathered.add(look, air_c, FLOW_S, LOW_PART):
            return None
        first, now = gathered.stretches[0], gathered.stretches[-1]
        least = max(FLOW_LEAST, AIR_K / max(target_c - ROOM_C, 1.0))
        off = _excess(first, now, target_c)
        is_late = now.middle_s - first.middle_s >= FLOW_APART_S
        powers = [stretch.power for stretch in gathered.stretches]
        is_clear = off > least and is_late and _is_gradual(powers)
        return Rise(off, least, first.power, now.power, first.end_s, is_clear)


def _of(states: dict[State, _Gathered], state: State) -> _Gathered | None:
    found = states.get(state)
    if found is None and len(states) < MOST_STATES:
        found = states[state] = _Gathered()
    return found


def _excess(first: Stretch, now: Stretch, target_c: float) -> float:
    """The part more that `now` takes, less what colder air explains.

    Losses go with the distance to the air. Air only explains: a board or a motor warms by its
    own work, and must not make an excess of that.
    """
    low, high = AIR_C
    ratio = least = now.power / first.power
    for name, then_c in first.air_c.items():
        now_c = now.air_c.get(name, math.nan)
        if low < then_c < high and low < now_c < high and target_c > max(then_c, now_c):
            least = min(least, ratio * (target_c - then_c) / (target_c - now_c))
    return least - 1.0


def _is_gradual(powers: list[float]) -> bool:
    way = powers[-1] - powers[0]
    highest = powers[0]
    for before, power in pairwise(powers):
        if power - before > STEP_PART * way or power < highest - FALL_PART * way:
            return False
        highest = max(highest, power)
    return True
