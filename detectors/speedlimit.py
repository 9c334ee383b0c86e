"""How fast heat can move a reading: what is faster is electrical.

Quantity: K/s, each way. The defaults before anything is learned are assumptions: strong
small heaters reach 10 K/s and lose heat at 3–5 K/s under a fan (common practice), so 10 up
and 6 down. The rise of a heater is in proportion to its power; what it can do at full
power is learned from clean windows at full power, half as much again to spare, since a
heat-up is fastest where no window may have seen it. A sensor's own lag slows a true
change further, so the limit errs on the safe side.

Blind to jumps smaller than the limit times the spacing of readings: the slower a host
sends, the larger a jump must be.
"""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from shared.updates import Floats

if TYPE_CHECKING:
    from detectors.detector import ClosedWindow

DEFAULT_RISE_C_S = 10.0
DEFAULT_FALL_C_S = 6.0
LEAST_C_S = 2.5
"""No limit is learned below this: a hand or a fan may do as much to a bare sensor."""
LEAST_PASSIVE_C_S = 1.0
"""The same for sensors without a heater, which sit in air or on a board."""
SPARE = 1.5
FULL_POWER = 0.9
HOT_C = 120.0
"""A fall is learned from above this only: nearer to the room all falls are slow."""
LEAST_S = 20.0
PASSIVE_S = 120.0
"""Time of such windows before anything is learned from them."""
PASSIVE_SPARE = 5.0
POWER_SPARE = 1.2


@dataclass(slots=True)
class _Fastest:
    """The second fastest of the slopes seen, so that one odd window teaches nothing."""

    seen_s: float = 0.0
    fastest: float = 0.0
    value: float = 0.0
    """The second fastest; 0 until there are two."""

    def add(self, slope: float, seconds: float) -> float:
        """Take a slope that lasted so long; how long such slopes were seen in all."""
        self.seen_s += seconds
        if slope > self.fastest:
            self.value, self.fastest = self.fastest, slope
        elif slope > self.value:
            self.value = slope
        return self.seen_s

    @property
    def most(self) -> float:
        """What to go by: the second fastest, or the only one."""
        return self.value or self.fastest


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
        if window.power != window.power and window.target_c != window.target_c:
            if self._passive.add(abs(slope), seconds) >= PASSIVE_S:
                limit = PASSIVE_SPARE * self._passive.most
                self.rise_c_s = min(max(limit, LEAST_PASSIVE_C_S), DEFAULT_RISE_C_S)
                self.fall_c_s = min(max(limit, LEAST_PASSIVE_C_S), DEFAULT_FALL_C_S)
        elif window.power >= FULL_POWER and slope > 0.0:
            if self._rises.add(slope, seconds) >= LEAST_S:
                self.rise_c_s = max(SPARE * self._rises.most, LEAST_C_S)
        elif (
            window.power_high < 0.02
            and slope < 0.0
            and window.celsius > HOT_C
            and self._falls.add(-slope, seconds) >= LEAST_S
        ):
            self.fall_c_s = max(SPARE * self._falls.most, LEAST_C_S)


def share_of_power(power: float, recent: float) -> float:
    """Part of the full-power rise that is possible, from power now and lately."""
    most = power if power > recent else recent
    share = POWER_SPARE * most
    return share if share < 1.0 else 1.0


def shares_of_power(power: Floats, recent: Floats) -> Floats:
    """The same for arrays of shape (n,)."""
    return np.minimum(POWER_SPARE * np.fmax(power, recent), 1.0)
