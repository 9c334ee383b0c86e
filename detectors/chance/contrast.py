"""Is a reading noisier while the carriage moves than while it stands still, right beside?

Windows are gathered into groups that hold rows of both states, so that what changes slowly
falls out of each group's ratio. Noise is the mean size of third differences, which heat's
slopes and bends hardly touch, of four rows of one state each; one odd sample counts no more
than ten usual ones. Groups are independent, whatever the memory of the noise within them:
the mean logarithm of the ratio is held against its own scatter (Student's t).
"""

import math
from collections import deque
from dataclasses import dataclass

LEAST_DIFFERENCES = 8.0
"""Third differences of each state for a group."""
LEAST_GROUPS = 4
LEAST_RATIO = 2.0
CLEAR_RATIO = 1.3
SURE = 4.0
"""Standard errors by which the mean ratio must exceed `CLEAR_RATIO`."""
SCATTER = 1.12
"""Scatter of the logarithm of one state's mean size for white noise, times √ of its count:
neighbouring differences share rows (computed)."""
LEAST_SIZE = 1.5
"""A mean size below so many steps is that of rounding."""
LONGEST_S = 900.0
"""Rows of a group lie no farther apart: what changes slowly is not to be compared."""
KEPT_S = 3600.0
MOST_GROUPS = 128


@dataclass(frozen=True, slots=True)
class Contrast:
    """Mean ratio of noise in motion to that at rest, over groups from `start_s` to `end_s`."""

    ratio: float
    errors: float
    """How many standard errors the logarithm of the ratio is from none."""
    groups: int
    start_s: float
    end_s: float


@dataclass(slots=True)
class _Group:
    start_s: float = math.nan
    end_s: float = math.nan
    moving: float = 0.0
    moving_count: float = 0.0
    still: float = 0.0
    still_count: float = 0.0
    step: float = 0.0

    @property
    def is_whole(self) -> bool:
        return min(self.moving_count, self.still_count) >= LEAST_DIFFERENCES

    @property
    def expected(self) -> float:
        """Variance of the logarithm of its ratio for white noise."""
        return SCATTER * SCATTER * (1.0 / self.moving_count + 1.0 / self.still_count)

    def log_ratio(self) -> float:
        least = LEAST_SIZE * self.step
        moving = max(self.moving / self.moving_count, least)
        still = max(self.still / self.still_count, least)
        return math.log(moving) - math.log(still) if min(moving, still) > 0.0 else 0.0


class MotionContrast:
    """Takes the windows of one channel."""

    def __init__(self) -> None:
        self._open = _Group()
        self._groups: deque[tuple[float, float, float, float]] = deque(maxlen=MOST_GROUPS)
        """Start, end, log ratio and its expected variance of each."""

    def add(
        self,
        start_s: float,
        end_s: float,
        sizes: tuple[float, float],
        counts: tuple[float, float],
        step: float,
    ) -> bool:
        """Take sums and counts, moving and still, of one window; whether a group is now whole."""
        if not counts[0] and not counts[1]:
            return False
        group = self._open
        if end_s - group.start_s > LONGEST_S:
            group = self._open = _Group()
        if group.start_s != group.start_s:
            group.start_s = start_s
        group.end_s = end_s
        group.moving += sizes[0]
        group.moving_count += counts[0]
        group.still += sizes[1]
        group.still_count += counts[1]
        group.step = max(group.step, step)
        if not group.is_whole:
            return False
        self._groups.append((group.start_s, end_s, group.log_ratio(), group.expected))
        while self._groups[0][1] < end_s - KEPT_S:
            self._groups.popleft()
        self._open = _Group()
        return True

    @property
    def last_is_loud(self) -> bool:
        return bool(self._groups) and self._groups[-1][2] > math.log(CLEAR_RATIO)

    def judge(self) -> Contrast | None:
        """The contrast, where it is sure: of the latest groups that agree, or of all."""
        groups = list(self._groups)
        for first in {max(len(groups) - 8, 0), 0}:
            found = _judged(groups[first:])
            if found is not None:
                return found
        return None


def _judged(groups: list[tuple[float, float, float, float]]) -> Contrast | None:
    n = len(groups)
    if n < LEAST_GROUPS:
        return None
    logs = [log for _, _, log, _ in groups]
    mean = math.fsum(logs) / n
    if mean < math.log(LEAST_RATIO):
        return None
    scatter = math.fsum((log - mean) ** 2 for log in logs) / (n - 1)
    expected = math.fsum(variance for *_, variance in groups) / n
    error = math.sqrt(max(scatter, expected) / n)
    # The scatter of few groups is known badly: where it counts, Student's t asks for more.
    needed = SURE * (1.0 + 2.0 / n) if scatter > expected else SURE
    if mean - math.log(CLEAR_RATIO) < needed * error:
        return None
    loud = next(index for index, log in enumerate(logs) if log > math.log(CLEAR_RATIO))
    return Contrast(math.exp(mean), mean / error, n, groups[loud][0], groups[-1][1])
