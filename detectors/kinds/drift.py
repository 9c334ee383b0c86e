"""drift: a held reading costs more power than it did, or much less.

A closed loop hides a drifting sensor: the reading stays on target and the power moves. So
the quantity is power while holding, as part of this heater's own power at the same target
and fan, resting and printing apart: each such state has an own power, learned once it has
settled and no longer rings about its target, and following slow change (the room, the chamber)
over half an hour. The relative deviation of each look (`detectors.duty`: a window, or whole
cycles of a heater that is switched on and off, whatever the fan and motion) goes into a CUSUM
with a slack of half the least change.

Least change found: 15 % of power at rest, lasting two minutes; twice that in under one. While
printing 25 %, since the material that flows takes a share of its own; and as flow and fan change
power within a minute or two, of a change there that is faster than 8 % a minute the excess moves
the own power along, up to a quarter of it, or 0.6 where no fan is reported, unless the reading
fell out of its holding band then, as it does when a sensor slips. A nozzle may print where motion
is not reported. At 210 °C 15 % of power is some 28 K. The change must also be worth 15 K, which a
chamber may cool by when its door is opened; so a bed at 60 °C must take 43 % more, and still more
where its power was learned in air that a higher target, or its own hour of heat, had warmed.
Power that is switched as fast as the host tells of it is not judged. Less power counts from 30 %
on and after twenty minutes, since a bed that soaks through needs less and less. The limit is at
least the one that gives a false alarm in 30 days for the measured spread of windows.

What comes over hours, the own power follows; so power is also held against the earliest
like state in this log (`detectors.hours`): at rest with the fan off 15 % more, and worth 20 K,
which a chamber may cool by, after an hour at least; a bed 25 % while printing. Unheated channels
are taken for the air's: what they cooled by is no excess. While material may flow, or a fan run
that is not reported, 25 % within one stay at the target, come little by little over two hours:
a usual flow takes a quarter of the power, and a part that widens takes ever more.

More power with the fan unchanged is the mark of a sensor that has slipped from its seat;
facts `power_excess` and `residual_c` (the excess in K above a room of 25 °C).

A channel that departs from another is drift as well: `detectors.kinds.apart`.

Blind without power or target, and to anything smaller; over hours, to what warmer air, a fan or
less flow makes up for, to a slip of under 25 % in one print that was never held at rest, and to
one that was there when the log began; against other channels, until two have warmed together
by 15 K, to both drifting alike, and to two heaters' sensors.
"""

import math
from dataclasses import dataclass, field

from detectors.charts import SECONDS_IN_30_DAYS, Cusum, Ewma, limit_for
from detectors.closed import ClosedWindow
from detectors.detector import Say
from detectors.duty import Look, Looks, Minute
from detectors.hours import Hours, Rise
from detectors.plan import ChannelPlan
from detectors.reports import Cleared, Sighting
from detectors.windows import Windows
from shared.events import NotEvaluated
from shared.words import Gate, Kind

