"""How often a host speaks, and from when on it is silent."""

import math
from collections import deque

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


class Cadence:
    """The host's own spacing of updates, from row numbers and its latest gaps."""

    def __init__(self) -> None:
        self._first_s = math.nan
        self._first_row = 0
        self._silent_s = 0.0
        self._gaps: deque[float] = deque(maxlen=GAPS_KEPT)
        self._late_row = -1
        self._late_rows = 0
        """The newest late row, and how many came late one after the other."""

    def begin(self, row: int, time_s: float) -> None:
        self._first_s, self._first_row = time_s, row

    def gap(self, seconds: float, row: int, before_s: float, was_silence: bool) -> None:
        """A gap that `row` ends; silences are no habit of the host."""
        if seconds > LATER * self.spacing_s(row, before_s):
            self._late_rows = self._late_rows + 1 if self._late_row == row - 1 else 1
            self._late_row = row
        if was_silence:
            self._silent_s += seconds
        else:
            self._gaps.append(seconds)

    def outage(self, seconds: float, row: int) -> None:
        """A gap over which the link was gone, up to `row`: it tells nothing of the host's habit,
        and takes nothing back of what was late before.
        """
        self._silent_s += seconds
        if self._late_row == row - 1:
            self._late_row = row

    def spacing_s(self, row: int, last_s: float) -> float:
        """The host's own spacing; NaN before any."""
        rows = row - 1 - self._first_row
        return (last_s - self._first_s - self._silent_s) / rows if rows > 0 else math.nan

    def late_before(self, row: int) -> int:
        """How many rows came late one after the other, up to the one before this."""
        return self._late_rows if self._late_row == row - 1 else 0

    def limit_s(self, row: int, last_s: float) -> float:
        """Silence from here on is stale; `row` is the next one, `last_s` the last one's time."""
        rows = row - 1 - self._first_row
        if rows < ROWS_TO_LEARN:
            return UNKNOWN_SILENCE_S
        spacing_s = self.spacing_s(row, last_s)
        return max(SILENCE_S, SPACINGS * spacing_s, GAPS * max(self._gaps, default=0.0))
