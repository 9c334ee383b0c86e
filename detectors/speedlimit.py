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
from numpy.typing import NDArray

from detectors.running import held, highest_so_far, shifted, sums_so_far
from shared.updates import Floats

if TYPE_CHECKING:
    from detectors.closed import ClosedWindow
    from detectors.windows import ChannelWindows

Indices = NDArray[np.intp]

DEFAULT_RISE_C_S = 10.0
DEFAULT_FALL_C_S = 6.0
LEAST_C_S = 2.5
"""No limit is learned below this: a hand or a fan may do as much to a bare sensor."""
LEAST_PASSIVE_C_S = 1.0
"""The same for sensors without a heater, which sit in air or on a board."""
SPARE_RISE = 1.6
SPARE_FALL = 1.5
FULL_POWER = 0.9
OFF = 0.02
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

    def step(self, slope: float, seconds: float) -> None:
        """Take one slope."""
        self.seen_s += seconds
        if slope > self.fastest:
            self.second, self.fastest = self.fastest, slope
        elif slope > self.second:
            self.second = slope

    def add(self, slopes: Floats, seconds: Floats) -> tuple[Floats, Floats, Floats]:
        """Take slopes that lasted so long, k ≥ 1 of them.

        How long such slopes were seen in all, the fastest and the second, after each.
        """
        seen_s = sums_so_far(seconds, self.seen_s)
        fastest = highest_so_far(slopes, self.fastest)
        beaten = np.minimum(slopes, shifted(fastest, self.fastest))
        second = highest_so_far(beaten, self.second)
        self.seen_s, self.fastest, self.second = (
            float(each[-1]) for each in (seen_s, fastest, second)
        )
        return seen_s, fastest, second


@dataclass(slots=True)
class SpeedLimit:
    """Limits in force, K/s, both positive."""

    rise_c_s: float = DEFAULT_RISE_C_S
    fall_c_s: float = DEFAULT_FALL_C_S
    _rises: _Fastest = field(default_factory=_Fastest)
    _falls: _Fastest = field(default_factory=_Fastest)
    _passive: _Fastest = field(default_factory=_Fastest)

    def step(self, window: "ClosedWindow") -> None:
        """Take one window without gap, jump or burst of noise, on plain floats."""
        slope, seconds, power = window.celsius_slope, window.end_s - window.start_s, window.power
        if power != power and window.target_c != window.target_c:
            passive = self._passive
            passive.step(abs(slope), seconds)
            if passive.seen_s >= PASSIVE_S:
                limit = max(PASSIVE_SPARE * passive.second, LEAST_PASSIVE_C_S)
                self.rise_c_s = min(limit, DEFAULT_RISE_C_S)
                self.fall_c_s = min(limit, DEFAULT_FALL_C_S)
        elif power >= FULL_POWER and slope > 0.0 and window.celsius < NOT_HOT_C:
            lost = max(window.celsius - ROOM_C, 0.0) / (EQUILIBRIUM_C - ROOM_C)
            self._rises.step(slope / (1.0 - lost), seconds)
            if self._rises.seen_s >= LEAST_S:
                self.rise_c_s = max(SPARE_RISE * self._rises.fastest, LEAST_C_S)
        elif window.power_high < OFF and slope < 0.0 and window.celsius > HOT_C:
            from_hottest = (HOTTEST_C - ROOM_C) / (window.celsius - ROOM_C)
            self._falls.step(-slope * from_hottest, seconds)
            if self._falls.seen_s >= LEAST_S:
                self.fall_c_s = max(SPARE_FALL * self._falls.fastest, LEAST_C_S)

    def learn(
        self, windows: "ChannelWindows", seconds: Floats, clean: NDArray[np.bool_]
    ) -> tuple[Floats, Floats]:
        """`step` for those of m windows that are `clean`.

        The limits of rise and fall after each, shape (m,) both.
        """
        rises, falls = limits = np.full((2, len(seconds)), np.nan)
        power = windows.power
        is_passive = np.isnan(power) & np.isnan(windows.target_c)
        passive = np.flatnonzero(clean & is_passive)
        self._learn_passive(windows, seconds, passive, rises, falls)
        if not is_passive.all():
            slope, celsius = windows.celsius_slope, windows.celsius
            warms = clean & (power >= FULL_POWER) & (slope > 0.0) & (celsius < NOT_HOT_C)
            cools = clean & (windows.power_high < OFF) & (slope < 0.0) & (celsius > HOT_C)
            self._learn_rises(windows, seconds, np.flatnonzero(warms), rises)
            self._learn_falls(windows, seconds, np.flatnonzero(cools), falls)
        are_new = limits == limits
        rise_c_s = held(rises, are_new[0], self.rise_c_s)
        fall_c_s = held(falls, are_new[1], self.fall_c_s)
        self.rise_c_s, self.fall_c_s = float(rise_c_s[-1]), float(fall_c_s[-1])
        return rise_c_s, fall_c_s

    def _learn_passive(
        self,
        windows: "ChannelWindows",
        seconds: Floats,
        at: Indices,
        rises: Floats,
        falls: Floats,
    ) -> None:
        if not len(at):
            return
        seen_s, _, second = self._passive.add(np.abs(windows.celsius_slope[at]), seconds[at])
        limit = np.maximum(PASSIVE_SPARE * second, LEAST_PASSIVE_C_S)
        told = seen_s >= PASSIVE_S
        rises[at[told]] = np.minimum(limit, DEFAULT_RISE_C_S)[told]
        falls[at[told]] = np.minimum(limit, DEFAULT_FALL_C_S)[told]

    def _learn_rises(
        self, windows: "ChannelWindows", seconds: Floats, at: Indices, rises: Floats
    ) -> None:
        if not len(at):
            return
        lost = np.maximum(windows.celsius[at] - ROOM_C, 0.0) / (EQUILIBRIUM_C - ROOM_C)
        slopes = windows.celsius_slope[at] / (1.0 - lost)
        seen_s, fastest, _ = self._rises.add(slopes, seconds[at])
        told = seen_s >= LEAST_S
        rises[at[told]] = np.maximum(SPARE_RISE * fastest, LEAST_C_S)[told]

    def _learn_falls(
        self, windows: "ChannelWindows", seconds: Floats, at: Indices, falls: Floats
    ) -> None:
        if not len(at):
            return
        from_hottest = (HOTTEST_C - ROOM_C) / (windows.celsius[at] - ROOM_C)
        seen_s, fastest, _ = self._falls.add(-windows.celsius_slope[at] * from_hottest, seconds[at])
        told = seen_s >= LEAST_S
        falls[at[told]] = np.maximum(SPARE_FALL * fastest, LEAST_C_S)[told]


def share_of_power(power: float, recent: float) -> float:
    """Part of the full-power rise that is possible, from power now and lately."""
    most = power if power > recent else recent
    share = POWER_SPARE * most
    return share if share < 1.0 else 1.0


def shares_of_power(power: Floats, recent: Floats) -> Floats:
    """The same for arrays of shape (n,)."""
    return np.minimum(POWER_SPARE * np.fmax(power, recent), 1.0)