REST_LEAST, PRINT_LEAST = 0.15, 0.25
LESS_LEAST, LESS_AFTER_S = 0.30, 1200.0
CASE_PART, CASE_S = 0.4, 1200.0
"""A closed case's air stands this part of the way from the room to the hottest that is in it,
and follows that with this time constant (assumptions, of beds that hold 100 °C)."""
AMBIENT_K = 15.0
"""How far a chamber may cool when its door is opened (an assumption): no fault of the sensor."""
LEAST_POWER = 0.03
"""Absolute change of power below which nothing is said."""
LASTING_S = 120.0
SETTLE_S = 60.0
FAN_SETTLE_S = 40.0
COOL_SETTLE_S = 300.0
"""After a lower target what was heated around the heater still cools."""
FOLLOW_S = 1800.0
ON_TARGET_K, ON_TARGET = 1.0, 0.01
"""Power counts while the reading is this near its target: K, or part of it."""
EVEN = 0.25
"""The two halves of the first windows may differ by this part of the least change."""
FIRST_S = 60.0
"""Time after which an own power counts as known."""
FIRST_LOOKS = 2
RINGS_S = 600.0
"""A loop rings for so long at most after it reached its target: until then the first windows may
differ by no more than half of the least change."""
RINGING = 0.5
LEANS, FASTER = 1.0, 4.0
"""Power that lies so many of its own spreads below of late has become less, and is followed so
many times as fast: the mean of late scatters by a third of one (computed)."""
FAN_STEP = 0.1
USUAL_SPREAD = 0.05
ROOM_C = 25.0
FLOWS_C = 140.0
"""Below this target no material flows (common practice)."""
COARSE = 2.0
"""Power that is switched nearly as fast as the host tells of it may seem to change so much more."""
MINUTE_S = 60.0
SLOW_PART = 0.08
"""Faster changes than this part of power a minute are those of flow and fan."""
SLOW_MIN = 2.0
"""After a time unseen no more than so many minutes of slow change are granted."""
MOST_FAST, MOST_FAST_FANLESS = 0.25, 0.6
"""Part of the first own power that flow and a known fan, or an unknown one, may take."""
LEAST_PART = 0.1
"""The own power is never moved below this part of the first."""
BACK_S = 60.0
MOST_STATES = 64
REVIEW_LOOKS = 8
"""After so many looks the limit is set anew, from the spread as it now is.

Power of a bed that hardly needs any is rough, and rougher as its surroundings warm up.
"""
WARM_S, SOAKED_S = 300.0, 1200.0
"""What is around a nozzle, or a bed, has warmed up after so much time on target."""
_HELD = (Gate.HOLDING, Gate.PRINTING)

_Key = tuple[float, float, bool]
"""Target, fan in steps, printing."""


@dataclass(slots=True)
class _State:
    """Own power at one target and fan."""

    power: Ewma = field(default_factory=lambda: Ewma(1.0, 0.0))
    square: Ewma = field(default_factory=lambda: Ewma(0.05, USUAL_SPREAD**2))
    chart: Cusum = field(default_factory=lambda: Cusum(0.0, math.inf))
    known_s: float = 0.0
    tried_s: float = 0.0
    """How long its first looks took so far, those that were dropped as well."""
    lean: Ewma = field(default_factory=lambda: Ewma(0.2, 0.0))
    """Where power went of late, as part of the own power."""
    count: int = 0
    first: list[float] = field(default_factory=list)
    before: tuple[float, float] | None = None
    """Power of the last look, and when it ended."""
    moved: float = 0.0
    """How far fast changes have moved the own power."""
    first_power: float = 0.0
    case_c: float = ROOM_C
    """What the air in a case had followed when its power was learned."""

    @property
    def is_known(self) -> bool:
        return self.known_s >= FIRST_S and (self.count > 0 or len(self.first) >= FIRST_LOOKS)

    def begin(self, power: float, span: float, least: float, *, may_ring: bool) -> None:
        """Take one of the first looks; begin anew while power still moves.

        Where material flows power goes up and down with it: that is no ringing.
        """
        self.known_s += span
        self.tried_s += span
        self.first.append(power)
        if not self.is_known:
            return
        half = (len(self.first) + 1) // 2
        early, late = math.fsum(self.first[:half]) / half, math.fsum(self.first[-half:]) / half
        swing = max(self.first) - min(self.first)
        rings = may_ring and self.tried_s < RINGS_S and swing > RINGING * least * min(early, late)
        if rings or abs(late - early) > EVEN * least * max(early, late):
            del self.first[:half]
            self.known_s = span * len(self.first)
            return
        self.count = len(self.first)
        self.power.value = self.first_power = math.fsum(self.first) / self.count
        self.first.clear()


