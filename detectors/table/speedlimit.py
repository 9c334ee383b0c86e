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

import numpy as np
from numpy.typing import NDArray

from detectors.table.running import Carried, held, highest_so_far, shifted, sums_so_far
from detectors.table.windows import ChannelWindows
from shared.updates import Floats

Mask = NDArray[np.bool_]

DEFAULT_RISE_C_S = 10.0
DEFAULT_FALL_C_S = 6.0
LEAST_C_S = 2.5
"""No limit is learned below this: a hand or a fan may do as much to a bare sensor."""
LEAST_PASSIVE_C_S = 1.0
"""The same for sensors without a heater, which sit in air or on a board."""
LEAST_UNTOLD_C_S = 4.0
"""The same where neither power nor target of any channel is told: most nozzles heat by 2 to 4 K/s
(common practice)."""
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


FIRST: dict[str, float] = {
    "rise_c_s": DEFAULT_RISE_C_S,
    "fall_c_s": DEFAULT_FALL_C_S,
    **{f"{sort}_{what}": 0.0 for sort in ("rises", "falls", "passive") for what in ("s", "1", "2")},
}
"""Carried of each channel: the limits, and of each sort of slope how long it was seen, the fastest
and the second."""


def learn_limits(
    windows: ChannelWindows, seconds: Floats, clean: Mask, carried: Carried
) -> tuple[Floats, Floats]:
    """Take windows of shape (n, m) that last `seconds`, shape (m,), where they are `clean`:
    without gap, jump or burst of noise.

    The limits of rise and fall after each, shape (n, m) both.
    """
    power, slope, celsius = windows.power, windows.celsius_slope, windows.celsius
    rises, falls = np.full((2, *power.shape), np.nan)
    untold = np.isnan(power) & np.isnan(windows.target_c)
    passive = clean & untold
    if passive.any():
        seen_s, _, second = _fastest("passive", np.abs(slope), seconds, passive, carried)
        # Where no heater tells of itself, each channel may be one.
        least = np.where(untold.all(axis=0), LEAST_UNTOLD_C_S, LEAST_PASSIVE_C_S)
        limit = np.maximum(PASSIVE_SPARE * second, least)
        told = passive & (seen_s >= PASSIVE_S)
        rises[told] = np.minimum(limit, DEFAULT_RISE_C_S)[told]
        falls[told] = np.minimum(limit, DEFAULT_FALL_C_S)[told]
    warms = clean & (power >= FULL_POWER) & (slope > 0.0) & (celsius < NOT_HOT_C)
    if warms.any():
        lost = np.maximum(celsius - ROOM_C, 0.0) / (EQUILIBRIUM_C - ROOM_C)
        unlost = slope / np.where(warms, 1.0 - lost, 1.0)
        seen_s, fastest, _ = _fastest("rises", unlost, seconds, warms, carried)
        told = warms & (seen_s >= LEAST_S)
        rises[told] = np.maximum(SPARE_RISE * fastest, LEAST_C_S)[told]
    cools = clean & (windows.power_high < OFF) & (slope < 0.0) & (celsius > HOT_C)
    if cools.any():
        from_hottest = (HOTTEST_C - ROOM_C) / np.where(cools, celsius - ROOM_C, 1.0)
        seen_s, fastest, _ = _fastest("falls", -slope * from_hottest, seconds, cools, carried)
        told = cools & (seen_s >= LEAST_S)
        falls[told] = np.maximum(SPARE_FALL * fastest, LEAST_C_S)[told]
    rises = held(rises, ~np.isnan(rises), carried["rise_c_s"])
    falls = held(falls, ~np.isnan(falls), carried["fall_c_s"])
    carried["rise_c_s"], carried["fall_c_s"] = rises[:, -1], falls[:, -1]
    return rises, falls


def _fastest(
    sort: str, slopes: Floats, seconds: Floats, are_seen: Mask, carried: Carried
) -> tuple[Floats, Floats, Floats]:
    """How long such slopes were seen in all, the fastest and the second, after each window."""
    names = [f"{sort}_{what}" for what in ("s", "1", "2")]
    before_s, before, before_second = (carried[name] for name in names)
    seen_s = sums_so_far(np.where(are_seen, seconds, 0.0), before_s)
    slopes = np.where(are_seen, slopes, -np.inf)
    fastest = highest_so_far(slopes, before)
    second = highest_so_far(np.minimum(slopes, shifted(fastest, before)), before_second)
    for name, found in zip(names, (seen_s, fastest, second), strict=True):
        carried[name] = found[:, -1]
    return seen_s, fastest, second


def share_of_power(power: float, recent: float) -> float:
    """Part of the full-power rise that is possible, from power now and lately."""
    most = power if power > recent else recent
    share = POWER_SPARE * most
    return share if share < 1.0 else 1.0


def shares_of_power(power: Floats, recent: Floats) -> Floats:
    """The same for arrays of shape (n,)."""
    return np.minimum(POWER_SPARE * np.fmax(power, recent), 1.0)
