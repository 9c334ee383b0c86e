"""What the watch has learned of a channel: what its next rows are judged by.

Learned once a window of 32 rows, from windows that are closed; so a row is judged by the
same numbers however the log was cut.
"""

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from detectors.changes import ChangeRate
from detectors.floor import MIN_FRACTION
from detectors.running import held, least_so_far, shifted
from detectors.speedlimit import DEFAULT_FALL_C_S, DEFAULT_RISE_C_S, SpeedLimit
from detectors.windows import ROWS
from shared.updates import Floats

if TYPE_CHECKING:
    from detectors.closed import ClosedWindow
    from detectors.windows import ChannelWindows

NOISE_ABOVE_FLOOR = 5.0
"""How far above the floor a channel's present noise raises its limits."""

REPEATS_TO_TELL = 16
"""Values sent without a change before a host counts as one that sends them; and half of all
unchanged rows, for one that sends everything only after a reconnection does not."""

LEVEL_C = 10.0
STANDS = 0.75
"""Part of a window's rows up to which may change for its values to stand between steps."""
MOST_ASIDE_C = 0.3
"""How far mean and median of a quiet window may lie apart, K; on top of its slope."""


class Learned(NamedTuple):
    """Numbers of one channel as they hold until the next window closes.

    noise       sd of sample noise now, in units of the signal; NaN before the first window.
                At least that of rounding: coarse rounding hides noise from its estimate
    step        smallest difference seen between neighbouring values, near this temperature:
                code or rounding
    spacing_s   usual time between rows
    slope_c_s   of the last clean window, K/s
    power       highest power in the last window, 1 where it is not reported
    rise_c_s    fastest rise that heat can make at full power, K/s
    fall_c_s    fastest fall that loss can make, K/s
    frozen_rows rows without a change that chance does not explain; inf: can't be told
    repeats     whether the host sends this channel's values also when they have not changed
    """

    noise: float = math.nan
    step: float = 0.0
    spacing_s: float = 0.0
    slope_c_s: float = 0.0
    power: float = 1.0
    rise_c_s: float = DEFAULT_RISE_C_S
    fall_c_s: float = DEFAULT_FALL_C_S
    frozen_rows: float = math.inf
    repeats: bool = False


class LearnedColumns:
    """The same before a run of m windows and after each: arrays of shape (m + 1,) by name."""

    def __init__(self, before: Learned, windows: int) -> None:
        self._table: Floats = np.empty((len(Learned._fields), windows + 1))
        self._table[:, 0] = before

    def __getitem__(self, name: str) -> Floats:
        found: Floats = self._table[_PLACES[name]]
        return found

    def __setitem__(self, name: str, values: Floats | NDArray[np.bool_]) -> None:
        """Set a column's numbers after each window; shape (m,)."""
        self._table[_PLACES[name], 1:] = values

    @classmethod
    def of(cls, *learned: Learned) -> "LearnedColumns":
        """From single ones, in their order."""
        found = cls(learned[0], len(learned) - 1)
        found._table[:] = np.array(learned).T
        return found

    def after(self, windows: int) -> Learned:
        """What was learned with so many of the windows."""
        *numbers, repeats = self._table[:, windows].tolist()
        return Learned._make((*numbers, repeats != 0.0))

    def spread(self, known: NDArray[np.intp]) -> "LearnedColumns":
        """Columns of more windows, of which only some were learned from; shape (m + 1,)."""
        found = LearnedColumns(self.after(0), len(known) - 1)
        found._table[:] = self._table[:, known]
        return found


_PLACES = {name: place for place, name in enumerate(Learned._fields)}


