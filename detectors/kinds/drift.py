"""drift: a held reading costs more power than it did, or much less.

A closed loop hides a drifting sensor: the reading stays on target and the power moves. So the
quantity is what the heater's balance of heat (`heat.balance`) leaves over, in kelvin: a sensor
that reads low by so many kelvin leaves that many. Means of 2, 10 and 40 minutes' holding are held
against the balance as it was known before them, from a minute to many hours before. A drift lies
4.5 of its deviations out, and 5 K. Its deviation holds the scatter of looks, the unknown load, what
is not known of the balance yet, and what could have moved unseen: air, a fan, the flow of material.
So the least size is what the host's reports allow: in a print from some 20 K with fan, feed and air
to 45 K with motion alone (measured, docs/quality.md). The event says it as ±, twice the deviation.

More power with all else the same is the mark of a sensor that has slipped from its seat. Less power
counts after twenty minutes of a hold, since what is around a heater soaks through. While material
may flow unreported, what comes within a minute is the flow's, up to a quarter of the loss.

A channel that departs from another is drift as well: `kinds.apart`.

Blind without power or target, to heaters of air, to what was there when the log began, and to
power that is switched as fast as the host tells of it.
"""

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from detectors.detector import Say
from detectors.heat.air import is_of_air
from detectors.heat.balance import (
    FAN,
    FANS,
    FEED_KEY,
    FLOWS_C,
    MOVING,
    ROOM_C,
    SPEED_KEY,
    Ages,
    Balance,
    HoldLook,
    Known,
    is_fan,
)
from detectors.reports import Cleared, Sighting
from detectors.table.closed import ClosedWindow
from detectors.table.plan import ChannelPlan
from shared.events import NotEvaluated
from shared.updates import Floats
from shared.words import Gate, Kind

LOOK_S, SWITCHED_LOOK_S = 60.0, 300.0
"""Length of a look; a heater that is switched on and off shows its mean over some cycles only."""
SETTLE_S = 60.0
"""A loop needs so long after it reached its target."""
ON_TARGET_K, ON_TARGET = 1.0, 0.01
"""Power counts while the reading is this near its target: K, or part of it."""
SPANS = (2, 10, 40)
"""Looks whose means are judged."""
FITS = 10
"""After so many looks the balance is worked out anew; at first sooner."""
FIRST_FITS = (2, 3, 4, 5, 7)
KEPT = 12
LIMIT = 4.5
"""Deviations: of even noise one mean in 150,000 lies so far out."""
LEAST_K = 5.0
LESS_AFTER_S = 1200.0
BACK_LOOKS = 2
AIR_K, SEEN_AIR_K = 3.5, 1.5
"""By how much air may have changed since: a room overnight, a door that is opened; and where a
channel without a heater tells of it (assumptions)."""
FLOW_PART, SPEED_PART, FEED_PART, PRINT_PART = 0.045, 0.04, 0.004, 0.1
"""Part of a heater's loss by which flow may come to differ within a print: where nothing of it is
reported, the carriage's speed, or the feed; and from one print to another (assumptions). A common
10 mm³/s takes a quarter (computed from 1.24 g/cm³ and 340 J/g, from memory)."""
SLOW_PART, MOST_FAST, MOST_FAST_FANLESS = 0.05, 0.25, 0.6
"""Changes from look to look beyond this part are flow's and a fan's, up to so much of the loss."""
FAN_PART, SEEN_FAN_PART = 0.03, 0.008
"""Part of the loss that a fan may take unreported, or otherwise than it did (assumptions)."""
MOST_LESS = 0.95
"""With hardly any power left something else holds the heat there, whatever the sensor reads."""
PAUSE_S, DIP_K = 600.0, 5.0
"""A hold that was left for so long, or fell so far below its target, says nothing of how fast."""
LEAST_WARMTH_K = 10.0
HOTTEST_C, FASTEST = 350.0, 1e4
"""No neighbour is hotter, no carriage, feed or fan faster: a host may say anything."""
AIR_C = (-40.0, 100.0)
"""Degrees that a channel without a heater must read to be taken for the air's."""
SWITCHED, UNSWITCHED_S = 0.4, 600.0
"""Change of power from one row to the next that is a switching, and for how long that counts."""
LOWEST, HIGHEST, FAST_ROWS, BEATS_S = 0.02, 0.95, 3, 1800.0
"""Full power, on and off in so few rows, beats with the telling; for so long that counts."""
_MEANS = np.array([[(k >= SPANS[-1] - span) / span for k in range(SPANS[-1])] for span in SPANS])
"""Weights of the last looks in each mean, shape (spans, looks)."""
_HELD = (Gate.HOLDING, Gate.PRINTING)


