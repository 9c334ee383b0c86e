"""no-rise: power without heat.

Quantity: K that the reading is short of what the power should have brought, or has fallen
although power was high. Judged on windows of 32 rows while power is high, in this order:

- falls: the reading fell by 1.5 K from one window to the next, at 80 % of power or more over
  both, and is below its target; two such falls in a row within a minute of a fan step;
- model: the learned heat model expects 6 K or more and less than 0.3 of it came, even with
  the gain's lower bound; the first window at high power is left out for lag;
- default, before anything is learned: the slowest heater would have brought 1 K by now, at the
  power that there was, and less than 1 K came below 60 °C, where losses are small; hotter than
  that, no rise at all; and within 10 K of its target, a fall of 1 K at full power.

The defaults follow from heat. 1 K is six standard deviations of the difference of two
windows' medians where readings are as rough as 0.5 K: 6 · √2 · 1.25 · 0.5 / √32. The slowest
heater is taken to be a quarter as quick as a bed of 280 W on 700 J/K that loses 1.85 W/K
(assumed, as docs/simulated-host.md has it) in a room of 25 °C, and to answer after 9 s of dead
time and lag: from cold it needs 10 s more for 1 K at full power, and 28 s at 60 % of power and
60 °C. Hotter, it is given 1 K in 66 s whatever it loses. A heater that works but is hotter may
well need longer for 1 K, so there only no rise at all counts.

A heater of air, by its channel's name (chamber, enclosure, cabinet, air), is slower by far: it is
given a tenth of that rate, and two minutes to answer. Where no target is told, a reading that
stands may be held: only within 10 K of the coldest that it was is heat missed.

The fall also shows a sensor that slips from its seat while power climbs; once such a sensor
has settled, `drift` sees the power that it costs.

Blind without power; below 60 % of power before a heater's own heat is learned; more than 10 K above
the coldest where no target is told; and to falls of air.
"""

import math

from detectors.detector import Say
from detectors.heat.air import is_of_air
from detectors.heat.heatmodel import ROOM_C, HeatModel
from detectors.heat.levels import Levels
from detectors.reports import Cleared, Sighting
from detectors.table.closed import ClosedWindow
from detectors.table.plan import ChannelPlan
from shared.events import NotEvaluated
from shared.words import Gate, Kind

HIGH = 0.6
VERY_HIGH = 0.8
FULL = 0.95
LEAST_RISE_K = 1.0
COLD_C = 60.0
ANSWER_S = 9.0
SLOW_GAIN_K_S = 280.0 / 700.0 / 4.0
SLOW_LOSS_1_S = 1.85 / 700.0 / 4.0
LEAST_RATE_K_S = 1.0 / 66.0
COLDEST_S, HOTTEST_S = (ANSWER_S + LEAST_RISE_K / rate for rate in (SLOW_GAIN_K_S, LEAST_RATE_K_S))
"""The shortest and the longest time until the slowest heater has risen enough."""
FALL_K, FELL_ON_S = 1.5, 120.0
"""A fall that goes on for so long is told anew: within this power warms what is near a heater, such
as a sensor beside its bore (a judgement)."""
AIR_PART, AIR_ANSWER_S = 0.1, 120.0
AIR_COLDEST_S = AIR_ANSWER_S + LEAST_RISE_K / (AIR_PART * SLOW_GAIN_K_S)
"""Air behind a fan heater warms by hundredths of a kelvin a second (common practice), and its
sensor and its heater's block hold back for a minute each (assumed)."""
BELOW_TARGET_K = 2.0
FAR_K = 10.0
"""Closer to target than this a heater that is not known may be held back, or be at its limit."""
FAN_S = 60.0
FAN_STEP = 0.15
EXPECTED_K = 6.0
SHORT_PART = 0.3
BACK_K = 3.0
OFF = 0.1
SLOWED = 0.25
"""A fan that stops may halve losses; a quarter of what they should be is heat that arrives."""


