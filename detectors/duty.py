"""The mean power of a hold, over stretches that are fair to compare.

Power that is regulated smoothly is compared window by window. A heater that is switched on
and off shows its mean only over whole cycles, from one switching-on to another: five of
them, and five minutes, are one look. A part of a cycle says nothing.
"""

import math
from dataclasses import dataclass

from detectors.closed import ClosedWindow
from detectors.windows import ROWS

SWITCHED = 0.4
"""Change of power from one row to the next that is a switching and no regulation."""
CYCLES = 5
LEAST_S = 300.0
UNSWITCHED_S = 600.0
"""A heater that was not switched for so long is regulated smoothly."""
LONGEST_ROW_S, LONGEST_ROWS = 4.0, 4.0
"""Silence longer than this, and than so many rows, breaks a look off."""
LOWEST, HIGHEST = 0.02, 0.95
"""Power at an end of its range for a whole window shows no mean of a regulation."""


@dataclass(frozen=True, slots=True)
class Look:
    """Mean power and °C from `start_s` to `end_s`; `cycles` 0 where power is smooth."""

    start_s: float
    end_s: float
    power: float
    celsius: float
    cycles: int


class Looks:
    """Takes the windows of one hold, without gaps."""

    def __init__(self) -> None:
        self._switched_s = -math.inf
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
        self._cycles = 0

    def add(self, window: ClosedWindow) -> Look | None:
        """Take a window; the look that it completes, if it does."""
        first = float(window.channel.power_rows[window.index, 0])
        is_steady = window.power_jump < SWITCHED and not abs(first - self._before) >= SWITCHED
        if is_steady and not self.are_cycles:
            self._before = float(window.channel.power_rows[window.index, -1])
            self._before_s = window.end_s
            return self._even(window)
        return self._by_cycles(window)

    def _even(self, window: ClosedWindow) -> Look | None:
        power = window.power
        if not LOWEST < power < HIGHEST:
            return None
        return Look(window.start_s, window.end_s, power, window.middle_c, 0)

    def _by_cycles(self, window: ClosedWindow) -> Look | None:
        found = None
        longest_s = max(LONGEST_ROW_S, LONGEST_ROWS * (window.end_s - window.start_s) / ROWS)
        times = window.windows.time_rows[window.index].tolist()
        for at_s, power in zip(
            times, window.channel.power_rows[window.index].tolist(), strict=True
        ):
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
                if jump > 0.0:
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
            look = Look(self._begin_s, at_s, self._energy / spent, self._heat / spent, self._cycles)
        self._begin_s = at_s
        self._energy = self._heat = 0.0
        self._cycles = 0
        return look
