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


class Learned(NamedTuple):
    """Numbers of one channel as they hold until the next window closes.

    noise       sd of sample noise now, in units of the signal; NaN before the first window.
                At least that of rounding: coarse rounding hides noise from its estimate
    step        smallest difference seen between neighbouring values: code or rounding
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
    _repeats: int = 0
    _unchanged: int = 0

    def learn(self, window: "ClosedWindow", floor: float, rows: int) -> None:
        """`floor` is the channel's floor with this window in it."""
        spacing_s = (window.end_s - window.start_s) / (rows - 1)
        if not window.joined and 0.0 < window.step < self._step:
            self._step = window.step
        if window.repeats or window.changes:
            self._repeats += window.repeats
            self._unchanged += rows - window.changes
        step = self._step if self._step < math.inf else 0.0
        is_clean = (
            not window.joined
            and window.is_clean(step)
            and abs(window.celsius_slope) < DEFAULT_RISE_C_S
        )
        noise = window.noise
        quieter = noise if noise < self._last_noise else self._last_noise
        if quieter != quieter:
            quieter = floor
        if is_clean:
            self.speed.learn(window)
        self.changes.learn(window, step, rows)
        # One odd window, with a gap or a burst in it, changes neither noise nor spacing.
        self.now = Learned(
            noise=math.nan
            if step == 0.0
            else max(floor, min(quieter, NOISE_ABOVE_FLOOR * floor), MIN_FRACTION * step),
            step=step,
            spacing_s=spacing_s if not spacing_s > self._last_spacing_s else self._last_spacing_s,
            slope_c_s=window.celsius_slope if is_clean else self.now.slope_c_s,
            power=window.power_high if window.power_high == window.power_high else 1.0,
            rise_c_s=self.speed.rise_c_s,
            fall_c_s=self.speed.fall_c_s,
            frozen_rows=self.changes.frozen_rows,
            repeats=self._repeats >= max(REPEATS_TO_TELL, 0.5 * self._unchanged),
        )
        self._last_noise, self._last_spacing_s = noise, spacing_s
