"""How long a channel may stand still by chance, from its own habit of changing.

A reading whose noise spans several steps changes in most rows. Let s be the chance that a
row repeats the one before. With white noise s is the sum of p² over all values, so no value
has a chance above √s, and a run of n rows at one value one above √s^n. s is taken from a
quiet quarter of the last windows, for noise that has a memory or comes and goes.

A channel that now and then stands still over a whole window, or that only ever flips
between two neighbouring steps, is too quiet to tell: noise below about 0.2 steps.
"""

import math
from bisect import bisect_left, insort
from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from detectors.closed import ClosedWindow

CHANCE = 1e-9
WINDOWS = 16
LEAST_WINDOWS = 6
LEAST_SHARE = 0.12
LEAST_SPAN_STEPS = 2.0
"""A window's range in steps; one that flips between two steps has a range of one."""
MOST_DRIFT_STEPS = 8.0
"""Drift over a window, in steps: each may be a change that is heat's and not noise's. With
more of them a window tells nothing."""
LEAST_ROWS = 12.0


@dataclass(slots=True)
class ChangeRate:
    """`frozen_rows` is the run that chance does not explain; inf where it can't be told."""

    frozen_rows: float = math.inf
    is_too_quiet: bool = False
    """Whether enough windows came and they were too quiet."""
    _shares: deque[float] = field(default_factory=deque)
    """Shares of changed rows of the last windows, by age."""
    _ordered: list[float] = field(default_factory=list)
    """The same by size."""
    _still: int = 0

    def learn(self, window: "ClosedWindow", step: float, rows: int) -> None:
        changes = window.changes
        if window.joined or window.mean != window.mean:
            return
        if changes == 0:
            self._still += 1
            return
        if self._still and self._still * rows < self.frozen_rows:
            # It stood still by itself, for no longer than it may, and moved again.
            self._add(0.0)
            self._add(0.0)
        self._still = 0
        drift = abs(window.slope) * (window.end_s - window.start_s)
        if step <= 0.0 or drift > MOST_DRIFT_STEPS * step:
            return
        drift /= step
        spans = (window.high - window.low) / step > LEAST_SPAN_STEPS - 0.5
        self._add((changes - drift) / rows if spans and changes > drift else 0.0)
        self.frozen_rows = self._limit()

    def _add(self, share: float) -> None:
        shares, ordered = self._shares, self._ordered
        shares.append(share)
        insort(ordered, share)
        if len(shares) > WINDOWS:
            del ordered[bisect_left(ordered, shares.popleft())]

    def _limit(self) -> float:
        ordered = self._ordered
        if len(ordered) < LEAST_WINDOWS:
            return math.inf
        share = ordered[len(ordered) // 4]
        self.is_too_quiet = ordered[1] == 0.0 or share < LEAST_SHARE
        if self.is_too_quiet:
            return math.inf
        if share >= 1.0:
            return LEAST_ROWS
        return max(math.ceil(2.0 * math.log(CHANCE) / math.log1p(-share)), LEAST_ROWS)
