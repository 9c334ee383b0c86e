"""A heater's own heat model, learned from windows: how fast it warms, cools and answers.

    dT/dt = gain · power − (loss + fan_loss · fan) · (T − ambient)

Gain is in K/s at full power, losses in 1/s. They are learned by recursive least squares
(for instance Ljung, System Identification, 11.2) from pairs of windows over which power
was steady, so that lag does not matter; each comes with an interval. Dead time and lag
come from the first heat-up from rest (`StepResponse`), by the tangent of steepest rise.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from detectors.table.closed import ClosedWindow
from detectors.table.windows import ROWS
from shared.words import Gate

STEADY_POWER = 0.15
"""Largest change of mean power between windows that still counts as steady."""
SCALE_C = 100.0
"""Temperatures enter the regression in hundreds, so that all columns are about 1."""
WIDE = 1e4
"""Variance of what is not known yet, in those units."""
FIRST_NOISE = 0.05
"""Residual before any was seen, K/s."""
ROOM_C = 25.0
WIDTH = 3.0
"""Half width of an interval in standard errors."""
LEAST_PAIRS = 8
KNOWN_WITHIN = 0.25
"""Gain counts as known when its interval is narrower than this part of it, each way."""
MOST_ODD = 4.0
"""A residual beyond this many sd counts as this many: odd windows teach little."""
CLIMB_K = 8.0
_STARTING, _HALTED, _COLD, _COOLING = Gate.STARTING, Gate.HALTED, Gate.COLD, Gate.COOLING


@dataclass(frozen=True, slots=True)
class Interval:
    value: float
    low: float
    high: float


@dataclass(slots=True)
class _LeastSquares:
    """Recursive least squares for four coefficients, in plain floats."""

    theta: list[float] = field(default_factory=lambda: [0.0] * 4)
    cov: list[list[float]] = field(
        default_factory=lambda: [[WIDE if i == j else 0.0 for j in range(4)] for i in range(4)]
    )
    variance: float = FIRST_NOISE * FIRST_NOISE
    count: int = 0

    def update(self, x: tuple[float, float, float, float], y: float) -> None:
        p = self.cov
        x0, x1, x2, x3 = x
        px = [r0 * x0 + r1 * x1 + r2 * x2 + r3 * x3 for r0, r1, r2, r3 in p]
        t0, t1, t2, t3 = self.theta
        spread = 1.0 + max(x0 * px[0] + x1 * px[1] + x2 * px[2] + x3 * px[3], 0.0)
        error = y - (x0 * t0 + x1 * t1 + x2 * t2 + x3 * t3)
        self.count += 1
        scaled = error * error / spread
        most = MOST_ODD * MOST_ODD * self.variance
        if self.count > LEAST_PAIRS and scaled > most:
            error *= math.sqrt(most / scaled)
            scaled = most
        if self.count > 4:
            self.variance += (scaled - self.variance) / min(self.count - 3, 100)
        g0, g1, g2, g3 = gains = [value / spread for value in px]
        self.theta = [t0 + g0 * error, t1 + g1 * error, t2 + g2 * error, t3 + g3 * error]
        for i, gain in enumerate(gains):
            row = p[i]
            for j in range(i + 1):
                # Only one half is worked out, so that rounding keeps it symmetric.
                row[j] = p[j][i] = row[j] - gain * px[j]

    def interval(self, index: int, factor: float = 1.0) -> Interval:
        half = WIDTH * math.sqrt(max(self.variance * self.cov[index][index], 0.0)) * abs(factor)
        value = self.theta[index] * factor
        return Interval(value, value - half, value + half)


class HeatModel:
    """Learns one heater, window by window."""

    def __init__(self) -> None:
        self._fit = _LeastSquares()
        self._last: ClosedWindow | None = None
        self._last_power = math.nan
        self._is_steady = False

    # -- what was learned --

    @property
    def is_known(self) -> bool:
        gain = self.gain
        return self._fit.count >= LEAST_PAIRS and gain.low > (1.0 - KNOWN_WITHIN) * gain.value > 0

    @property
    def gain(self) -> Interval:
        """K/s at full power."""
        return self._fit.interval(0)

    @property
    def loss(self) -> Interval:
        """1/s."""
        return self._fit.interval(1, -1.0 / SCALE_C)

    def rate(self, power: float, celsius: float, fan: float) -> float:
        """Rate of change that the model expects, K/s."""
        theta = self._fit.theta
        warm = celsius / SCALE_C
        return (
            theta[0] * power
            + theta[1] * warm
            + theta[2] * fan * (warm - ROOM_C / SCALE_C)
            + theta[3]
        )

    # -- learning --

    def step(self, window: ClosedWindow) -> None:
        power, last = window.power, self._last
        if power != power:
            return
        self._last = window
        if last is None or window.joined or window.gate in (_STARTING, _HALTED):
            self._is_steady = False
            return
        steady = -STEADY_POWER < power - last.power < STEADY_POWER
        was_steady, self._is_steady = self._is_steady, steady
        if not (steady and was_steady):
            return
        gate = window.gate
        moves = power > 0.5 or gate is _COOLING
        if not moves and (gate is _COLD or window.number % 4):
            # Rest and hold say little that is new.
            return
        self._learn(window, last)

    def _learn(self, window: ClosedWindow, last: ClosedWindow) -> None:
        span = 0.5 * (window.start_s + window.end_s - last.start_s - last.end_s)
        if not span > 0.0:
            return
        rate = (window.middle_c - last.middle_c) / span
        if rate != rate:
            return
        warm = 0.5 * (window.middle_c + last.middle_c) / SCALE_C
        fan = _fan(window)
        self._fit.update(
            (
                0.5 * (window.power + last.power),
                warm,
                fan * (warm - ROOM_C / SCALE_C),
                1.0,
            ),
            rate,
        )


@dataclass(slots=True)
class StepResponse:
    """How long a heater takes to answer, from its first heat-up from rest."""

    dead_s: float = math.nan
    """Time until the reading leaves its level; NaN before a heat-up was seen."""
    lag_s: float = math.nan
    """Further time to where the tangent of steepest rise meets that level."""
    _climb: list[ClosedWindow] = field(default_factory=list)

    def take(self, window: ClosedWindow, last: ClosedWindow) -> None:
        """Gather the windows of a heat-up from rest, until it is steep and high enough."""
        if not math.isnan(self.dead_s):
            return
        if not self._climb:
            if last.power < 0.02 and window.power > 0.1 and abs(last.celsius_slope) < 0.02:
                self._climb = [last, window]
            return
        self._climb.append(window)
        rise = window.middle_c - self._climb[0].middle_c
        if rise > CLIMB_K and len(self._climb) > 3:
            self._measure_climb()
            self._climb.clear()
        elif len(self._climb) > 12 or window.power < 0.1:
            self._climb.clear()

    def _measure_climb(self) -> None:
        time_s = np.concatenate([w.windows.time_rows[w.index] for w in self._climb])
        power = np.concatenate([w.channel.power_rows[w.index] for w in self._climb])
        reading = np.concatenate([w.channel.signal_rows[w.index] for w in self._climb])
        on = np.flatnonzero(power > 0.1)
        if not len(on) or on[0] < 4 or not np.isfinite(reading).all():
            return
        start = int(on[0])
        level, spread = float(np.median(reading[:start])), float(np.std(reading[:start]))
        away = np.flatnonzero(reading[start:] > level + 5.0 * spread + 1e-9)
        if not len(away):
            return
        left_s = float(time_s[start + int(away[0])])
        # Steepest slope over a quarter window, by differences that noise hardly moves.
        reach = ROWS // 4
        if len(reading) <= start + reach:
            return
        slopes = (reading[reach:] - reading[:-reach]) / (time_s[reach:] - time_s[:-reach])
        best = int(np.argmax(slopes[start:])) + start
        if slopes[best] <= 0.0:
            return
        middle = 0.5 * float(reading[best] + reading[best + reach])
        at_s = 0.5 * float(time_s[best] + time_s[best + reach])
        meets_s = at_s - (middle - level) / float(slopes[best])
        self.dead_s = max(left_s - float(time_s[start]), 0.0)
        self.lag_s = max(meets_s - float(time_s[start]) - self.dead_s, 0.0)


def _fan(window: ClosedWindow) -> float:
    fan = window.context.get("fan.speed", 0.0)
    return fan if fan == fan else 0.0
