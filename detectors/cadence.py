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
LATER_S = 60.0
LATER_SPACINGS = 4.0
"""An update later than this many spacings, in the minute before, counts as late."""


class Cadence:
    """The host's own spacing of updates, from row numbers and its latest gaps."""

    def __init__(self) -> None:
        self._first_s = math.nan
        self._first_row = 0
        self._silent_s = 0.0
        self._gaps: deque[float] = deque(maxlen=GAPS_KEPT)
        self._late_s: deque[float] = deque(maxlen=GAPS_KEPT)
        """When updates came late."""

    def begin(self, row: int, time_s: float) -> None:
        self._first_s, self._first_row = time_s, row

    def gap(self, seconds: float, was_silence: bool, row: int, time_s: float) -> None:
        """A gap between two rows; silences and broken links are no habit of the host."""
        if self.spacing_s(row, time_s) * LATER_SPACINGS < seconds:
            self._late_s.append(time_s)
        if was_silence:
            self._silent_s += seconds
        else:
            self._gaps.append(seconds)

    def spacing_s(self, row: int, last_s: float) -> float:
        """The host's own spacing; NaN before any."""
        rows = row - 1 - self._first_row
        return (last_s - self._first_s - self._silent_s) / rows if rows > 0 else math.nan

    def late_before(self, time_s: float) -> int:
        """Updates that came late in the minute before."""
        return sum(time_s - LATER_S <= late_s < time_s for late_s in self._late_s)

    def limit_s(self, row: int, last_s: float) -> float:
        """Silence from here on is stale; `row` is the next one, `last_s` the last one's time."""
        rows = row - 1 - self._first_row
        if rows < ROWS_TO_LEARN:
            return UNKNOWN_SILENCE_S
        spacing_s = self.spacing_s(row, last_s)
        return max(SILENCE_S, SPACINGS * spacing_s, GAPS * max(self._gaps, default=0.0))
