"""A channel's own noise floor, from its windows of 32 rows.

The floor is an exponentially weighted mean of the logarithm of each window's robust
noise. A window moves it by at most 5 %, so a burst of noise does not teach it.
"""

import math
from dataclasses import dataclass

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

    def learn(self, noise: float, joined: bool) -> None:
        """Take one window's noise; windows with gaps or a change of source teach nothing."""
        if joined or noise != noise:
            return
        noise = noise if noise > self.least else self.least
        if self.value != self.value:
            self.value = noise
            return
        step = math.log(noise / self.value)
        step = CLIP if step > CLIP else -CLIP if step < -CLIP else step
        self.value *= math.exp(WEIGHT * step)
