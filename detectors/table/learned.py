"""What the watch has learned of a channel: what its next rows are judged by.

Learned once a window of 32 rows, from windows that are closed; so a row is judged by the
same numbers however the log was cut.
"""

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from detectors.table.changes import ChangeRate, learn_changes
from detectors.table.floor import MIN_FRACTION
from detectors.table.running import Carried, held, least_so_far, shifted, sums_so_far
from detectors.table.speedlimit import DEFAULT_FALL_C_S, DEFAULT_RISE_C_S, learn_limits
from detectors.table.speedlimit import FIRST as FIRST_LIMITS
from detectors.table.windows import ROWS, ChannelWindows
from shared.updates import Floats

NOISE_ABOVE_FLOOR = 5.0
"""How far above the floor a channel's present noise raises its limits."""

REPEATS_TO_TELL = 16
"""Values sent without a change before a host counts as one that sends them; and half of all
unchanged rows, for one that sends everything only after a reconnection does not."""

LEVEL_C, LOWEST_LEVEL, LEVELS = 10.0, -30, 180
"""Steps are kept for every 10 K from −300 to 1,500 °C, beyond both ends of any scale."""
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
    """The same before a run of m windows and after each: arrays of shape (m + 1,) by name.

    `table` holds them, shape (names, m + 1).
    """

    def __init__(self, table: Floats) -> None:
        self._table = table

    def __getitem__(self, name: str) -> Floats:
        found: Floats = self._table[_PLACES[name]]
        return found

    def after(self, windows: int) -> Learned:
        """What was learned with so many of the windows; -1: with all."""
        *numbers, repeats = self._table[:, windows].tolist()
        return Learned._make((*numbers, repeats != 0.0))


_PLACES = {name: place for place, name in enumerate(Learned._fields)}
NOTHING = Learned()
"""What is known of a channel before its first window."""


class Learner:
    """Takes the windows of all channels, in the order in which these came."""

    def __init__(self) -> None:
        self._carried = Carried(
            {
                **{f"now_{name}": float(value) for name, value in NOTHING._asdict().items()},
                **FIRST_LIMITS,
                "last_noise": math.nan,
                "last_spacing_s": math.nan,
                "least_step": math.inf,
                "least_steps": np.full(LEVELS, math.inf),
                "repeats": 0.0,
                "unchanged": 0.0,
            }
        )
        self._changes: list[ChangeRate] = []

    def learn(
        self, windows: ChannelWindows, seconds: Floats, spacing_s: Floats, floors: Floats
    ) -> Floats:
        """Take windows of shape (n, m) that last `seconds`, with their usual time between rows,
        both of shape (m,), and the noise floor before each and after the last, shape (n, m + 1).

        What is known before the first of them and after each: the fields of `Learned` of each
        channel, shape (n, names, m + 1).
        """
        present = windows.present
        channels, count = present.shape
        carried, fields = self._carried, Learned._fields
        carried.grow(channels)
        self._changes += [ChangeRate() for _ in range(channels - len(self._changes))]
        table = np.empty((channels, len(fields), count + 1))
        for place, name in enumerate(fields):
            table[:, place, 0] = carried[f"now_{name}"]
        if not count:
            return table
        new, is_all_present = self._new(windows, seconds, spacing_s, floors), bool(present.all())
        for place, name in enumerate(fields):
            column = np.asarray(new[name], dtype=np.float64)
            if not is_all_present:
                # Before a channel says anything, nothing is learned of it.
                column = held(column, present, table[:, place, 0])
            table[:, place, 1:] = column
            carried[f"now_{name}"] = column[:, -1]
        return table

    def _new(
        self, windows: ChannelWindows, seconds: Floats, spacing_s: Floats, floors: Floats
    ) -> Mapping[str, Floats | NDArray[np.bool_]]:
        carried = self._carried
        step, near = self._steps_of(windows)
        clean = is_clean(windows, seconds, floors[:, :-1], step)
        power = windows.power_high
        rise_c_s, fall_c_s = learn_limits(windows, seconds, clean, carried)
        return {
            "noise": self._noise(windows.noise, floors[:, 1:], near),
            "step": near,
            "spacing_s": self._spacing(spacing_s, windows.present),
            "slope_c_s": held(windows.celsius_slope, clean, carried["now_slope_c_s"]),
            "power": np.where(np.isnan(power), 1.0, power),
            "rise_c_s": rise_c_s,
            "fall_c_s": fall_c_s,
            "frozen_rows": learn_changes(windows, seconds, step, self._changes),
            "repeats": self._does_repeat(windows),
        }

    def _steps_of(self, windows: ChannelWindows) -> tuple[Floats, Floats]:
        """The smallest step up to each window, and that of values that stand near its level.

        Those of a divider's converter are many times wider at one end of its range.
        """
        carried = self._carried
        tells = ~windows.joined & (windows.step > 0.0)
        least = least_so_far(np.where(tells, windows.step, math.inf), carried["least_step"])
        carried["least_step"] = least[:, -1]
        step = np.where(least < math.inf, least, 0.0)
        stands = tells & (windows.changes <= STANDS * ROWS)
        steps = np.where(stands, windows.step, math.inf)
        place = np.clip(windows.middle_c // LEVEL_C - LOWEST_LEVEL, 0, LEVELS - 1)
        levels = np.where(np.isnan(place), -LOWEST_LEVEL, place).astype(np.intp)
        near = np.empty(step.shape)
        for level in set(levels.ravel().tolist()):
            here = levels == level
            lows = least_so_far(np.where(here, steps, math.inf), carried["least_steps"][:, level])
            near[here] = lows[here]
            carried["least_steps"][:, level] = lows[:, -1]
        return step, np.where((step < near) & (near < math.inf), near, step)

    def _noise(self, noise: Floats, floor: Floats, step: Floats) -> Floats:
        """The quieter of the last two windows, within bounds; NaN before anything is known."""
        last = shifted(noise, self._carried["last_noise"])
        self._carried["last_noise"] = noise[:, -1]
        quieter = np.where(noise < last, noise, last)
        quieter = np.where(np.isnan(quieter), floor, quieter)
        within = np.maximum(np.minimum(quieter, NOISE_ABOVE_FLOOR * floor), floor)
        known = (step > 0.0) & ~np.isnan(floor)
        return np.where(known, np.maximum(within, MIN_FRACTION * step), math.nan)

    def _spacing(self, spacing_s: Floats, present: NDArray[np.bool_]) -> Floats:
        """The shorter of the last two: one with a gap in it does not change it."""
        spacing_s = np.where(present, spacing_s, math.nan)
        last = shifted(spacing_s, self._carried["last_spacing_s"])
        self._carried["last_spacing_s"] = spacing_s[:, -1]
        return np.where(spacing_s > last, last, spacing_s)

    def _does_repeat(self, windows: ChannelWindows) -> NDArray[np.bool_]:
        carried = self._carried
        still = (ROWS - windows.changes) * ((windows.repeats > 0) | (windows.changes > 0))
        repeats = sums_so_far(windows.repeats.astype(np.float64), carried["repeats"])
        unchanged = sums_so_far(still.astype(np.float64), carried["unchanged"])
        carried["repeats"], carried["unchanged"] = repeats[:, -1], unchanged[:, -1]
        found: NDArray[np.bool_] = (repeats >= REPEATS_TO_TELL) & (repeats >= 0.5 * unchanged)
        return found


def is_clean(
    windows: ChannelWindows, seconds: Floats, floor: Floats, step: Floats
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
