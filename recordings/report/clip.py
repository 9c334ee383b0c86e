"""The range of an axis: the readings fill it; what lies far beyond is clipped and numbered."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from recordings.report.gather import ReportLine
from shared.updates import Floats

SMOOTH = 9
"""Points of the running median that tells what a reading is apart from its excursions."""
APART = 2.5
"""A cluster this many spans of the rest away is an open or a short circuit, not heat."""
MOST_CLIPPED = 0.25
"""Share of such a cluster beyond which it is no exception: then it is shown."""
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


def axis_range(
    lines: Iterable[tuple[Floats, Floats]], least: float, room: float
) -> tuple[float, float]:
    """Lowest and highest of an axis at least `least` wide.

    `lines` are lowest and highest values, shapes (n,). What the readings do apart from
    excursions is in the range; excursions are as long as it grows to no more than `room`
    times that.
    """
    lows, highs = [], []
    core: list[float] = []
    for low, high in lines:
        low, high = low[np.isfinite(low)], high[np.isfinite(high)]
        if len(low):
            lows.append(float(low.min()))
            highs.append(float(high.max()))
            # The highest of the lowest and the lowest of the highest: excursions are in neither.
            core += [float(_usual(high).min()), float(_usual(low).max())]
    if not core:
        return 0.0, 1.0
    bottom, top = min(core), max(core)
    span = max(top - bottom, least)
    bottom = max(min(lows), bottom - (room - 1.0) * span)
    top = min(max(highs), top + (room - 1.0) * span)
    pad = max(MARGIN * (top - bottom), (least - (top - bottom)) / 2)
    return bottom - pad, top + pad


def _usual(values: Floats) -> Floats:
    """Values without short excursions and without a small cluster far away, shape (m,)."""
    half = SMOOTH // 2
    padded = np.pad(values, half, mode="edge")
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(padded, SMOOTH), axis=1)
    ordered = np.sort(smooth)
    steps = np.diff(ordered)
    if not len(steps):
        return ordered
    at = int(steps.argmax())
    below, above = ordered[: at + 1], ordered[at + 1 :]
    for kept, other in ((below, above), (above, below)):
        is_small = len(other) <= MOST_CLIPPED * len(ordered)
        if is_small and steps[at] > APART * (kept[-1] - kept[0]):
            return kept
    return ordered


def beyond(line: ReportLine, low: float, high: float) -> list[Beyond]:
    """Excursions of a line out of the axis, numbered from 1 in their order."""
    found: list[Beyond] = []
    outside = np.flatnonzero((line.value < low) | (line.value > high))
    previous = -2
    for index in outside.tolist():
        time_s, value = float(line.time_s[index]), float(line.value[index])
        is_high = value > high
        last = found[-1] if found else None
        joins = index == previous + 1 or time_s - line.time_s[previous] <= RUN_S
        previous = index
        if last is not None and joins and last.is_high == is_high:
            further = max(last.value, value) if is_high else min(last.value, value)
            found[-1] = Beyond(last.number, last.time_s, further, is_high)
        else:
            found.append(Beyond(len(found) + 1, time_s, value, is_high))
    return found
