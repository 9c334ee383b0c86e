"""How fast heat can move a reading: what is faster is electrical.

Quantity: K/s, each way. The defaults before anything is learned are assumptions: strong
small heaters reach 10 K/s and lose heat at 3–5 K/s under a fan (common practice), so 10 up
and 6 down. The rise of a heater is in proportion to its power; what it can do at full
power is learned from clean windows at full power, with what was lost already added, and
more than half as much again: a window's mean hides its fastest moment and holds dead time.
Falls are in proportion to the heat above the room, so a cool-down from any heat teaches
what one from 300 °C would do; half as much again is for the fan.

Blind to jumps smaller than the limit times the spacing of readings: the slower a host
sends, the larger a jump must be.
"""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from shared.updates import Floats

if TYPE_CHECKING:
    from detectors.closed import ClosedWindow

DEFAULT_RISE_C_S = 10.0
DEFAULT_FALL_C_S = 6.0
LEAST_C_S = 2.5
"""No limit is learned below this: a hand or a fan may do as much to a bare sensor."""
LEAST_PASSIVE_C_S = 1.0
"""The same for sensors without a heater, which sit in air or on a board."""
SPARE_RISE = 1.6
SPARE_FALL = 1.5
FULL_POWER = 0.9
NOT_HOT_C = 200.0
EQUILIBRIUM_C = 375.0
"""Where full power is taken to end, and by how much losses slow a rise on the way there. An
assumption: a heater that is to hold 300 °C has power to spare there."""
HOT_C = 80.0
HOTTEST_C = 300.0
ROOM_C = 25.0
LEAST_S = 15.0
PASSIVE_S = 120.0
"""Time of such windows before anything is learned from them."""
PASSIVE_SPARE = 5.0
POWER_SPARE = 1.2


@dataclass(slots=True)
class _Fastest:
    """The two fastest of the slopes seen."""

    seen_s: float = 0.0
    fastest: float = 0.0
    second: float = 0.0

    def add(self, slope: float, seconds: float) -> float:
        """Take a slope that lasted so long; how long such slopes were seen in all."""
        self.seen_s += seconds
        if slope > self.fastest:
            self.second, self.fastest = self.fastest, slope
        elif slope > self.second:
            self.second = slope
        return self.seen_s


@dataclass(slots=True)
class SpeedLimit:
    """Limits in force, K/s, both positive."""

    rise_c_s: float = DEFAULT_RISE_C_S
    fall_c_s: float = DEFAULT_FALL_C_S
    _rises: _Fastest = field(default_factory=_Fastest)
    _falls: _Fastest = field(default_factory=_Fastest)
    _passive: _Fastest = field(default_factory=_Fastest)

    def learn(self, window: "ClosedWindow") -> None:
        """Take a window without gap, jump or burst of noise."""
        slope, seconds = window.celsius_slope, window.end_s - window.start_s
        if slope != slope:
            return
        power = window.power
        if power != power and window.target_c != window.target_c:
            passive = self._passive
            if passive.add(abs(slope), seconds) >= PASSIVE_S:
                limit = max(PASSIVE_SPARE * passive.second, LEAST_PASSIVE_C_S)
                self.rise_c_s = limit if limit < DEFAULT_RISE_C_S else DEFAULT_RISE_C_S
                self.fall_c_s = limit if limit < DEFAULT_FALL_C_S else DEFAULT_FALL_C_S
        elif power >= FULL_POWER and slope > 0.0 and window.celsius < NOT_HOT_C:
            lost = max(window.celsius - ROOM_C, 0.0) / (EQUILIBRIUM_C - ROOM_C)
            if self._rises.add(slope / (1.0 - lost), seconds) >= LEAST_S:
                self.rise_c_s = max(SPARE_RISE * self._rises.fastest, LEAST_C_S)
        elif window.power_high < 0.02 and slope < 0.0 and window.celsius > HOT_C:
            fall = -slope * (HOTTEST_C - ROOM_C) / (window.celsius - ROOM_C)
            if self._falls.add(fall, seconds) >= LEAST_S:
                self.fall_c_s = max(SPARE_FALL * self._falls.fastest, LEAST_C_S)


def share_of_power(power: float, recent: float) -> float:
    """Part of the full-power rise that is possible, from power now and lately."""
    most = power if power > recent else recent
    share = POWER_SPARE * most
    return share if share < 1.0 else 1.0


def shares_of_power(power: Floats, recent: Floats) -> Floats:
    """The same for arrays of shape (n,)."""
    return np.minimum(POWER_SPARE * np.fmax(power, recent), 1.0)
