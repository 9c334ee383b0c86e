"""The mean power of a hold, over stretches that are fair to compare.

Power that is regulated smoothly is compared window by window. A heater that is switched on
and off shows its mean only over whole cycles, from one switching-on to another: five of
them, and five minutes, are one look. A part of a cycle says nothing.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

from detectors.closed import ClosedWindow
from detectors.windows import ROWS
from shared.updates import Floats

SWITCHED = 0.4
"""Change of power from one row to the next that is a switching and no regulation."""
LEG_S, TURN = 30.0, 0.1
"""A host may report power smoothed: a way of `SWITCHED` within so many seconds, between turns
of so much, counts as switched where the way back does too."""
CYCLES = 5
LEAST_S = 300.0
UNSWITCHED_S = 600.0
"""A heater that was not switched for so long is regulated smoothly."""
LONGEST_ROW_S, LONGEST_ROWS = 4.0, 4.0
"""Silence longer than this, and than so many rows, breaks a look off."""
LEAST_MINUTE_S = 55.0
ROWS_A_CYCLE = 6
FAST_ROWS, BEATS_S = 3, 1800.0
"""Cycles of so few rows are as fast as the telling of them; for so long that is remembered."""
LOWEST, HIGHEST = 0.02, 0.95
"""Power at an end of its range for a whole window shows no mean of a regulation."""


@dataclass(frozen=True, slots=True)
class Look:
    """Mean power and °C from `start_s` to `end_s`; `cycles` 0 where power is smooth.

    `is_coarse`: so few rows a cycle that sampling may beat with the switching.
    """

    start_s: float
    end_s: float
    power: float
    celsius: float
    cycles: int
    is_coarse: bool = False


class Looks:
    """Takes the windows of one hold, without gaps."""

    def __init__(self) -> None:
        self._switched_s = -math.inf
        self._legs = _Legs()
        self._fast_s = -math.inf
        self.clear()

    @property
    def are_cycles(self) -> bool:
        """Whether power is now compared by cycles."""
        return self._switched_s > -math.inf

    def clear(self) -> None:
        """What comes next does not follow from what came before."""
        self._before = math.nan
        self._before_s = math.nan
        self._begin_s = math.nan
        self._energy = self._heat = 0.0
        self._cycles = self._rows = 0

    def add(self, window: ClosedWindow) -> Look | None:
        """Take a window; the look that it completes, if it does."""
        powers = window.channel.power_rows[window.index]
        times = window.windows.time_rows[window.index]
        ups = self._legs.ups(times, powers)
        if self._legs.both_s > self._switched_s:
            self._switched_s = self._legs.both_s
        if self._beats(times, powers, ups):
            self.clear()
            return None
        first, last = float(powers[0]), float(powers[-1])
        is_steady = window.power_jump < SWITCHED and not abs(first - self._before) >= SWITCHED
        if is_steady and not self.are_cycles:
            self._before = last
            self._before_s = window.end_s
            return self._even(window)
        return self._by_cycles(window, times.tolist(), powers.tolist(), ups)

    def _beats(self, times: Floats, powers: Floats, ups: list[int]) -> bool:
        """Whether full power is switched as fast as the host tells of it, or was of late.

        The rows then beat with the switching, and their mean may be anything for minutes.
        """
        for before, index in pairwise(ups):
            if index - before <= FAST_ROWS and ((powers < LOWEST) | (powers > HIGHEST)).all():
                self._fast_s = float(times[index])
        return float(times[-1]) - self._fast_s < BEATS_S

    def _even(self, window: ClosedWindow) -> Look | None:
        power = window.power
        if not LOWEST < power < HIGHEST:
            return None
        return Look(window.start_s, window.end_s, power, window.middle_c, 0)

    def _by_cycles(
        self, window: ClosedWindow, times: list[float], powers: list[float], ups: list[int]
    ) -> Look | None:
        found = None
        longest_s = max(LONGEST_ROW_S, LONGEST_ROWS * (window.end_s - window.start_s) / ROWS)
        for row, (at_s, power) in enumerate(zip(times, powers, strict=True)):
            self._rows += 1
            jump = power - self._before
            if self._begin_s == self._begin_s:
                spent = at_s - self._before_s
                if spent > longest_s:
                    # Whatever was switched in a silence is not known.
                    self._begin_s = math.nan
                self._energy += self._before * spent
                self._heat += window.middle_c * spent
            if abs(jump) >= SWITCHED:
                self._switched_s = at_s
            if row in ups:
                found = self._switch_on(at_s) or found
            self._before, self._before_s = power, at_s
        if window.end_s - self._switched_s > UNSWITCHED_S:
            self._switched_s = -math.inf
            self._begin_s = math.nan
        return found

    def _switch_on(self, at_s: float) -> Look | None:
        look = None
        spent = at_s - self._begin_s
        if spent == spent:
            self._cycles += 1
            if self._cycles < CYCLES or spent < LEAST_S:
                return None
            cycles, is_coarse = self._cycles, self._rows < ROWS_A_CYCLE * self._cycles
            power, celsius = self._energy / spent, self._heat / spent
            look = Look(self._begin_s, at_s, power, celsius, cycles, is_coarse)
        self._begin_s = at_s
        self._energy = self._heat = 0.0
        self._cycles = self._rows = 0
        return look


class Minute:
    """Joins looks to ones of a minute at least."""

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        """What comes next does not follow from what came before."""
        self._looks: list[Look] = []

    def add(self, look: Look) -> Look | None:
        """Take a look; the longer one that it completes, if it does."""
        looks = self._looks
        looks.append(look)
        begin_s = looks[0].start_s
        if look.end_s - begin_s < LEAST_MINUTE_S:
            return None
        spans = [one.end_s - one.start_s for one in looks]
        total = math.fsum(spans)
        power = math.fsum(one.power * span for one, span in zip(looks, spans, strict=True))
        celsius = math.fsum(one.celsius * span for one, span in zip(looks, spans, strict=True))
        cycles, is_coarse = sum(one.cycles for one in looks), any(one.is_coarse for one in looks)
        self.clear()
        return Look(begin_s, look.end_s, power / total, celsius / total, cycles, is_coarse)


class _Legs:
    """Follows power from turn to turn."""

    def __init__(self) -> None:
        self.both_s = -math.inf
        """When last a way up and a way down, each wide and quick, had come on end."""
        self._rises = True
        self._turn, self._turn_s = math.nan, math.nan
        """Where the present way began."""
        self._end, self._end_s = math.nan, math.nan
        """The furthest that it came, and when it was there last."""
        self._is_wide = False
        self._wide_s = -math.inf

    def ups(self, times: Floats, powers: Floats) -> list[int]:
        """At which rows of a window a way up became wide."""
        if self._stays(float(powers.min()), float(powers.max())):
            return []
        rows = zip(times.tolist(), powers.tolist(), strict=True)
        return [row for row, (at_s, power) in enumerate(rows) if self._step(at_s, power)]

    def _stays(self, low: float, high: float) -> bool:
        """Whether power between these neither goes on nor turns back; not if one is NaN."""
        if self._rises:
            return high < self._end and low - self._end >= -TURN
        return low > self._end and self._end - high >= -TURN

    def _step(self, at_s: float, power: float) -> bool:
        sign = 1.0 if self._rises else -1.0
        further = sign * (power - self._end)
        if further != further:
            self._turn = self._end = power
            self._turn_s = self._end_s = at_s
            return False
        if further < -TURN:
            self._rises = not self._rises
            self._turn, self._turn_s = self._end, self._end_s
            self._is_wide = False
            sign, further = -sign, 0.0
        elif further < 0.0:
            return False
        self._end, self._end_s = power, at_s
        if self._is_wide or sign * (power - self._turn) < SWITCHED or at_s - self._turn_s > LEG_S:
            return False
        self._is_wide = True
        if at_s - self._wide_s < UNSWITCHED_S:
            self.both_s = at_s
        self._wide_s = at_s
        return self._rises
