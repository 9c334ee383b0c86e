"""How a host holds a temperature: on and off, proportional, or PID; and its switching."""

from dataclasses import dataclass
from typing import Literal

Way = Literal["on-off", "proportional", "pid"]
PLAUSIBLE_C = (-20.0, 420.0)
"""A host gives no power on a reading beyond these (common practice: any host has such ends)."""


@dataclass(frozen=True, slots=True)
class Settings:
    """Of one heater's control.

    way          how it reckons
    every_s      from one reckoning to the next, s
    band_k       on-off: half the hysteresis, K
    gain_1_k     share of power for each kelvin
    reset_s      time of the integral, s
    rate_s       time of the derivative, taken of the reading as it is, noise and all, s
    hold         proportional: share of power for each kelvin over 25 °C, added as it stands
    window_s     time of one switching, s; 0: as good as steady
    most         largest share of power
    levels       steps of power; 0: as good as none
    """

    way: Way
    every_s: float
    band_k: float
    gain_1_k: float
    reset_s: float
    rate_s: float
    hold: float
    window_s: float
    most: float
    levels: int


@dataclass(slots=True)
class Loop:
    """A control as it goes: the share of power that it asks for."""

    settings: Settings
    duty: float = 0.0
    sum: float = 0.0
    last_c: float | None = None

    def reckon(self, reading_c: float, target_c: float) -> float:
        """The share of power from now on, 0–1."""
        last_c, self.last_c = self.last_c, reading_c
        low, high = PLAUSIBLE_C
        if target_c <= 0.0 or not low < reading_c < high:
            self.duty, self.sum = 0.0, 0.0
            return 0.0
        settings = self.settings
        error = target_c - reading_c
        if settings.way == "on-off":
            if error > settings.band_k:
                self.duty = settings.most
            elif error < -settings.band_k:
                self.duty = 0.0
            return self.duty
        rise = 0.0 if last_c is None else (reading_c - last_c) / settings.every_s
        self.duty = self._stepped(self._wanted(error, rise, target_c))
        return self.duty

    def _wanted(self, error: float, rise: float, target_c: float) -> float:
        settings = self.settings
        asked = settings.gain_1_k * (error - settings.rate_s * rise)
        if settings.way == "proportional":
            return asked + settings.hold * (target_c - 25.0)
        # The integral rests while power is at an end: or it would wind up in every heat-up.
        if 0.0 < asked + self.sum < settings.most or error * self.sum < 0.0:
            self.sum += settings.gain_1_k * error * settings.every_s / settings.reset_s
            self.sum = min(max(self.sum, -0.1), settings.most)
        return asked + self.sum

    def _stepped(self, asked: float) -> float:
        duty = min(max(asked, 0.0), self.settings.most)
        levels = self.settings.levels
        return round(duty * levels) / levels if levels else duty

    def is_on(self, now_s: float) -> float:
        """What a switch gives at a moment: its duty, or 1 and 0 where it switches slowly."""
        window_s = self.settings.window_s
        if window_s <= 0.0:
            return self.duty
        return 1.0 if now_s % window_s < self.duty * window_s - 1e-9 else 0.0