@dataclass(slots=True)
class Learner:
    """Takes every window of one channel; `now` is what its next rows are judged by."""

    now: Learned = field(default_factory=Learned)
    speed: SpeedLimit = field(default_factory=SpeedLimit)
    changes: ChangeRate = field(default_factory=ChangeRate)
    _last_noise: float = math.nan
    _last_spacing_s: float = math.nan
    _step: float = math.inf
    _steps: dict[float, float] = field(default_factory=dict)
    """Smallest difference near a temperature where values stand still between steps: those of a
    divider's converter are many times wider at one end of its range."""
    _repeats: int = 0
    _unchanged: int = 0

    def step(self, window: "ClosedWindow", floor: float) -> None:
        """Take one window, on plain floats; `floor` is the noise floor after it."""
        now, changes, joined = self.now, window.changes, window.joined
        seconds, power = window.end_s - window.start_s, window.power_high
        if not joined and 0.0 < window.step < self._step:
            self._step = window.step
        step = self._step if self._step < math.inf else 0.0
        near = self._near(window)
        near = near if step < near < math.inf else step
        slope_c_s = now.slope_c_s
        if _is_clean(window, seconds, step):
            self.speed.step(window)
            slope_c_s = window.celsius_slope
        self.changes.step(window, step)
        if window.repeats or changes:
            self._repeats += window.repeats
            self._unchanged += ROWS - changes
        noise, spacing_s = window.noise, seconds / (ROWS - 1)
        last_noise, last_spacing_s = self._last_noise, self._last_spacing_s
        self._last_noise, self._last_spacing_s = noise, spacing_s
        self.now = Learned(
            _bounded(noise if noise < last_noise else last_noise, floor, near),
            near,
            last_spacing_s if spacing_s > last_spacing_s else spacing_s,
            slope_c_s,
            power if power == power else 1.0,
            self.speed.rise_c_s,
            self.speed.fall_c_s,
            self.changes.frozen_rows,
            self._repeats >= REPEATS_TO_TELL and self._repeats >= 0.5 * self._unchanged,
        )

    def _near(self, window: "ClosedWindow") -> float:
        """The smallest step of values that stand, near this window's level."""
        middle_c = window.middle_c
        level = middle_c // LEVEL_C if middle_c == middle_c else 0.0
        near = self._steps.get(level, math.inf)
        stands = not window.joined and window.changes <= STANDS * ROWS
        if stands and 0.0 < window.step < near:
            self._steps[level] = near = window.step
        return near

    def learn(self, windows: "ChannelWindows", seconds: Floats, floors: Floats) -> LearnedColumns:
        """`step` for m windows that last `seconds`, shape (m,), with `floors` of shape (m + 1,)."""
        present = windows.present
        if present.all():
            return self._learn(windows, seconds, floors[:-1], floors[1:])
        at = np.flatnonzero(present)
        taught = self._learn(windows.take(at), seconds[at], floors[at], floors[at + 1])
        return taught.spread(np.concatenate(([0], np.cumsum(present))))

    def _learn(
        self, windows: "ChannelWindows", seconds: Floats, before: Floats, after: Floats
    ) -> LearnedColumns:
        columns = LearnedColumns(self.now, len(seconds))
        if not len(seconds):
            return columns
        step, near = self._steps_of(windows)
        clean = is_clean(windows, seconds, before, step)
        power = windows.power_high
        columns["noise"] = self._noise(windows.noise, after, near)
        columns["step"] = near
        columns["spacing_s"] = self._spacing(seconds)
        columns["slope_c_s"] = held(windows.celsius_slope, clean, self.now.slope_c_s)
        columns["power"] = np.where(np.isnan(power), 1.0, power)
        columns["rise_c_s"], columns["fall_c_s"] = self.speed.learn(windows, seconds, clean)
        columns["frozen_rows"] = self.changes.learn(windows, seconds, step)
        columns["repeats"] = self._does_repeat(windows)
        self.now = columns.after(len(seconds))
        return columns

    def _steps_of(self, windows: "ChannelWindows") -> tuple[Floats, Floats]:
        """The smallest step up to each window, and that of values that stand near its level."""
        tells = ~windows.joined & (windows.step > 0.0)
        least = least_so_far(np.where(tells, windows.step, math.inf), self._step)
        self._step = float(least[-1])
        step = np.where(least < math.inf, least, 0.0)
        stands = tells & (windows.changes <= STANDS * ROWS)
        steps = np.where(stands, windows.step, math.inf)
        levels = windows.middle_c // LEVEL_C
        levels[levels != levels] = 0.0
        near = np.empty(len(levels))
        found = levels.tolist()
        for level in set(found):
            here: slice | NDArray[np.bool_] = levels == level
            if found.count(level) == len(found):
                here = slice(None)
            near[here] = lows = least_so_far(steps[here], self._steps.get(level, math.inf))
            self._steps[level] = float(lows[-1])
        return step, np.where((step < near) & (near < math.inf), near, step)

    def _noise(self, noise: Floats, floor: Floats, step: Floats) -> Floats:
        """The quieter of the last two windows, within bounds; NaN before anything is known."""
        last = shifted(noise, self._last_noise)
        self._last_noise = float(noise[-1])
        quieter = np.where(noise < last, noise, last)
        quieter = np.where(np.isnan(quieter), floor, quieter)
        within = np.maximum(np.minimum(quieter, NOISE_ABOVE_FLOOR * floor), floor)
        known = (step > 0.0) & ~np.isnan(floor)
        return np.where(known, np.maximum(within, MIN_FRACTION * step), math.nan)

    def _spacing(self, seconds: Floats) -> Floats:
        """The shorter of the last two: one with a gap in it does not change it."""
        spacing_s = seconds / (ROWS - 1)
        last = shifted(spacing_s, self._last_spacing_s)
        self._last_spacing_s = float(spacing_s[-1])
        return np.where(spacing_s > last, last, spacing_s)

    def _does_repeat(self, windows: "ChannelWindows") -> NDArray[np.bool_]:
        moves = (windows.repeats > 0) | (windows.changes > 0)
        repeats = self._repeats + np.add.accumulate(windows.repeats)
        unchanged = self._unchanged + np.add.accumulate((ROWS - windows.changes) * moves)
        self._repeats, self._unchanged = int(repeats[-1]), int(unchanged[-1])
        found: NDArray[np.bool_] = (repeats >= REPEATS_TO_TELL) & (repeats >= 0.5 * unchanged)
        return found