@dataclass(frozen=True, slots=True)
class _Excess:
    """How much more power than was known a mean took."""

    known: Known
    power: float
    more: float
    sd: float
    per_kelvin: float
    fan: float
    """What fans take of it, as was known."""

    @property
    def part(self) -> float:
        return self.more / max(self.power - self.more, 0.1 * abs(self.more))

    @property
    def kelvin(self) -> float:
        return self.more / self.per_kelvin


class DriftDetector:
    """Follows the balance of one heater while it holds."""

    def __init__(self, plan: ChannelPlan) -> None:
        self._plan = plan
        self._is_of_air = is_of_air(plan.name)
        self._balance = Balance()
        self._known = Ages(KEPT, FITS * LOOK_S)
        self._looks = 0
        self._rows: deque[tuple[HoldLook, Floats, float]] = deque(maxlen=SPANS[-1])
        """The last looks, their inputs, and their power without `fast`."""
        self._dipped = False
        """Whether the reading fell far below its target since the last look."""
        self._fast = 0.0
        """Sum of changes from look to look that were too fast for a drift, power."""
        self._open: list[ClosedWindow] = []
        self._target_c = math.nan
        self._held_since_s = self._hot_since_s = math.nan
        """Since when it holds, and since when it is to be hot at all."""
        self._beats_s = self._switched_s = -math.inf
        self._up: _Excess | None = None
        self._normal: list[float] = []
        self._was_judged = False

    def step(self, window: ClosedWindow, say: Say) -> None:
        target_c = window.target_c
        if self._is_of_air or math.isnan(window.power) or math.isnan(target_c):
            return
        self._follow(window)
        if window.gate not in _HELD or window.joined or target_c != self._target_c:
            if self._up and (target_c <= 0.0 or window.gate is Gate.HALTED):
                self._end(window, window.start_s, say)
            self._target_c, self._held_since_s = target_c, math.nan
            self._open.clear()
            return
        if math.isnan(self._held_since_s):
            self._held_since_s = window.start_s
        if not self._counts(window):
            self._open.clear()
            return
        self._open.append(window)
        # A host may tell power smoothed: whole windows then lie far apart.
        powers = [one.power for one in self._open]
        if window.power_jump > SWITCHED or max(powers) - min(powers) > SWITCHED:
            self._switched_s = window.end_s
        is_switched = window.end_s - self._switched_s < UNSWITCHED_S
        least_s = SWITCHED_LOOK_S if is_switched else LOOK_S
        if window.end_s - self._open[0].start_s >= least_s and len(self._open) > 1:
            self._judge(_look(self._open, self._plan.name, is_switched), window, say)
            self._open.clear()

    def _follow(self, window: ClosedWindow) -> None:
        """What goes on whether it holds or not."""
        if not window.target_c > 0.0:
            self._hot_since_s = math.nan
        elif math.isnan(self._hot_since_s):
            self._hot_since_s = window.start_s
            self._balance.redraw(PRINT_PART)
        self._dipped = self._dipped or window.middle_c < window.target_c - DIP_K
        if not window.joined:
            self._balance.soak(window.middle_c, window.end_s)

    def _counts(self, window: ClosedWindow) -> bool:
        """Whether the window is of a settled hold whose mean power can be told."""
        is_settled = window.start_s >= self._held_since_s + SETTLE_S
        return is_settled and not self._beats(window)

    def _beats(self, window: ClosedWindow) -> bool:
        """Whether full power is switched as fast as the host tells of it, or was of late."""
        if window.power_jump > HIGHEST - LOWEST:
            powers = window.channel.power_rows[window.index]
            is_on = powers > HIGHEST
            ups = np.flatnonzero(is_on[1:] & ~is_on[:-1])
            # Where channels are told in turns a row says what an earlier one said.
            held = len(powers) / max(window.changes + window.repeats, 1)
            if (is_on | (powers < LOWEST)).all() and (np.diff(ups) <= FAST_ROWS * held).any():
                self._beats_s = window.end_s
        return window.end_s - self._beats_s < BEATS_S

    def _judge(self, look: HoldLook, window: ClosedWindow, say: Say) -> None:
        balance = self._balance
        is_on_target = abs(look.celsius - self._target_c) <= max(
            ON_TARGET_K, ON_TARGET * self._target_c
        )
        if not is_on_target or look.warmth < LEAST_WARMTH_K:
            return
        row = balance.row(look)
        self._fast = self._fast_by(look, row) if self._may_flow(look, row) else 0.0
        power = look.power - self._fast
        self._rows.append((look, row, power))
        if self._up:
            self._go_on(self._up, look, power - float(self._up.known.theta @ row), window, say)
            return
        excess = self._clearest(look)
        if excess is not None and self._is_drift(excess, look):
            self._raise(excess, window, say)
            return
        balance.learn(row, power)
        if balance.known is None:
            return
        self._looks += 1
        if self._looks % FITS == 0 or self._looks in FIRST_FITS:
            self._known.add(balance.fit(look.end_s, row[0]))

    def _may_flow(self, look: HoldLook, row: Floats) -> bool:
        """Whether material may flow of which nothing is reported."""
        melts = self._target_c > FLOWS_C
        return melts and row[MOVING] > 0.0 and FEED_KEY not in look.inputs

    def _fast_by(self, look: HoldLook, row: Floats) -> float:
        """What came too fast for a drift by now, where flow or a fan may have done it.

        They pull a reading by some kelvin, and not by many as a slip does.
        """
        known, balance = self._balance.known, self._balance
        dipped, self._dipped = self._dipped, False
        if known is None or not self._rows or dipped:
            return self._fast
        if look.start_s - self._rows[-1][0].end_s > PAUSE_S:
            return self._fast
        last, last_row, _ = self._rows[-1]
        change = look.power - last.power - float(known.theta @ (row - last_row))
        usual = SLOW_PART * row[0] * balance.unit + 2.0 * math.sqrt(balance.noise(row[0], 1))
        fast = self._fast + math.copysign(max(abs(change) - usual, 0.0), change)
        part = MOST_FAST if any(map(is_fan, look.inputs)) else MOST_FAST_FANLESS
        most = part * row[0] * balance.unit
        return float(min(max(fast, -most), most))

    def _clearest(self, look: HoldLook) -> _Excess | None:
        """The means of the last looks against what was known before them, where it is clearest."""
        balance, known, latest = self._balance, self._known, list(self._rows)
        spans = [span for span in SPANS if span <= len(latest)]
        begins_s = np.array([latest[-span][0].start_s for span in spans])
        counts = known.at_s <= begins_s[:, None]
        if not counts.any():
            return None
        self._was_judged = True
        means = _MEANS[: len(spans), -len(latest) :]
        rows: Floats = means @ np.array([row for _, row, _ in latest])
        power = means @ np.array([power for _, _, power in latest])
        more = power[:, None] - rows @ known.theta.T
        noise = balance.noise(look.warmth, 1)
        least = noise / np.array(spans)[:, None] + self._unseen(look, rows[-1])
        if not (counts & (np.abs(more) > LIMIT * np.sqrt(least))).any():
            # Whatever else is uncertain makes it no clearer.
            return None
        spread = known.spread(rows)
        # Parts of cycles that beat with the telling may seem to stand still for a while.
        beating = balance.load(look.warmth) if balance.is_switched else 0.0
        spread += np.maximum((known.load * rows[:, :1]) ** 2, beating) + least
        if self._may_flow(look, rows[-1]):
            other = (PRINT_PART * balance.unit * rows[:, MOVING, None]) ** 2
            spread += np.where(known.at_s < self._hot_since_s, other, 0.0)
        ratio = np.where(counts, np.abs(more) / np.sqrt(spread), 0.0)
        span, age = np.unravel_index(int(np.argmax(ratio)), ratio.shape)
        found = known[int(age)]
        per_kelvin = found.per_kelvin(rows[span], balance.unit)
        sd = math.sqrt(float(spread[span, age]))
        fan = float(found.theta[FAN : FAN + FANS] @ rows[span, FAN : FAN + FANS])
        return _Excess(found, float(power[span]), float(more[span, age]), sd, per_kelvin, fan)

    def _unseen(self, look: HoldLook, row: Floats) -> float:
        """Variance of what may have moved without being reported, in power."""
        melts = self._target_c > FLOWS_C
        has_fan = any(map(is_fan, look.inputs))
        fan = SEEN_FAN_PART if has_fan or not melts else FAN_PART
        flow = 0.0
        if melts and row[MOVING] > 0.0:
            by_speed = SPEED_PART if SPEED_KEY in look.inputs else FLOW_PART
            flow = FEED_PART if FEED_KEY in look.inputs else by_speed
        air = SEEN_AIR_K if look.has_air else AIR_K
        return self._balance.unit**2 * float(air**2 + (fan**2 + flow**2) * row[0] ** 2)

    def _is_drift(self, excess: _Excess, look: HoldLook) -> bool:
        is_less = excess.more < 0.0
        is_soaked = look.end_s - self._held_since_s >= LESS_AFTER_S
        # As a part grows its fan blows on less of what is hot.
        over = -excess.more - excess.fan if is_less else excess.more
        if is_less and look.power < (1.0 - MOST_LESS) * (excess.power - excess.more):
            return False
        if excess.more - 2.0 * excess.sd > look.warmth * excess.per_kelvin:
            # No sensor that still reads its target sees less than half of the heat.
            return False
        is_clear = over > LIMIT * excess.sd and over > LEAST_K * excess.per_kelvin
        return is_clear and (is_soaked or not is_less)

    def _since_s(self, excess: _Excess) -> float:
        """When the change began, if that is among the last looks; else what it is held against."""
        sign, half = math.copysign(1.0, excess.more), 0.5 * abs(excess.more)
        more = [sign * (power - float(excess.known.theta @ row)) for _, row, power in self._rows]
        path = np.cumsum(np.array(more) - half)
        begin = int(np.argmin(path))
        if path[begin] < 0.0 and begin + 1 < len(self._rows):
            return self._rows[begin + 1][0].start_s
        return max(excess.known.at_s, self._rows[0][0].start_s)

    def _raise(self, excess: _Excess, window: ClosedWindow, say: Say) -> None:
        self._up = excess
        self._normal.clear()
        part, kelvin = excess.part, excess.kelvin
        within = 2.0 * excess.sd / excess.per_kelvin
        words = "more" if part > 0.0 else "less"
        say(
            Sighting(
                row=window.last_row,
                at_s=window.end_s,
                channel=self._plan.name,
                kind=Kind.DRIFT,
                start_s=self._since_s(excess),
                end_s=None,
                value=kelvin,
                unit="K",
                text=f"holding {window.target_c:.0f} °C takes {abs(part):.0%} {words} power than "
                f"before, worth {abs(kelvin):.0f} ± {within:.0f} K",
                reads_low=kelvin > 0.0,
                facts={
                    "power_excess": part,
                    "power": excess.power,
                    "own_power": excess.power - excess.more,
                    "residual_c": kelvin,
                },
            )
        )

    def _go_on(
        self, up: _Excess, look: HoldLook, more: float, window: ClosedWindow, say: Say
    ) -> None:
        if more / up.more > 0.5:
            self._normal.clear()
            return
        self._normal.append(look.start_s)
        if len(self._normal) >= BACK_LOOKS:
            self._end(window, self._normal[0], say)

    def _end(self, window: ClosedWindow, end_s: float, say: Say) -> None:
        self._up = None
        self._rows.clear()
        say(Cleared(window.last_row, window.end_s, self._plan.name, Kind.DRIFT, end_s))

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._was_judged:
            return []
        if self._is_of_air:
            why = "doors and whatever else is hot decide what power air takes"
            return [NotEvaluated(kind=Kind.DRIFT, channel=self._plan.name, why=why)]
        why = "it never held one target, with power reported, long enough to know its own power"
        return [NotEvaluated(kind=Kind.DRIFT, channel=self._plan.name, why=why)]


