"""How often a host speaks, and from when on it is silent."""

import math
from collections import deque
from typing import NamedTuple

SILENCE_S = 5.0
"""Default: twenty updates at the 4 Hz that hosts commonly send (common practice)."""
SPACINGS = 10.0
GAPS = 2.0
GAPS_KEPT = 32
ROWS_TO_LEARN = 8
UNKNOWN_SILENCE_S = 30.0
"""Limit until so many rows have shown the host's spacing."""
LATER = 2.0
"""An update that comes after so many of the host's own spacings is late."""


class _Long(NamedTuple):
    """Gaps beyond the limit."""

    gaps: int = 0
    total_s: float = 0.0
    longest_s: float = 0.0


class Cadence:
    """The host's own spacing of updates, from row numbers and its latest gaps.

    A gap beyond the limit is a silence only where most rows came without one: what comes each time
    is the host's habit, be it an hour.
    """

    def __init__(self) -> None:
        self._first_s = math.nan
        self._first_row = 0
        self._lost_s = 0.0
        self._gaps: deque[float] = deque(maxlen=GAPS_KEPT)
        self._long = _Long()
        self._late_row = -1
        self._late_rows = 0
        """The newest late row, and how many came late one after the other."""

    def begin(self, row: int, time_s: float) -> None:
        self._first_s, self._first_row = time_s, row

    def is_silence(self, seconds: float, row: int, before_s: float) -> bool:
        """Whether a gap that `row` ends was one, as far as the rows before it tell."""
        is_long = seconds > self.limit_s(row, before_s)
        return is_long and not self._is_habit(row - self._first_row, 1)

    def gap(self, seconds: float, row: int, before_s: float) -> None:
        """A gap that `row` ends."""
        if seconds > LATER * self.spacing_s(row, before_s):
            self._late_rows = self._late_rows + 1 if self._late_row == row - 1 else 1
            self._late_row = row
        long = self._long
        if seconds > self.limit_s(row, before_s):
            longest_s = max(long.longest_s, seconds)
            self._long = _Long(long.gaps + 1, long.total_s + seconds, longest_s)
            return
        self._gaps.append(seconds)

    def _is_habit(self, rows: int, more: int = 0) -> bool:
        """Whether gaps beyond the limit, and so many more, are half of the rows."""
        return rows > 0 and 2 * (self._long.gaps + more) >= rows

    def outage(self, seconds: float, row: int) -> None:
        """A gap over which the link was gone, up to `row`: it tells nothing of the host's habit,
        and takes nothing back of what was late before.
        """
        self._lost_s += seconds
        if self._late_row == row - 1:
            self._late_row = row

    def spacing_s(self, row: int, last_s: float) -> float:
        """The host's own spacing; NaN before any."""
        rows = row - 1 - self._first_row
        silent_s = self._lost_s + (0.0 if self._is_habit(rows) else self._long.total_s)
        return (last_s - self._first_s - silent_s) / rows if rows > 0 else math.nan

    def late_before(self, row: int) -> int:
        """How many rows came late one after the other, up to the one before this."""
        return self._late_rows if self._late_row == row - 1 else 0

    def limit_s(self, row: int, last_s: float) -> float:
        """Silence from here on is stale; `row` is the next one, `last_s` the last one's time."""
        rows = row - 1 - self._first_row
        longest_s = max(self._gaps, default=0.0)
        if self._is_habit(rows):
            longest_s = max(longest_s, self._long.longest_s)
        if rows < ROWS_TO_LEARN:
            return max(UNKNOWN_SILENCE_S, GAPS * longest_s)
        return max(SILENCE_S, SPACINGS * self.spacing_s(row, last_s), GAPS * longest_s)
