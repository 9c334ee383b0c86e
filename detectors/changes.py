"""How long a channel may stand still by chance, from its own habit of changing.

A reading whose noise spans several steps changes in most rows. Let s be the chance that a
row repeats the one before. With white noise s is the sum of p² over all values, so no value
has a chance above √s, and a run of n rows at one value one above √s^n. s is taken from a
quiet quarter of the last windows, for noise that has a memory or comes and goes. Where heat
moves the reading over many steps, changes are heat's: s then follows from the noise itself
(third differences, heat falls out): Σp² of a Gaussian of sd σ steps is below 1/(2 √π σ).

A channel that now and then stands still over a whole window, or that only ever flips
between two neighbouring steps, is too quiet to tell: noise below about 0.2 steps.
"""

import math
from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from detectors.running import held
from detectors.windows import ROWS
from shared.updates import Floats

if TYPE_CHECKING:
    from detectors.closed import ClosedWindow
    from detectors.windows import ChannelWindows

CHANCE = 1e-9
WINDOWS = 16
ENOUGH_WINDOWS = 6
"""Of fewer windows the quietest counts, and a run must be longer by the share that is missing."""
LEAST_SHARE, MOST_SHARE = 0.12, 1.0 - 1e-9
LEAST_VALUES = 3
"""Different values in a window that tells: noise may flip between two of any size for as long as
what is measured lies between them, and stand still once that has moved on."""
MOST_DRIFT_STEPS = 8.0
"""Drift over a window, in steps: each may be a change that is heat's and not noise's. With
more of them a window's changes tell nothing."""
ROUNDING = 1.0 / 12.0
"""Variance of rounding, in steps²: no noise of the reading."""
REPEATS_AT_ONE_STEP = 0.5 / math.sqrt(math.pi)
LEAST_ROWS = 12.0


@dataclass(slots=True)
class ChangeRate:
    """`frozen_rows` is the run that chance does not explain; inf where it can't be told."""

    frozen_rows: float = math.inf
    _shares: deque[float] = field(default_factory=lambda: deque([math.inf] * WINDOWS))
    """Shares of changed rows of the last windows, by age; inf for those still to come."""
    _still: int = 0
    """Windows without a change, since the last with one."""

    def step(self, window: "ClosedWindow", step: float) -> None:
        """Take one window, on plain floats."""
        if window.joined or window.mean != window.mean:
            return
        changes = window.changes
        if changes == 0:
            self._still += 1
            return
        if self._still and self._still * ROWS < self.frozen_rows:
            self._stood()
        self._still = 0
        if step <= 0.0:
            return
        drift = abs(window.slope) * (window.end_s - window.start_s) / step
        if drift > MOST_DRIFT_STEPS:
            share = _share_of_noise(window.rough, step, changes)
        elif drift == drift and window.values >= LEAST_VALUES and changes > drift:
            share = (changes - drift) / ROWS
        else:
            share = 0.0
        self._add(share)
        self.frozen_rows = _limit(sorted(self._shares))

    def _add(self, share: float) -> None:
        self._shares.popleft()
        self._shares.append(share)

    def _stood(self) -> None:
        """It stood still by itself, for no longer than it may, and moved again."""
        self._add(0.0)
        self._add(0.0)

    def learn(self, windows: "ChannelWindows", seconds: Floats, step: Floats) -> Floats:
        """`step` for m windows that last `seconds`, with the signal's step: shape (m,), all.

        `frozen_rows` after each of them.
        """
        taught = ~(windows.joined | np.isnan(windows.mean))
        moves = windows.changes > 0
        tells, shares = _shares_of(windows, seconds, step)
        tells &= taught & moves
        found = np.full(len(seconds), math.nan)
        before, begin = self.frozen_rows, 0
        for end, still in self._ends_of_stillness(taught, moves):
            self._take(slice(begin, end), tells, shares, found)
            if still * ROWS < self.frozen_rows:
                self._stood()
            begin = end
        self._take(slice(begin, None), tells, shares, found)
        return held(found, found == found, before)

    def _ends_of_stillness(
        self, taught: NDArray[np.bool_], moves: NDArray[np.bool_]
    ) -> list[tuple[int, int]]:
        """Windows that move after some that stood still, and how many those were."""
        if not self._still and moves.all():
            return []
        stills = np.cumsum(taught & ~moves)
        at = np.flatnonzero(taught & moves)
        if not len(at):
            self._still += int(stills[-1])
            return []
        stood = np.diff(stills[at], prepend=-self._still)
        self._still = int(stills[-1] - stills[at[-1]])
        ends = np.flatnonzero(stood)
        return list(zip(at[ends].tolist(), stood[ends].tolist(), strict=True))

    def _take(self, part: slice, tells: NDArray[np.bool_], shares: Floats, found: Floats) -> None:
        """Learn from the windows of a part that tell; the limits after each into `found`."""
        told = tells[part]
        new = shares[part][told]
        if not len(new):
            return
        known = np.concatenate((self._shares, new))
        self._shares = deque(known[-WINDOWS:].tolist())
        limits = _limits(known[1:][_LAST + np.arange(len(new))[:, None]])
        found[part][told] = limits
        self.frozen_rows = float(limits[-1])


