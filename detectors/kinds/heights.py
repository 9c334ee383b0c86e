"""Are a channel's faults tied to the height of the carriage, over all prints of a log?

In one print height only grows, and so does time: what begins in mid-print lies above some
height, and proves nothing. Nor can an hour tell, since height takes hours. So motion is kept
for long, as stretches of a minute, and faults with it; a tie needs the exact rate test of
`chance.ties` (the time in motion above or below a place against all of it), and faults in
the state at two times, with a quiet time out of it between them in which some were due.
"""

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from detectors.chance.rates import binomial_upper
from detectors.chance.ties import (
    APART_SLOW_S,
    DUE,
    GROWTH,
    LEAST_EVENTS,
    LEAST_RATIO,
    LEAST_TO_ASK,
    QUIET_PART,
    SIGNIFICANT,
    Bools,
    Tie,
    thinned,
)
from detectors.table.windows import Windows
from shared.updates import Floats

HEIGHT_KEY = "motion.z_mm"
STRETCH_S = 60.0
MOST_STRETCHES = 1024
"""Seventeen hours in motion at least."""
MOST_FAULTS = 256
RETURNS = 2
"""Faults in each of the two times that the state came."""


@dataclass(slots=True)
class _Stretch:
    """From `start_s` to `end_s` the carriage moved for `moved_s`, at `z_mm` in the mean."""

    start_s: float
    end_s: float
    moved_s: float
    z_mm: float


@dataclass(slots=True)
class _Faults:
    times_s: deque[float] = field(default_factory=lambda: deque(maxlen=MOST_FAULTS))
    asked: int = 0


class Heights:
    """Keeps heights, and the faults of each channel."""

    def __init__(self) -> None:
        self._stretches: deque[_Stretch] = deque(maxlen=MOST_STRETCHES)
        self._faults: dict[str, _Faults] = {}

    def window(self, windows: Windows, index: int) -> None:
        """Take a window's motion."""
        height = windows.context.get(HEIGHT_KEY)
        moving = float(windows.moving[index])
        if height is None or not moving > 0.0:
            return
        z_mm = float(height[index])
        if z_mm != z_mm:
            return
        start_s, end_s = float(windows.start_s[index]), float(windows.end_s[index])
        moved_s = moving * (end_s - start_s)
        last = self._stretches[-1] if self._stretches else None
        if last is None or end_s - last.start_s > STRETCH_S:
            self._stretches.append(_Stretch(start_s, end_s, moved_s, z_mm))
            return
        whole = last.moved_s + moved_s
        last.z_mm += (z_mm - last.z_mm) * moved_s / whole if whole > 0.0 else 0.0
        last.end_s, last.moved_s = end_s, whole

    def fault(self, channel: str, at_s: float) -> None:
        """Note a fault."""
        self._faults.setdefault(channel, _Faults()).times_s.append(at_s)

    def ties(self) -> list[tuple[str, Tie, list[float]]]:
        """Channels whose faults grew in number and are tied to height, and when those came."""
        found: list[tuple[str, Tie, list[float]]] = []
        if not self._stretches:
            return found
        for channel, faults in sorted(self._faults.items()):
            while faults.times_s and self._stretches[0].start_s > faults.times_s[0]:
                faults.times_s.popleft()
                faults.asked = min(faults.asked, len(faults.times_s))
            count = len(faults.times_s)
            if count < LEAST_TO_ASK or count < GROWTH * faults.asked:
                continue
            faults.asked = count
            tie = self._ask(list(faults.times_s))
            if tie is not None:
                found.append((channel, tie, list(faults.times_s)))
        return found

    def _ask(self, times_s: list[float]) -> Tie | None:
        starts = np.array([one.start_s for one in self._stretches])
        ends = np.array([one.end_s for one in self._stretches])
        z_mm = np.array([one.z_mm for one in self._stretches])
        spent = np.array([one.moved_s for one in self._stretches])
        every = np.sort(np.array(times_s))
        at = every[thinned(every, APART_SLOW_S)]
        rows = np.searchsorted(starts, at, side="right") - 1
        rows = rows[(rows >= 0) & (at <= ends[rows])]
        counts = np.bincount(rows, minlength=len(starts))
        places = np.sort(z_mm[rows])
        n = len(places)
        if n < LEAST_TO_ASK:
            return None
        # The faults' own places gain nothing by chance: see `chance.ties`.
        lefts = sorted({0, n // 10, n // 4, n // 2})
        states = [("above", float(places[k]), z_mm >= places[k]) for k in lefts]
        states += [("below", float(places[n - 1 - k]), z_mm <= places[n - 1 - k]) for k in lefts]
        ties = [
            _tie(f"while {HEIGHT_KEY} is {side} {place:.4g}", inside, counts, spent, len(states))
            for side, place, inside in states
        ]
        return min((tie for tie in ties if tie is not None), key=lambda tie: tie.p, default=None)


def _tie(
    words: str, inside: Bools, counts: np.ndarray, spent: Floats, questions: int
) -> Tie | None:
    k, n = int(counts[inside].sum()), int(counts.sum())
    time, all_time = float(spent[inside].sum()), float(spent.sum())
    if k < LEAST_EVENTS or not 0.0 < time < all_time:
        return None
    p = binomial_upper(k, n, time / all_time) * questions
    tie = Tie(HEIGHT_KEY, words, k, n, time / all_time, time, all_time, p)
    if p > SIGNIFICANT or tie.ratio < LEAST_RATIO:
        return None
    return tie if _returns(inside, counts, spent, k / time) else None


def _returns(inside: Bools, counts: np.ndarray, spent: Floats, rate: float) -> bool:
    """Whether faults came in the state, were due but stayed away outside, and came again."""
    times, came_in = 0, 0
    due, came_out = 0.0, 0
    for is_inside, count, time in zip(
        inside.tolist(), counts.tolist(), spent.tolist(), strict=True
    ):
        if not is_inside:
            due += time * rate
            came_out += count
            continue
        if due >= DUE:
            if came_in >= RETURNS and came_out <= QUIET_PART * due:
                times, came_in = times + 1, 0
            due, came_out = 0.0, 0
        came_in += count
    return times > 0 and came_in >= RETURNS
