"""How settled a channel is, and how much heat it may still have to lose.

A thing that cools to its surroundings with the time constant τ and now changes by s K/s has
s·τ left to go. τ is at least 20 minutes (a thick bed; an assumption), and longer where the
channel's own fall shows it: over a stretch t it fell by F, and F/(s·t) = (exp x − 1)/x with
x = t/τ. A fall that hardly gets slower has long to go.
"""

import math
from bisect import bisect_left
from collections import deque
from dataclasses import dataclass, field

from detectors.table.closed import ClosedWindow

SLOWEST_S = 1200.0
MOST_S = 4.0 * 3600.0
"""A channel is not taken for slower than this."""
KEPT_S = 240.0
LEAST_POINTS = 6
OUTER = 0.375
"""Middles of a window's first and last quarter lie this part of it off its middle."""
BLOCK_S = 60.0
MOST_BLOCKS = 128
LEAST_FALL_K = 1.0
"""Over the later half of the time without heat, for a time constant to be told from it."""


@dataclass(slots=True)
class Fall:
    """What one channel read since heat was off, thinned as time goes on."""

    blocks: list[tuple[float, float]] = field(default_factory=list)
    _apart_s: float = BLOCK_S

    def clear(self) -> None:
        self.blocks.clear()
        self._apart_s = BLOCK_S

    def add(self, at_s: float, celsius: float) -> None:
        if self.blocks and at_s - self.blocks[-1][0] < self._apart_s:
            return
        self.blocks.append((at_s, celsius))
        if len(self.blocks) > MOST_BLOCKS:
            del self.blocks[1::2]
            self._apart_s *= 2.0

    def time_constant_s(self, now_s: float, celsius: float, slope: float) -> float:
        """From the later half of the fall; `slope` (K/s, at most) is what it does now."""
        if not self.blocks:
            return SLOWEST_S
        half_s = 0.5 * (self.blocks[0][0] + now_s)
        at = min(bisect_left(self.blocks, (half_s,)), len(self.blocks) - 1)
        from_s, from_c = self.blocks[at]
        fell, span_s = from_c - celsius, now_s - from_s
        if fell < LEAST_FALL_K or not span_s > 0.0:
            return SLOWEST_S
        return min(max(span_s / _parts(fell / (slope * span_s)), SLOWEST_S), MOST_S)


def _parts(ratio: float) -> float:
    """x of (exp x − 1)/x = ratio; tiny where the ratio is not above 1."""
    if ratio <= 1.0:
        return 1e-6
    # Newton from above: the function is convex and rises.
    x = 2.0 * math.log(ratio) + 1.0
    for _ in range(40):
        grown = math.exp(x)
        step = (grown - 1.0 - ratio * x) / (grown - ratio)
        x -= step
        if abs(step) < 1e-9 * x:
            break
    return max(x, 1e-6)


@dataclass(slots=True)
class Level:
    """One channel's last windows: the middles of their first and last quarters."""

    fall: Fall = field(default_factory=Fall)
    points: deque[tuple[float, float]] = field(default_factory=deque)
    _slope: tuple[float, float] | None = None
    """Worked out once for the same points."""

    def clear(self) -> None:
        """Heat is on: what comes next is another fall."""
        self.points.clear()
        self.fall.clear()
        self._slope = None

    def add(self, window: ClosedWindow) -> None:
        self._slope = None
        at_s = 0.5 * (window.start_s + window.end_s)
        beside_s = OUTER * (window.end_s - window.start_s)
        beside_k = window.celsius_slope * beside_s
        self.points.append((at_s - beside_s, window.middle_c - beside_k))
        self.points.append((at_s + beside_s, window.middle_c + beside_k))
        while self.points[0][0] < at_s - KEPT_S:
            self.points.popleft()
        self.fall.add(at_s, window.middle_c)

    def mean(self) -> float:
        return math.fsum(c for _, c in self.points) / len(self.points)

    def slope(self) -> tuple[float, float]:
        """K/s and its standard error; NaN where three windows are not there yet."""
        if self._slope is None:
            self._slope = self._fitted()
        return self._slope

    def _fitted(self) -> tuple[float, float]:
        n = len(self.points)
        if n < LEAST_POINTS:
            return math.nan, math.nan
        middle_s = math.fsum(s for s, _ in self.points) / n
        spread = math.fsum((s - middle_s) ** 2 for s, _ in self.points)
        if spread <= 0.0:
            return math.nan, math.nan
        mean = self.mean()
        slope = math.fsum((s - middle_s) * (c - mean) for s, c in self.points) / spread
        rest = math.fsum((c - mean - slope * (s - middle_s)) ** 2 for s, c in self.points)
        return slope, math.sqrt(rest / (n - 2) / spread)

    def left_k(self, common: float) -> float:
        """The most that may be left to cool or warm beside what all do, K; NaN: not known."""
        slope, error = self.slope()
        most = abs(slope - common) + 2.0 * error
        return most * self._slowest_s(most)

    def is_flat(self, common: float, left_k: float) -> bool:
        """Whether no more than `left_k` is left, as far as its noise lets one see."""
        slope, error = self.slope()
        off = abs(slope - common)
        return off * self._slowest_s(off + 2.0 * error) < left_k + 2.0 * error * SLOWEST_S

    def _slowest_s(self, slope: float) -> float:
        if not slope > 0.0:
            return SLOWEST_S
        now_s = math.fsum(s for s, _ in self.points) / len(self.points)
        return self.fall.time_constant_s(now_s, self.mean(), slope)
