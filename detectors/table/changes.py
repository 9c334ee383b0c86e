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
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from detectors.table.running import held
from detectors.table.windows import ROWS, ChannelWindows
from shared.platinum import HIGHEST_C
from shared.updates import Floats

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
LEVEL_C = 10.0
"""Within so many kelvin noise is alike, and so is how long a reading may stand by itself."""


@dataclass(slots=True)
class ChangeRate:
    """`frozen_rows` is the run that chance does not explain; inf where it can't be told."""

    frozen_rows: float = math.inf
    _shares: Floats = field(default_factory=lambda: np.full(WINDOWS, math.inf))
    """Shares of changed rows of the last windows, by age; inf for those still to come."""
    _stood: dict[int, float] = field(default_factory=dict)
    """By level of temperature, the most rows that it stood by itself there."""
    _still: int = 0
    """Windows without a change, since the last with one."""

    def take(self, shares: Floats) -> Floats:
        """Take k windows that tell: the shares of the last ones after each, shape (k, WINDOWS)."""
        known = np.concatenate((self._shares, shares))
        self._shares = known[-WINDOWS:]
        found: Floats = known[_LAST + np.arange(len(shares))[:, None]]
        return found

    def take_between(
        self,
        stood: Sequence[tuple[int, int]],
        tells: NDArray[np.bool_],
        shares: Floats,
        levels: Sequence[int],
    ) -> Floats:
        """The same of m windows with stillness among them: `frozen_rows` after each, shape (m,).

        NaN where one tells nothing. Whether it stood for too long is judged by what was known then.
        """
        found = np.full(len(shares), math.nan)
        for begin, end, still in zip(
            [0, *(end for end, _ in stood)],
            [*(end for end, _ in stood), len(shares)],
            [*(still for _, still in stood), math.inf],
            strict=True,
        ):
            told = begin + np.flatnonzero(tells[begin:end])
            if len(told):
                limits = _limits(self.take(shares[told]))
                found[told] = self.at_least(limits, [levels[at] for at in told.tolist()])
                self.frozen_rows = float(found[told[-1]])
            if still * ROWS < self.frozen_rows:
                # It stood still by itself, for no longer than it may, and moved again.
                self._shares = np.concatenate((self._shares[2:], (0.0, 0.0)))
                level, rows = levels[end], float(still * ROWS)
                self._stood[level] = max(self._stood.get(level, 0.0), rows)
        return found

    def at_least(self, limits: Floats, levels: Sequence[int]) -> Floats:
        """Limits, shape (m,), and no less than it stood by itself near each window's level."""
        if not self._stood:
            return limits
        stood = [
            max(self._stood.get(near, 0.0) for near in (level - 1, level, level + 1))
            for level in levels
        ]
        return np.fmax(limits, stood)

    def ends_of_stillness(
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


_LAST = np.arange(1, WINDOWS + 1)


def learn_changes(
    windows: ChannelWindows, seconds: Floats, step: Floats, rates: Sequence[ChangeRate]
) -> Floats:
    """Take windows of n channels that last `seconds`, shape (m,), with the signal's step (n, m).

    How long each channel may stand still by chance after each window, in rows, shape (n, m).
    """
    taught = ~(windows.joined | np.isnan(windows.mean))
    moves = windows.changes > 0
    # What stands from a window's middle on may be frozen: how often it changes is not known yet.
    stands = (windows.signal_rows[..., ROWS // 2 :] == windows.signal_rows[..., -1:]).all(axis=-1)
    tells = taught & moves & (step > 0.0) & ~stands
    shares = _shares_of(windows, seconds, step)
    found = np.full(shares.shape, math.nan)
    before = np.array([rate.frozen_rows for rate in rates])
    # What is no temperature at all is at the edge.
    celsius = np.clip(np.nan_to_num(windows.celsius), -HIGHEST_C, HIGHEST_C)
    levels = np.floor(celsius / LEVEL_C).astype(int).tolist()
    plain, rows = tells.copy(), []
    for place, rate in enumerate(rates):
        stood = rate.ends_of_stillness(taught[place], moves[place])
        if stood:
            at = levels[place]
            found[place] = rate.take_between(stood, tells[place], shares[place], at)
            plain[place] = False
        else:
            rows.append(rate.take(shares[place][plain[place]]))
    if plain.any():
        found[plain] = _limits(np.concatenate(rows))
        for place in np.flatnonzero(plain.any(axis=1)).tolist():
            known = np.flatnonzero(plain[place])
            at = [levels[place][n] for n in known.tolist()]
            found[place, known] = rates[place].at_least(found[place, known], at)
    limits = held(found, ~np.isnan(found), before)
    for rate, last in zip(rates, limits[:, -1].tolist(), strict=True):
        rate.frozen_rows = last
    return limits


def _shares_of(windows: ChannelWindows, seconds: Floats, step: Floats) -> Floats:
    """Shares of changed rows that are noise's, shape (n, m)."""
    one = np.where(step > 0.0, step, 1.0)
    drift = np.abs(windows.slope) * seconds / one
    is_noise = (windows.values >= LEAST_VALUES) & (windows.changes > drift)
    slow = np.where(is_noise, (windows.changes - drift) / ROWS, 0.0)
    return np.where(drift > MOST_DRIFT_STEPS, _shares_of_noise(windows, one), slow)


def _shares_of_noise(windows: ChannelWindows, step: Floats) -> Floats:
    """Share of rows that noise alone would change; never more than did change."""
    steps = windows.rough / step
    variance = steps * steps - ROUNDING
    is_wide = variance > 0.0
    share = 1.0 - REPEATS_AT_ONE_STEP / np.sqrt(np.where(is_wide, variance, 1.0))
    share = np.maximum(np.minimum(share, windows.changes / ROWS), 0.0)
    return np.where(is_wide, share, 0.0)


def _limits(shares: Floats) -> Floats:
    """The run that chance does not explain, from shares of the last windows, shape (k, WINDOWS)."""
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
