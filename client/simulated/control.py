"""The controller: proportional-integral regulation of a heater, and the host's limits."""

from collections import deque

from client.simulated.rhythm import READING_S
from client.simulated.scenario import Limit

HOLD_S = 1.0
"""How long power is kept while readings are unusable, before it is cut: the nozzle's dead time.
Full power brings 50 J in it, 3 K of the block's 15.6 J/K."""
NO_RISE_C = 0.5
"""Least rise at full power: far above the noise of a difference of two readings (0.03 K; a code is
0.035 K), far below what either heater gains in its time, even at its limit (39 K and 7.8 K)."""


class Regulator:
    """PI with a clamped integral. Power is 0…1."""

    __slots__ = ("_bad_s", "_gain", "_integral", "_reset_s", "goal_c", "power")

    def __init__(self, gain: float, reset_s: float) -> None:
        self._gain = gain
        """Power per kelvin."""
        self._reset_s = reset_s
        """Integral time, s."""
        self._integral = 0.0
        self._bad_s = 0.0
        self.goal_c = 0.0
        self.power = 0.0

    def settle(self, power: float) -> None:
        """Begin as if this power had been held for long."""
        self._integral = self.power = power

    def cut(self) -> None:
        """Power off, integral forgotten."""
        self._integral = self.power = 0.0

    def tick(self, celsius: float, is_usable: bool) -> None:
        """Set power from one reading, every READING_S."""
        if self.goal_c <= 0.0:
            self.cut()
            return
        if not is_usable:
            self._bad_s += READING_S
            if self._bad_s > HOLD_S:
                self.power = 0.0
            return
        self._bad_s = 0.0
        error = self.goal_c - celsius
        wanted = self._gain * error + self._integral
        self.power = min(max(wanted, 0.0), 1.0)
        # Integrate only within power's range, or toward it: no windup during a heat-up.
        if 0.0 < wanted < 1.0 or (wanted >= 1.0) != (error > 0.0):
            step = self._gain * error * READING_S / self._reset_s
            self._integral = min(max(self._integral + step, 0.0), 1.0)


class Guard:
    """Limits of one heater; `tick` gives the remark with which the host halts, or nothing."""

    __slots__ = ("_beyond_s", "_full", "_limit", "_name", "_past")

    def __init__(self, name: str, limit: Limit) -> None:
        self._name = name
        self._limit = limit
        self._beyond_s = 0.0
        self._full = 0
        self._past: deque[float] = deque()

    def is_usable(self, celsius: float) -> bool:
        return self._limit.lowest_c <= celsius <= self._limit.highest_c

    def forgive(self) -> None:
        """Begin counting anew."""
        self._beyond_s = 0.0
        self._past.clear()

    def tick(self, celsius: float, power: float) -> str:
        """One reading and the power that followed it, every READING_S."""
        limit = self._limit
        if self.is_usable(celsius):
            self._beyond_s = 0.0
        else:
            self._beyond_s += READING_S
            if self._beyond_s > limit.patience_s:
                return f"halted: {self._name} reads beyond its limits"
        if power < 0.95 or limit.no_rise_s <= 0.0:
            self._past.clear()
            return ""
        self._past.append(celsius)
        if len(self._past) * READING_S <= limit.no_rise_s:
            return ""
        rise_c = celsius - self._past.popleft()
        return "" if rise_c >= NO_RISE_C else f"halted: {self._name} gets no warmer at full power"
