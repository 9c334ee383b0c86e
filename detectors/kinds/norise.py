"""no-rise: power without heat.

Quantity: K that the reading is short of what the power should have brought, or has fallen
although power was high. Judged on windows of 32 rows while power is high, in this order:

- falls: the reading fell by 1.5 K from one window to the next, both at 80 % of power or
  more, and is below its target; two such falls in a row within a minute of a fan step;
- model: the learned heat model expects 6 K or more and less than 0.3 of it came, even with
  the gain's lower bound; the first window at high power is left out for lag;
- default, before anything is learned: less than 1 K in 38 s at 60 % of power or more below
  60 °C, where losses are small; hotter than that, no rise at all in 75 s.

The defaults follow from heat. 1 K is six standard deviations of the difference of two
windows' medians where readings are as rough as 0.5 K: 6 · √2 · 1.25 · 0.5 / √32. The times are
what the slowest heater needs for 1 K: it is taken to be a quarter as quick as a bed of 280 W on
700 J/K that loses 1.85 W/K (assumed, as docs/simulated-host.md has it), which at 60 % of power
gains 0.142 K/s at 60 °C and 0.063 K/s at 90 °C, in a room of 23 °C; and 9 s more for dead time
and the sensor's lag. A heater that works but is hotter may well need longer for 1 K, so there
only no rise at all counts.

The fall also shows a sensor that slips from its seat while power climbs; once such a sensor
has settled, `drift` sees the power that it costs.

Blind without power; below 60 % of power before a heater's own heat is learned.
"""

import math

from detectors.closed import ClosedWindow
from detectors.detector import Say
from detectors.heatmodel import HeatModel
from detectors.plan import ChannelPlan
from detectors.reports import Cleared, Sighting
from shared.events import NotEvaluated
from shared.words import Gate, Kind

HIGH = 0.6
VERY_HIGH = 0.8
LEAST_RISE_K = 1.0
COLD_C = 60.0
COLD_WAIT_S = 38.0
HOT_WAIT_S = 75.0
FALL_K = 1.5
BELOW_TARGET_K = 2.0
FAR_K = 10.0
"""Closer to target than this a heater may well slow down."""
FAN_S = 60.0
FAN_STEP = 0.15
EXPECTED_K = 6.0
SHORT_PART = 0.3
BACK_K = 3.0
OFF = 0.1