_LAST = np.arange(WINDOWS)


def _shares_of(
    windows: "ChannelWindows", seconds: Floats, step: Floats
) -> tuple[NDArray[np.bool_], Floats]:
    """Windows that tell something, and their shares of changed rows that are noise's."""
    one = np.where(step > 0.0, step, 1.0)
    drift = np.abs(windows.slope) * seconds / one
    is_noise = (windows.values >= LEAST_VALUES) & (windows.changes > drift)
    shares = np.where(is_noise, (windows.changes - drift) / ROWS, 0.0)
    for index in np.flatnonzero(drift > MOST_DRIFT_STEPS).tolist():
        rough, changes = float(windows.rough[index]), int(windows.changes[index])
        shares[index] = _share_of_noise(rough, float(one[index]), changes)
    return step > 0.0, shares


def _share_of_noise(rough: float, step: float, changes: int) -> float:
    """Share of rows that noise alone would change; never more than did change."""
    steps = rough / step
    variance = steps * steps - ROUNDING
    if not variance > 0.0:
        return 0.0
    return max(min(1.0 - REPEATS_AT_ONE_STEP / math.sqrt(variance), changes / ROWS), 0.0)


def _limit(ordered: list[float]) -> float:
    """The run that chance does not explain, from the last windows' shares, smallest first."""
    count = WINDOWS - ordered.count(math.inf)
    is_enough = count >= ENOUGH_WINDOWS
    share, quiet = (ordered[count // 4], ordered[1]) if is_enough else (ordered[0], ordered[0])
    if count == 0 or quiet <= 0.0 or share < LEAST_SHARE:
        return math.inf
    # By NumPy's logarithm, as for many: the same to the last bit.
    chance = float(np.log1p(-min(share, MOST_SHARE)))
    rows = math.ceil(2.0 * math.log(CHANCE) / chance * max(ENOUGH_WINDOWS / count, 1.0))
    return max(rows, LEAST_ROWS)


def _limits(shares: Floats) -> Floats:
    """The same from shares of shape (k, WINDOWS)."""
    ordered = np.sort(shares, axis=1)
    count = np.add.reduce(ordered < math.inf, axis=1)
    is_enough = count >= ENOUGH_WINDOWS
    share = ordered[np.arange(len(ordered)), np.where(is_enough, count // 4, 0)]
    quiet = np.where(is_enough, ordered[:, 1], ordered[:, 0])
    told = (count > 0) & (quiet > 0.0) & (share >= LEAST_SHARE)
    # A share of one leaves no chance at all, and its logarithm is no number.
    within = np.minimum(np.maximum(share, LEAST_SHARE), MOST_SHARE)
    longer = np.maximum(ENOUGH_WINDOWS / np.maximum(count, 1), 1.0)
    rows = np.ceil(2.0 * math.log(CHANCE) / np.log1p(-within) * longer)
    return np.where(told, np.maximum(rows, LEAST_ROWS), math.inf)