class DriftDetector:
    """Follows the power of one heater while it holds."""

    def __init__(self, plan: ChannelPlan) -> None:
        self._plan = plan
        self._states: dict[_Key, _State] = {}
        self._looks = Looks()
        self._minute = Minute()
        self._key: _Key = (math.nan, math.nan, False)
        self._settled_s = math.inf
        self._held_since_s = math.nan
        self._since_s = math.nan
        self._fell = False
        """Whether the reading fell away from an unchanged target since the last look."""
        self._is_up = False
        self._hours = Hours()
        self._is_of_hours = False
        """Whether the event that is up is one of hours."""
        self._target_s = math.nan
        """Since when it is on this target, falls from it left out."""
        self._normal_s = math.nan
        self._was_judged = False
        self._around: _Around | None = None
        self._soaked_c, self._soaked_s = ROOM_C, -math.inf

    def step(self, window: ClosedWindow, say: Say) -> None:
        power = window.power
        if power != power or window.target_c != window.target_c:
            return
        self._soak(window)
        if window.gate not in _HELD or window.joined:
            if self._is_up and (window.target_c <= 0.0 or window.gate is Gate.HALTED):
                self._end(window, say)
            fell = window.gate is Gate.HEATING and round(window.target_c) == self._key[0]
            self._fell = fell or (self._fell and window.joined)
            if round(window.target_c) != self._key[0]:
                self._leave()
            self._held_since_s = math.nan
            self._settled_s = math.inf
            return
        if self._held_since_s != self._held_since_s:
            self._held_since_s = window.start_s
            self._settled_s = window.start_s + SETTLE_S
            self._looks.clear()
        is_same = self._is_same_state(window, say)
        if self._target_s != self._target_s:
            self._target_s = window.end_s
        if is_same and window.start_s >= self._settled_s:
            look = self._looks.add(window)
            if look is not None:
                self._judge(look, window, say)
        else:
            self._looks.clear()
            self._minute.clear()

    def _soak(self, window: ClosedWindow) -> None:
        """Follow what this channel's heat has made of the air in a case."""
        if window.middle_c != window.middle_c:
            return
        part = 1.0 - math.exp(min(self._soaked_s - window.end_s, 0.0) / CASE_S)
        self._soaked_c += part * (window.middle_c - self._soaked_c)
        self._soaked_s = window.end_s

    def _is_same_state(self, window: ClosedWindow, say: Say) -> bool:
        """Whether the window is of the same state as the one before; a new one has to settle."""
        key = self._key_of(window)
        if key == self._key:
            return True
        self._settled_s = max(self._settled_s, window.end_s + FAN_SETTLE_S)
        if key[0] != self._key[0]:
            lower = key[0] < self._key[0]
            self._settled_s = window.end_s + (COOL_SETTLE_S if lower else SETTLE_S)
            if self._is_up:
                self._end(window, say)
            self._leave()
        self._key = key
        return False

    def _key_of(self, window: ClosedWindow) -> _Key:
        if self._looks.are_cycles:
            # A look takes minutes: fan and motion come and go within it.
            return round(window.target_c), 0.0, True
        fan = window.context.get("fan.speed", 0.0)
        fan = round(fan / FAN_STEP) if fan == fan else 0
        is_unknown = window.target_c > FLOWS_C and not any(map(_is_motion, window.context))
        return round(window.target_c), fan, window.gate is Gate.PRINTING or is_unknown

    def _leave(self) -> None:
        self._target_s = math.nan
        self._hours.leave()

    def _compare_hours(self, look: Look, window: ClosedWindow, say: Say) -> None:
        """Hold the look's stretch, if it ends one, against the earliest like it."""
        target_c, fan, busy = self._key
        melts = target_c > FLOWS_C
        on_s = look.start_s - self._target_s
        if look.is_coarse or not on_s >= (WARM_S if melts else SOAKED_S):
            return
        if self._around is None or self._around.windows is not window.windows:
            self._around = _Around(window.windows, self._plan.name)
        targets, air_c = self._around.at(window.index)
        state = (target_c, fan, busy, targets, self._looks.are_cycles)
        has_fan = "fan.speed" in window.context
        if melts and (busy or fan > 0.0 or not has_fan):
            rise = self._hours.flowing(state, target_c, look, air_c)
        else:
            rise = self._hours.steady(state, target_c, busy, look, air_c)
        if rise is None:
            return
        if self._is_up:
            if self._is_of_hours and rise.off < 0.5 * rise.least:
                self._normal_s = look.start_s
                self._end(window, say)
        elif rise.is_clear and rise.power - rise.own > LEAST_POWER:
            self._since_s = rise.since_s
            self._is_of_hours = True
            self._raise(rise, window, rise.off, rise.own, say)

    def _judge(self, look: Look, window: ClosedWindow, say: Say) -> None:
        state = self._states.get(self._key)
        if state is None:
            if len(self._states) >= MOST_STATES:
                self._states.clear()
            state = self._states[self._key] = _State()
        span = look.end_s - look.start_s
        power = look.power
        flows = self._key[2] and window.target_c > FLOWS_C
        if abs(look.celsius - window.target_c) > max(ON_TARGET_K, ON_TARGET * window.target_c):
            return
        self._compare_hours(look, window, say)
        if not state.is_known:
            state.case_c = self._case_c()
            state.begin(power, span, self._least(state), may_ring=not flows)
            self._set_limit(state, span)
            return
        if flows:
            minute = self._minute.add(look)
            if minute is None:
                return
            look, power, span = minute, minute.power, minute.end_s - minute.start_s
            self._set_limit(state, span)
        own = state.power.value
        if not own > 0.0:
            return
        self._was_judged = True
        if flows:
            own = self._move_along(state, look, "fan.speed" in window.context)
        off = (power - own) / own
        least = self._least(state) * (COARSE if look.is_coarse else 1.0)
        if self._is_up:
            if self._is_of_hours:
                return
            self._go_on(look, window, off, least, say)
            return
        chart = state.chart
        if chart.high == 0.0 and chart.low == 0.0:
            self._since_s = look.start_s
        signal = chart.update(min(max(off, -2.0 * least), 2.0 * least))
        if signal and abs(power - own) > LEAST_POWER and self._counts(window, off, least):
            chart.reset()
            self._raise(look, window, off, own, say)
            return
        if signal < 0:
            chart.low = 0.0
        self._learn(state, power, off, least, span)

    def _move_along(self, state: _State, look: Look, has_fan: bool) -> float:
        """Take what changed too fast for a drift out of the comparison; the own power now."""
        own, before = state.power.value, state.before
        state.before = look.power, look.end_s
        fell, self._fell = self._fell, False
        if before is None or fell:
            # Flow and fan pull a reading by a kelvin or two, and not out of the holding band.
            return own
        change = look.power - before[0]
        minutes = min((look.end_s - before[1]) / MINUTE_S, SLOW_MIN)
        fast = max(abs(change) - SLOW_PART * own * minutes, 0.0)
        if fast == 0.0:
            return own
        most = (MOST_FAST if has_fan else MOST_FAST_FANLESS) * state.first_power
        moved = min(max(state.moved + math.copysign(fast, change), -most), most)
        state.power.value = max(own + moved - state.moved, LEAST_PART * state.first_power)
        state.moved = moved
        return state.power.value

    def _counts(self, window: ClosedWindow, off: float, least: float) -> bool:
        if off > 0.0:
            return off > least
        return off < -max(LESS_LEAST, least) and window.end_s - self._held_since_s > LESS_AFTER_S

    def _learn(self, state: _State, power: float, off: float, least: float, span: float) -> None:
        if off > least:
            return
        # Less power is followed faster: what soaks through needs less and less. Rough power is not
        # less for it, or its own mean would be pulled down.
        is_less = state.lean.update(off) < -LEANS * math.sqrt(state.square.value)
        part = span / FOLLOW_S * (FASTER if is_less else 1.0)
        state.power.weight = min(part, 0.2)
        state.power.update(power)
        now_c = self._case_c()
        state.case_c = max(now_c, state.case_c + state.power.weight * (now_c - state.case_c))
        state.square.update(off * off)
        state.count += 1
        if state.count % REVIEW_LOOKS == 0:
            self._set_limit(state, span)

    def _least(self, state: _State) -> float:
        least = PRINT_LEAST if self._key[2] else REST_LEAST
        warmed_k = CASE_PART * max(state.case_c - self._case_c(), 0.0)
        return max(least, (AMBIENT_K + warmed_k) / max(self._key[0] - ROOM_C - warmed_k, 1.0))

    def _case_c(self) -> float:
        """What the air in a case has followed. A nozzle is too small to warm it by itself."""
        target_c = self._key[0]
        return self._soaked_c if target_c <= FLOWS_C else max(self._soaked_c, target_c)

    def _set_limit(self, state: _State, span: float) -> None:
        slack = 0.5 * self._least(state)
        spread = max(math.sqrt(state.square.value), 0.01)
        run = SECONDS_IN_30_DAYS / max(span, 1.0)
        state.chart.slack = slack
        lasting = slack * LASTING_S / max(span, 1.0)
        state.chart.limit = max(lasting, spread * limit_for(max(slack / spread, 0.1), run))

    def _raise(
        self, look: Look | Rise, window: ClosedWindow, off: float, own: float, say: Say
    ) -> None:
        self._is_up = True
        self._normal_s = math.nan
        more = "more" if off > 0.0 else "less"
        residual_k = off * (window.target_c - ROOM_C)
        say(
            Sighting(
                row=window.last_row,
                at_s=window.end_s,
                channel=self._plan.name,
                kind=Kind.DRIFT,
                start_s=self._since_s,
                end_s=None,
                value=residual_k,
                unit="K",
                text=f"holding {window.target_c:.0f} °C takes {abs(off):.0%} {more} power than "
                f"before, worth some {abs(residual_k):.0f} K",
                reads_low=off > 0.0,
                facts={
                    "power_excess": off,
                    "power": look.power,
                    "own_power": own,
                    "residual_c": residual_k,
                },
            )
        )

    def _go_on(self, look: Look, window: ClosedWindow, off: float, least: float, say: Say) -> None:
        if abs(off) > 0.5 * least:
            self._normal_s = math.nan
            return
        if self._normal_s != self._normal_s:
            self._normal_s = look.start_s
        if window.end_s - self._normal_s >= BACK_S:
            self._end(window, say)

    def _end(self, window: ClosedWindow, say: Say) -> None:
        self._is_up = self._is_of_hours = False
        for state in self._states.values():
            state.chart.reset()
        end_s = self._normal_s if self._normal_s == self._normal_s else window.start_s
        say(Cleared(window.last_row, window.end_s, self._plan.name, Kind.DRIFT, end_s))

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._was_judged:
            return []
        why = "it never held one target, with power reported, long enough to know its own power"
        return [NotEvaluated(kind=Kind.DRIFT, channel=self._plan.name, why=why)]


def _is_motion(key: str) -> bool:
    return key.startswith("motion.")


class _Around:
    """Targets of the other channels, to the kelvin, and degrees of those that have none."""

    def __init__(self, windows: Windows, own: str) -> None:
        self.windows = windows
        self._columns = [
            (name, name == own, channel.target_c.tolist(), channel.celsius.tolist())
            for name, channel in sorted(windows.channels.items())
        ]

    def at(self, index: int) -> tuple[tuple[float, ...], dict[str, float]]:
        targets: list[float] = []
        air_c: dict[str, float] = {}
        for name, is_own, target_c, celsius in self._columns:
            if target_c[index] != target_c[index]:
                air_c[name] = celsius[index]
            elif not is_own:
                targets.append(round(target_c[index]))
        return tuple(targets), air_c