def _look(windows: list[ClosedWindow], own: str, is_switched: bool) -> HoldLook:
    """The means of windows on end."""
    first, last = windows[0], windows[-1]
    inputs = {
        key: _within(0.0, _mean([window.context.get(key, math.nan) for window in windows]), FASTEST)
        for key in first.context
        if is_fan(key) or key in (SPEED_KEY, FEED_KEY)
    }
    # Where motion is not reported, a heater this hot may be printing.
    moving = _mean([window.moving for window in windows])
    inputs["moving"] = float(last.target_c > FLOWS_C) if math.isnan(moving) else moving
    has_air, air_c = False, ROOM_C
    for name, channel in last.windows.channels.items():
        if name != own:
            celsius = float(channel.celsius[last.index])
            is_air = math.isnan(channel.target_c[last.index]) and AIR_C[0] < celsius < AIR_C[1]
            has_air = has_air or is_air
            if is_of_air(name) and AIR_C[0] < celsius < AIR_C[1]:
                air_c = celsius
            inputs[f"{name}.temperature_c"] = _within(AIR_C[0], celsius, HOTTEST_C)
    spent_s = 0.5 * (last.start_s + last.end_s - first.start_s - first.end_s)
    return HoldLook(
        first.start_s,
        last.end_s,
        _within(0.0, _mean([window.power for window in windows]), 1.0),
        _mean([window.middle_c for window in windows]),
        (last.middle_c - first.middle_c) / spent_s,
        is_switched,
        air_c,
        has_air,
        inputs,
    )


def _within(low: float, value: float, high: float) -> float:
    """A value brought between two; NaN as it is."""
    return value if math.isnan(value) else min(max(value, low), high)


def _mean(values: list[float]) -> float:
    return math.fsum(values) / len(values)
