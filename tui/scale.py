"""The temperature axis: fitted to readings that can be believed, and slow to change.

Heat is always in range. What no heat made (an open circuit at full scale) does not
widen the axis; the chart marks it at the edge with its number.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.updates import Floats
from tui.raster import Columns, Flags

EXCURSION_K = 25.0
"""A doubtful reading this near to what is believed is still shown in scale."""
LEAST_SPAN_K = 10.0
SHRINK_BELOW = 0.45
"""The axis shrinks once less than this part of it is used."""
ROUGH_TICKS = 4
_MEDIAN_OF = 5


@dataclass(frozen=True, slots=True)
class Axis:
    """Bottom, top and step of the axis; both ends are whole steps."""

    bottom: float
    top: float
    step: float

    @property
    def ticks(self) -> list[float]:
        count = round((self.top - self.bottom) / self.step)
        return [self.bottom + index * self.step for index in range(count + 1)]


def nice_step(span: float) -> float:
    """1, 2 or 5 times a power of ten, at least `span` / 4."""
    rough = max(span, 1e-9) / ROUGH_TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    for factor in (1.0, 2.0, 5.0, 10.0):
        if factor * power >= rough * (1 - 1e-9):
            return factor * power
    return 10.0 * power


def nice_axis(low: float, high: float) -> Axis:
    """The tightest axis with whole steps around low…high."""
    spare = LEAST_SPAN_K - (high - low)
    if spare > 0:
        low, high = low - spare / 2, high + spare / 2
    step = nice_step(high - low)
    bottom = math.floor(low / step + 1e-9) * step
    top = math.ceil(high / step - 1e-9) * step
    return Axis(bottom, max(top, bottom + step), step)


def believed_range(reading: Columns, target: Columns, believed: Flags) -> tuple[float, float]:
    """Lowest and highest temperature that the axis must show.

    `believed` marks dot columns whose reading was held true, shape (count,). A running
    median takes out what is too short for heat; excursions near the range are let in.
    """
    ends: list[float] = []
    held = believed & ~np.isnan(reading.low)
    if held.any():
        ends += [
            float(np.min(_running_median(reading.low[held]))),
            float(np.max(_running_median(reading.high[held]))),
        ]
    goals = np.concatenate([target.low, target.high])
    goals = goals[~np.isnan(goals)]
    if len(goals):
        ends += [float(goals.min()), float(goals.max())]
    if not ends:
        return _nothing_believed(reading)
    low, high = min(ends), max(ends)
    near = max(EXCURSION_K, (high - low) / 4)
    for edge in (reading.low, reading.high):
        inside = edge[(edge >= low - near) & (edge <= high + near)]
        if len(inside):
            low, high = min(low, float(inside.min())), max(high, float(inside.max()))
    return low, high


def settled(wanted: tuple[float, float], before: Axis | None) -> Axis:
    """The axis for a range: the one before, unless it is too small or far too large."""
    fresh = nice_axis(*wanted)
    if before is None:
        return fresh
    low, high = wanted
    fits = before.bottom <= low and high <= before.top
    if fits and fresh.top - fresh.bottom >= SHRINK_BELOW * (before.top - before.bottom):
        return before
    if fits:
        return fresh
    # Growing: keep the end that still fits, so that the picture moves as little as it can.
    return nice_axis(
        min(low, before.bottom) if before.top - low <= 2 * (high - low) else low,
        max(high, before.top) if high - before.bottom <= 2 * (high - low) else high,
    )


def _nothing_believed(reading: Columns) -> tuple[float, float]:
    """Where room temperature to a common nozzle lies, and what of the reading is near it."""
    values = np.concatenate([reading.low, reading.high])
    usual = values[(values > -50.0) & (values < 350.0)]
    if not len(usual):
        return 0.0, 300.0
    return float(usual.min()), float(usual.max())


def _running_median(values: Floats) -> Floats:
    half = min(_MEDIAN_OF // 2, (len(values) - 1) // 2)
    if half == 0:
        return values
    padded = np.pad(values, half, mode="reflect")
    windows: NDArray[np.float64] = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    return np.asarray(np.median(windows, axis=1), np.float64)
