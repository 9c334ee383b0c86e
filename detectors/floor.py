"""A channel's own noise floor, from its windows of 32 rows.

The floor is an exponentially weighted mean of the logarithm of each window's robust
noise. A window moves it by at most 5 %, so a burst of noise does not teach it.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from detectors.closed import Figures

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

    def after(self, figures: "Figures") -> list[float]:
        """The floor before the first of these windows, and after each of them.

        Windows with gaps or a change of source teach nothing.
        """
        value, least = self.value, self.least
        found = [value]
        for noise, joined in zip(figures.noise, figures.joined, strict=True):
            if not joined and noise == noise:
                noise = noise if noise > least else least
                if value != value:
                    value = noise
                else:
                    step = math.log(noise / value)
                    step = CLIP if step > CLIP else -CLIP if step < -CLIP else step
                    value *= math.exp(WEIGHT * step)
            found.append(value)
        self.value = value
        return found
