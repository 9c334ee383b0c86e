"""A channel's own noise floor, from its windows of 32 rows.

The floor is an exponentially weighted mean of the logarithm of each window's robust
noise. A window moves it by at most 5 %, so a burst of noise does not teach it.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from shared.updates import Floats

if TYPE_CHECKING:
    from detectors.windows import ChannelWindows

WEIGHT = 0.1
CLIP = 0.5
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

    def after(self, windows: "ChannelWindows") -> Floats:
        """The floor before the first of m windows, and after each of them; shape (m + 1,).

        Windows with gaps or a change of source teach nothing.
        """
        noise = windows.noise
        teaches = ~(windows.joined | np.isnan(noise))
        logs = np.log(np.maximum(noise, self.least))
        log = self._log
        found = [log]
        for new, is_taught in zip(logs.tolist(), teaches.tolist(), strict=True):
            if is_taught:
                step = new - log
                if step != step:
                    log = new
                else:
                    log += WEIGHT * (CLIP if step > CLIP else -CLIP if step < -CLIP else step)
            found.append(log)
        self._log = log
        floors: Floats = np.exp(found)
        self.value = float(floors[-1])
        return floors