def _bounded(quieter: float, floor: float, step: float) -> float:
    """The quieter noise of the last two windows within bounds; NaN before anything is known."""
    if step == 0.0 or floor != floor:
        return math.nan
    quieter = quieter if quieter == quieter else floor
    return max(min(quieter, NOISE_ABOVE_FLOOR * floor), floor, MIN_FRACTION * step)


def _is_clean(window: "ClosedWindow", seconds: float, step: float) -> bool:
    """`is_clean` of one window, on plain floats."""
    slope_c_s, noise, most = abs(window.celsius_slope), window.noise, 3.0 * window.floor
    if window.joined or not slope_c_s < DEFAULT_RISE_C_S:
        return False
    if not abs(window.celsius - window.middle_c) <= 0.1 * slope_c_s * seconds + MOST_ASIDE_C:
        return False
    even = 1.3 * abs(window.slope) * seconds + 2.0 * step
    return window.high - window.low <= even + 10.0 * (most if most < noise else noise)


def is_clean(
    windows: "ChannelWindows", seconds: Floats, floor: Floats, step: Floats
) -> NDArray[np.bool_]:
    """Whether noise and an even, slow slope explain each window's whole range; shape (m,).

    `floor` is the noise floor before it, `step` the signal's rounding. False where the window
    has a gap in it. On a slope, even on a bent one, mean and median agree within a twelfth of
    the way: a part of the window that stands aside parts them.
    """
    noise, slope_c_s = windows.noise, np.abs(windows.celsius_slope)
    is_slow = ~windows.joined & (slope_c_s < DEFAULT_RISE_C_S)
    aside = np.abs(windows.celsius - windows.middle_c) <= 0.1 * slope_c_s * seconds + MOST_ASIDE_C
    even = 1.3 * np.abs(windows.slope) * seconds + 2.0 * step
    most = 10.0 * np.fmin(noise, 3.0 * floor)
    found: NDArray[np.bool_] = is_slow & aside & (windows.high - windows.low <= even + most)
    return found