class NoRiseDetector:
    """Follows one heater while its power is high."""

    def __init__(self, plan: ChannelPlan, model: HeatModel) -> None:
        self._plan = plan
        self._model = model
        self._last: ClosedWindow | None = None
        self._from_c = math.nan
        self._from_s = math.nan
        self._expected_k = 0.0
        self._slowest_k = 0.0
        self._falls = 0
        self._fan = math.nan
        self._fan_s = -math.inf
        self._is_up = False
        self._lowest_c = self._top_c = self._since_s = math.nan
        self._fell_s = 0.0
        """For how long its reading has fallen, while it is up."""
        self._steepest = (0.0, math.nan)
        self._follows = False
        self._has_power = False
        self._coldest_c, self._hottest_c = math.inf, -math.inf
        self._levels = Levels()
        self._is_air = is_of_air(plan.name)
        slow = AIR_PART, AIR_ANSWER_S
        self._part, self._answer_s = slow if self._is_air else (1.0, ANSWER_S)

    def step(self, window: ClosedWindow, say: Say) -> None:
        power = window.power
        if power != power:
            return
        self._has_power = True
        self._levels.take(window)
        self._hottest_c = max(self._hottest_c, window.middle_c)
        self._coldest_c = min(self._coldest_c, window.middle_c)
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
        # Its own first half lies before `from_s` and heats too; what the lag holds back comes off.
        half_s = 0.5 * (window.end_s - window.start_s)
        self._slowest_k = self._slowest_rate(window) * (half_s - self._answer_s)

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
        if self._may_be_held(window):
            self._last = None
            return
        # Air falls as soon as a door opens.
        falls = change < -FALL_K and not self._is_air
        if falls and 0.5 * (window.power + last.power) > VERY_HIGH and is_below:
            self._falls += 1
            if self._falls > (window.end_s - self._fan_s < FAN_S):
                self._raise(window, say, "fell by", -change, last.start_s)
                return
        elif change >= 0.0:
            self._falls = 0
        if last.start_s > self._from_s - 1e-9 and self._model.is_known:
            self._expected_k += self._least_rise(window, last) * span
        rise = window.middle_c - self._from_c
        plan = self._plan
        step_k = max(window.step, last.step) / plan.per_kelvin(plan.has_signal_in_ohms)
        self._slowest_k += 0.5 * (self._slowest_rate(last) + self._slowest_rate(window)) * span
        is_far = not window.middle_c > window.target_c - FAR_K
        if math.isnan(window.target_c):
            # It may be held where it stands.
            is_far = is_below = window.middle_c < self._coldest_c + FAR_K
        if self._model.is_known:
            short = self._expected_k - rise
            is_short = rise + step_k < SHORT_PART * self._expected_k
            if is_below and self._expected_k > EXPECTED_K and is_short:
                self._raise(window, say, "rose only", rise, self._from_s, short)
            return
        # Of a coarse reading's way a step may not be told yet.
        if self._slowest_k < LEAST_RISE_K + step_k:
            return
        enough = LEAST_RISE_K if window.middle_c < COLD_C else 0.0
        if rise >= enough and rise > 0.0:
            self._begin(window)
        elif is_far or (self._full_falls(window, rise) and is_below):
            self._raise(window, say, "rose only", rise, self._from_s)

    def _may_be_held(self, window: ClosedWindow) -> bool:
        """Whether full power may be a switch that is ever caught while it is on."""
        held_c = self._hottest_c if math.isnan(window.target_c) else window.target_c
        return not self._levels.is_graded and window.middle_c > held_c - FAR_K

    def _full_falls(self, window: ClosedWindow, rise: float) -> bool:
        """Whether it falls at full power: no load takes so much but of air, by a door."""
        return window.power > FULL and rise <= -LEAST_RISE_K and not self._is_air

    def _slowest_rate(self, window: ClosedWindow) -> float:
        """Rate at which the slowest heater would warm at this power and heat, K/s."""
        loss = SLOW_LOSS_1_S * (window.middle_c - ROOM_C)
        return self._part * max(SLOW_GAIN_K_S * window.power - loss, LEAST_RATE_K_S)

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
        self._since_s, self._lowest_c, self._fell_s = since_s, window.middle_c, 0.0
        self._top_c = window.middle_c - size_k
        self._steepest, self._follows = (window.celsius_slope, window.middle_c), False
        value = short_k if short_k == short_k else abs(size_k)
        moved = f"fell by {-size_k:.1f} K" if size_k < -0.05 else f"{words} {size_k:.1f} K"
        say(self._sighting(window, moved, value))

    def _sighting(self, window: ClosedWindow, moved: str, value: float) -> Sighting:
        fan = self._fan if self._fan == self._fan else 0.0
        cooling = self._model.rate(0.0, window.middle_c, fan) if self._model.is_known else math.nan
        return Sighting(
            row=window.last_row,
            at_s=window.end_s,
            channel=self._plan.name,
            kind=Kind.NO_RISE,
            start_s=self._since_s,
            end_s=None,
            value=value,
            unit="K",
            text=f"at {window.power:.0%} of power the reading {moved} in "
            f"{window.end_s - self._since_s:.0f} s",
            facts={
                "power": window.power,
                "rate_c_s": window.celsius_slope,
                "expected_c": self._expected_k,
                "residual_c": -value,
                **({"cooling_c_s": cooling} if cooling == cooling else {}),
                **self._fell_on(),
            },
        )

    def _fell_on(self) -> dict[str, float]:
        """For how long it fell, where that is so long that power would have warmed what is near."""
        return {"fell_s": self._fell_s} if self._fell_s >= FELL_ON_S else {}

    def _go_on(self, window: ClosedWindow, say: Say) -> None:
        if window.middle_c < self._lowest_c:
            before_s = self._fell_s
            self._lowest_c, self._fell_s = window.middle_c, window.end_s - self._since_s
            if before_s < FELL_ON_S <= self._fell_s and window.power >= HIGH:
                way_k = self._top_c - window.middle_c
                say(self._sighting(window, f"fell by {way_k:.1f} K", way_k))
        # What is near warms it too, but slower than any heater of its own.
        is_own = window.celsius_slope >= 0.5 * self._slowest_rate(window)
        is_back = window.middle_c > self._lowest_c + BACK_K and is_own and not window.joined
        if window.power >= HIGH and not window.joined:
            self._follows = self._follows or is_back or self._slows(window)
        if window.power >= OFF and not is_back:
            return
        self._is_up = False
        self._last = None
        facts: dict[str, float | str] = {"followed": float(self._follows), **self._fell_on()}
        name = self._plan.name
        say(Cleared(window.last_row, window.end_s, name, Kind.NO_RISE, window.end_s, facts=facts))

    def _slows(self, window: ClosedWindow) -> bool:
        """Whether the fall is far less steep than losses alone would have it by now.

        Without heat, losses fall in proportion to the heat above the room.
        """
        slope, middle_c = window.celsius_slope, window.middle_c
        steepest, steepest_c = self._steepest
        if slope < steepest:
            self._steepest = slope, middle_c
            return False
        # Near the room, or what is hot beside it, losses end by themselves.
        beside = max(COLD_C, self._hottest_beside(window))
        if steepest * (window.end_s - window.start_s) > -FALL_K or middle_c < beside:
            return False
        return slope > SLOWED * steepest * (middle_c - ROOM_C) / max(steepest_c - ROOM_C, 1.0)

    def _hottest_beside(self, window: ClosedWindow) -> float:
        """The hottest of the other channels, °C."""
        others = (
            float(channel.celsius[window.index])
            for name, channel in window.windows.channels.items()
            if name != self._plan.name
        )
        return max((celsius for celsius in others if not math.isnan(celsius)), default=ROOM_C)

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._has_power:
            return []
        why = "no power is reported: only a reading that comes no nearer to its target is told"
        return [NotEvaluated(kind=Kind.NO_RISE, channel=self._plan.name, why=why)]
