"""The range of an axis: the readings fill it; what lies far beyond is clipped and numbered."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from recordings.report.gather import Line
from shared.updates import Floats

FAR = 12.0
"""Median absolute deviations from the median beyond which a value may be clipped."""
MOST_CLIPPED = 0.25
"""Share of values beyond which they are no exception: then all are shown."""
MARGIN = 0.08
RUN_S = 2.0
"""Clipped samples closer than this are one excursion."""


@dataclass(frozen=True, slots=True)
class Beyond:
    """One excursion out of the axis: its number, when it begins, and its furthest value."""

    number: int
    time_s: float
    value: float
    is_high: bool


def axis_range(values: Iterable[Floats], least: float) -> tuple[float, float]:
    """Lowest and highest of an axis at least `least` wide."""
    joined = np.concatenate([np.empty(0), *values])
    joined = joined[np.isfinite(joined)]
    if not len(joined):
        return 0.0, 1.0
    middle = float(np.median(joined))
    apart = np.abs(joined - middle)
    near = joined[apart <= FAR * max(float(np.median(apart)), least / 4)]
    if len(near) < (1.0 - MOST_CLIPPED) * len(joined):
        near = joined
    low, high = float(near.min()), float(near.max())
    pad = max(MARGIN * (high - low), (least - (high - low)) / 2)
    return low - pad, high + pad


def beyond(line: Line, low: float, high: float) -> list[Beyond]:
    """Excursions of a line out of the axis, numbered from 1 in their order."""
    found: list[Beyond] = []
    outside = np.flatnonzero((line.value < low) | (line.value > high))
    previous = -2
    for index in outside.tolist():
        time_s, value = float(line.time_s[index]), float(line.value[index])
        is_high = value > high
        last = found[-1] if found else None
        joins = index == previous + 1 or (last and time_s - line.time_s[previous] <= RUN_S)
        previous = index
        if last is not None and joins and last.is_high == is_high:
            further = max(last.value, value) if is_high else min(last.value, value)
            found[-1] = Beyond(last.number, last.time_s, further, is_high)
        else:
            found.append(Beyond(len(found) + 1, time_s, value, is_high))
    return found
