"""A channel's own noise floor, from its windows of 32 rows.

The floor is an exponentially weighted mean of the logarithm of each window's robust
noise. A window moves it by at most 5 %, so a burst of noise does not teach it. It begins with
the lower median of the first windows, so that bursts in fewer than half of them do not either.
"""

import math
from bisect import insort
from dataclasses import dataclass, field

import numpy as np

from detectors.table.windows import ChannelWindows
from shared.updates import Floats

WEIGHT = 0.1
CLIP = 0.5
FIRST = round(1.0 / WEIGHT)
"""Windows of which the median is taken: so many the weighted mean remembers."""
MIN_FRACTION = 0.29
"""Least floor as a fraction of one step: the sd of rounding, 1/√12."""
MIN_DEGREES = 0.003
"""Least floor in K where the step is not known."""


@dataclass(slots=True)
class Floor:
    """`value` is the floor in units of the signal; NaN before the first whole window."""

    least: float
    value: float = math.nan
    _log: float = math.nan
    _first: list[float] = field(default_factory=list)
    """Logarithms of the first windows, sorted."""

    def after(self, windows: ChannelWindows) -> Floats:
        """The floor before the first of m windows, and after each of them; shape (m + 1,).

        Windows with gaps or a change of source teach nothing.
        """
        noise = windows.noise
        teaches = ~(windows.joined | np.isnan(noise))
        logs = np.log(np.maximum(noise, self.least))
        log, first = self._log, self._first
        found = [log]
        for new, is_taught in zip(logs.tolist(), teaches.tolist(), strict=True):
            if is_taught:
                if len(first) < FIRST:
                    insort(first, new)
                    log = first[(len(first) - 1) // 2]
                else:
                    step = new - log
                    log += WEIGHT * (CLIP if step > CLIP else -CLIP if step < -CLIP else step)
            found.append(log)
        self._log = log
        floors: Floats = np.exp(found)
        self.value = float(floors[-1])
        return floors
