"""Control charts as small states of plain floats: EWMA and the two-sided tabular CUSUM.

Definitions: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 and 6.3.2.4. The
detectors use these very classes; tests feed them the handbook's worked examples.
"""

import math
from dataclasses import dataclass

OVERSHOOT = 1.166
"""Siegmund's correction of the decision limit, in sd of one value."""
SECONDS_IN_30_DAYS = 30.0 * 86400.0
"""False alarms are budgeted as one in 30 days for a channel."""


@dataclass(slots=True)
class Ewma:
    """Exponentially weighted moving average; `value` is its state."""

    weight: float
    value: float

    def update(self, x: float) -> float:
        self.value += self.weight * (x - self.value)
        return self.value

    def limits(self, centre: float, sd: float, width: float = 3.0) -> tuple[float, float]:
        """Lower and upper limit of a chart in its steady state."""
        half = width * sd * math.sqrt(self.weight / (2.0 - self.weight))
        return centre - half, centre + half


@dataclass(slots=True)
class Cusum:
    """Two-sided tabular CUSUM about 0: `slack` (k) and `limit` (h) in units of the values."""

    slack: float
    limit: float
    high: float = 0.0
    low: float = 0.0

    def update(self, x: float) -> int:
        """Take a deviation: 1 or −1 where the upper or lower sum is beyond the limit, else 0."""
        high = self.high + x - self.slack
        low = self.low - x - self.slack
        self.high = high if high > 0.0 else 0.0
        self.low = low if low > 0.0 else 0.0
        if self.high > self.limit:
            return 1
        return -1 if self.low > self.limit else 0

    def reset(self) -> None:
        self.high = self.low = 0.0


def average_run(slack: float, limit: float, shift: float = 0.0) -> float:
    """Average run length of a one-sided CUSUM for normal values of sd 1 (Siegmund 1985).

    An approximation: within some per cent for limits above 3.
    """
    drift = shift - slack
    height = limit + OVERSHOOT
    if abs(drift) < 1e-9:
        return height * height
    return (math.exp(-2.0 * drift * height) + 2.0 * drift * height - 1.0) / (2.0 * drift * drift)


def limit_for(slack: float, run: float) -> float:
    """Limit (h, in sd) of a one-sided CUSUM whose average run without a shift is `run`."""
    low, high = 0.0, 100.0 / max(slack, 0.1)
    for _ in range(32):
        middle = 0.5 * (low + high)
        if average_run(slack, middle) < run:
            low = middle
        else:
            high = middle
    return high
