"""Whether a heater's power is told by degrees, or only as 0 and one level.

Of what is switched in turns a host may tell the moment's state. Where host and switch keep the same
time it is caught at the same point of each turn: a heater at half power then reads 0, or full, for
minutes.
"""

from dataclasses import dataclass

from detectors.table.closed import ClosedWindow
from detectors.table.windows import ROWS

OFF = 0.02
ONE_LEVEL = 0.02
"""Levels this near to each other are one; counts of rows at it are whole within this, too."""


@dataclass(slots=True)
class Levels:
    """Follows the powers of one heater."""

    is_graded: bool = False
    """Whether power was seen that is neither 0 nor one level."""
    _most: float = 0.0

    def take(self, window: ClosedWindow) -> None:
        high = window.power_high
        if self.is_graded or not high > OFF:
            return
        rows = window.power / high * ROWS
        is_new_level = self._most > 0.0 and abs(high - self._most) > ONE_LEVEL * self._most
        self.is_graded = is_new_level or abs(rows - round(rows)) > ONE_LEVEL
        self._most = max(self._most, high)
