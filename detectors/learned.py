"""What the watch has learned of a channel: what its next rows are judged by.

Learned once a window of 32 rows, from windows that are closed; so a row is judged by the
same numbers however the log was cut.
"""

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from detectors.changes import ChangeRate
from detectors.floor import MIN_FRACTION
from detectors.speedlimit import DEFAULT_FALL_C_S, DEFAULT_RISE_C_S, SpeedLimit

if TYPE_CHECKING:
    from detectors.closed import ClosedWindow

NOISE_ABOVE_FLOOR = 5.0
"""How far above the floor a channel's present noise raises its limits."""

REPEATS_TO_TELL = 16
"""Values sent without a change before a host counts as one that sends them; and half of all
unchanged rows, for one that sends everything only after a reconnection does not."""

LEVEL_C = 10.0
STANDS = 0.75
"""Part of a window's rows up to which may change for its values to stand between steps."""


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


@dataclass(slots=True)
class Learner:
    """Takes every window of one channel."""

    now: Learned = field(default_factory=Learned)
    speed: SpeedLimit = field(default_factory=SpeedLimit)
    changes: ChangeRate = field(default_factory=ChangeRate)
    _last_noise: float = math.nan
    _last_spacing_s: float = math.nan
    _step: float = math.inf
    _steps: dict[int, float] = field(default_factory=dict)
    """Smallest difference near a temperature where values stand still between steps: those of a
    divider's converter are many times wider at one end of its range."""
    _repeats: int = 0
    _unchanged: int = 0

    def learn(self, window: "ClosedWindow", floor: float, rows: int) -> None:
        """`floor` is the channel's floor with this window in it."""
        spacing_s = (window.end_s - window.start_s) / (rows - 1)
        before, joined, changes, repeats = self.now, window.joined, window.changes, window.repeats
        if not joined and 0.0 < window.step < self._step:
            self._step = window.step
        level = int(window.middle_c // LEVEL_C) if window.middle_c == window.middle_c else 0
        near = self._steps.get(level, math.inf)
        if not joined and changes <= STANDS * rows and 0.0 < window.step < near:
            self._steps[level] = near = window.step
        if repeats or changes:
            self._repeats += repeats
            self._unchanged += rows - changes
        step = self._step if self._step < math.inf else 0.0
        here = near if step < near < math.inf else step
        slope_c_s, speed = window.celsius_slope, self.speed
        is_slow = not joined and -DEFAULT_RISE_C_S < slope_c_s < DEFAULT_RISE_C_S
        if is_slow and window.is_clean(step):
            speed.learn(window)
        else:
            slope_c_s = before.slope_c_s
        self.changes.learn(window, step, rows)
        noise = window.noise
        power = window.power_high
        # One odd window, with a gap or a burst in it, changes neither noise nor spacing.
        last_spacing_s = self._last_spacing_s
        self.now = _learned(
            (
                self._noise_now(noise, floor, here),
                here,
                last_spacing_s if spacing_s > last_spacing_s else spacing_s,
                slope_c_s,
                power if power == power else 1.0,
                speed.rise_c_s,
                speed.fall_c_s,
                self.changes.frozen_rows,
                self._repeats >= REPEATS_TO_TELL and self._repeats >= 0.5 * self._unchanged,
            )
        )
        self._last_noise, self._last_spacing_s = noise, spacing_s

    def _noise_now(self, noise: float, floor: float, step: float) -> float:
        """The quieter of the last two windows, within bounds; NaN before anything is known."""
        if step == 0.0 or floor != floor:
            return math.nan
        quieter = noise if noise < self._last_noise else self._last_noise
        if quieter != quieter:
            quieter = floor
        most, least = NOISE_ABOVE_FLOOR * floor, MIN_FRACTION * step
        quieter = quieter if quieter < most else most
        quieter = quieter if quieter > floor else floor
        return quieter if quieter > least else least


_learned = Learned._make