class NoRiseDetector:
    """Follows one heater while its power is high."""

    def __init__(self, plan: ChannelPlan, model: HeatModel) -> None:
        self._plan = plan
        self._model = model
        self._last: ClosedWindow | None = None
        self._from_c = math.nan
        self._from_s = math.nan
        self._expected_k = 0.0
        self._falls = 0
        self._fan = math.nan
        self._fan_s = -math.inf
        self._is_up = False
        self._lowest_c = math.nan
        self._has_power = False

    def step(self, window: ClosedWindow, say: Say) -> None:
        power = window.power
        if power != power:
            return
        self._has_power = True
        if power < HIGH and not self._is_up:
            # By far the most windows end here.
            self._last = None
            return
        last, self._last = self._last, window
        self._watch_fan(window)
        if self._is_up:
            self._go_on(window, say)
            return
        if window.joined or window.gate in (Gate.STARTING, Gate.HALTED):
            self._last = None
            return
        if last is None:
            self._begin(window)
            return
        self._judge(window, last, say)

    def _begin(self, window: ClosedWindow) -> None:
        self._from_c, self._from_s = window.middle_c, 0.5 * (window.start_s + window.end_s)
        self._expected_k, self._falls = 0.0, 0

    def _watch_fan(self, window: ClosedWindow) -> None:
        fan = window.context.get("fan.speed", math.nan)
        if abs(fan - self._fan) > FAN_STEP:
            self._fan_s = window.end_s
        self._fan = fan

    def _judge(self, window: ClosedWindow, last: ClosedWindow, say: Say) -> None:
        now_s = 0.5 * (window.start_s + window.end_s)
        change = window.middle_c - last.middle_c
        span = now_s - 0.5 * (last.start_s + last.end_s)
        is_below = not window.middle_c > window.target_c - BELOW_TARGET_K
        if change < -FALL_K and min(window.power, last.power) > VERY_HIGH and is_below:
            self._falls += 1
            if self._falls > (window.end_s - self._fan_s < FAN_S):
                self._raise(window, say, "fell by", -change, last.start_s)
                return
        elif change >= 0.0:
            self._falls = 0
        if last.start_s > self._from_s - 1e-9 and self._model.is_known:
            self._expected_k += self._least_rise(window, last) * span
        rise = window.middle_c - self._from_c
        waited = now_s - self._from_s
        is_far = not window.middle_c > window.target_c - FAR_K
        if not is_far:
            return
        if self._model.is_known:
            short = self._expected_k - rise
            if self._expected_k > EXPECTED_K and rise < SHORT_PART * self._expected_k:
                self._raise(window, say, "rose only", rise, self._from_s, short)
            return
        is_cold = window.middle_c < COLD_C
        enough = LEAST_RISE_K if is_cold else 0.0
        if waited >= (COLD_WAIT_S if is_cold else HOT_WAIT_S) and rise <= enough:
            self._raise(window, say, "rose only", rise, self._from_s)
        elif waited >= HOT_WAIT_S or rise > 2.0 * LEAST_RISE_K:
            self._begin(window)

    def _least_rise(self, window: ClosedWindow, last: ClosedWindow) -> float:
        """Least rate that the model allows for, K/s."""
        power = 0.5 * (window.power + last.power)
        model = self._model
        warm = 0.5 * (window.middle_c + last.middle_c)
        rate = model.rate(power, warm, self._fan if self._fan == self._fan else 0.0)
        return max(rate - (model.gain.value - model.gain.low) * power, 0.0)

    def _raise(
        self,
        window: ClosedWindow,
        say: Say,
        words: str,
        size_k: float,
        since_s: float,
        short_k: float = math.nan,
    ) -> None:
        self._is_up = True
        self._lowest_c = window.middle_c
        fan = self._fan if self._fan == self._fan else 0.0
        cooling = self._model.rate(0.0, window.middle_c, fan) if self._model.is_known else math.nan
        value = short_k if short_k == short_k else abs(size_k)
        moved = f"fell by {-size_k:.1f} K" if size_k < -0.05 else f"{words} {size_k:.1f} K"
        say(
            Sighting(
                row=window.last_row,
                at_s=window.end_s,
                channel=self._plan.name,
                kind=Kind.NO_RISE,
                start_s=since_s,
                end_s=None,
                value=value,
                unit="K",
                text=f"at {window.power:.0%} of power the reading {moved} in "
                f"{window.end_s - since_s:.0f} s",
                facts={
                    "power": window.power,
                    "rate_c_s": window.celsius_slope,
                    "expected_c": self._expected_k,
                    "residual_c": -value,
                    **({"cooling_c_s": cooling} if cooling == cooling else {}),
                },
            )
        )

    def _go_on(self, window: ClosedWindow, say: Say) -> None:
        self._lowest_c = min(self._lowest_c, window.middle_c)
        is_back = window.middle_c > self._lowest_c + BACK_K and not window.joined
        if window.power >= OFF and not is_back:
            return
        self._is_up = False
        self._last = None
        facts: dict[str, float | str] = {"followed": float(is_back)}
        name = self._plan.name
        say(Cleared(window.last_row, window.end_s, name, Kind.NO_RISE, window.end_s, facts=facts))

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._has_power:
            return []
        why = "no power is reported, so heat can't be held against it"
        return [NotEvaluated(kind=Kind.NO_RISE, channel=self._plan.name, why=why)]
