"""How measured heat behaves beside the setting that leads it: it lags behind, and never jumps.

Each piece of evidence is that of the best stretch: what was seen once stays seen, however long
one listens on. No unit is needed for any of it.
"""

import numpy as np

from client.learn.series import Series
from shared.updates import Floats

NEAR = 0.02
"""A controlled reading is nearer to its setting than this part of it,"""
LEAST_NEAR = 3.0
"""or than this many of its own units."""
UNTOLD = 0.4
"""Part of that where no name tells that it is a reading: a share may be near a count."""
OVERSHOOT = 2.0
"""So many times as far a reading may go beyond its setting before it turns back."""
RETURNS = 0.3
"""What falls back by more than this part of its rise while the setting stands is none of it."""
SWINGS = 3
"""So often there and back, within seconds, is a coordinate's way, or a share's."""
SWING_S = 12.0
LEAST_READINGS = 4
STAND_READINGS = 8
LEAST_FLUTTER = 3
"""Values that a measurement takes at least while it stands."""
PARTS = 8
"""A stretch in which a setting stands is looked at in so many parts."""
JUMP = 0.25
"""Heat goes no such part of its whole range from one reading to the next."""


def follows(reading: Series, setting: Series, is_told: bool = True) -> float:
    """How well a reading follows a setting, 0 to 1: it stands at it, or comes nearer from below.

    What the reading passes without stopping is no setting of it. Where nothing told that it is a
    reading, it must flutter where it stands: two numbers may be equal because both are full.
    """
    is_setting = setting.distinct <= max(6, len(reading.values) / 10)
    # What goes on by one now and then is a count.
    is_setting &= is_told or not setting.moves_little
    if not is_setting or setting.flutters or setting.is_restless or setting.high <= 0.0:
        return 0.0
    return max((_led(reading, is_told, *stretch) for stretch in setting.stretches), default=0.0)


def _led(reading: Series, is_told: bool, begin_s: float, end_s: float, aim: float) -> float:
    """The same for one stretch in which the setting stands."""
    inside = slice(*np.searchsorted(reading.times, [begin_s, end_s]))
    values = reading.calm[inside]
    if len(values) < LEAST_READINGS or aim <= 0.0:
        return 0.0
    near = max(LEAST_NEAR, NEAR * aim) * (1.0 if is_told else UNTOLD)
    stands = max(
        _stands(calm, aim, near) * (is_told or len(np.unique(raw)) >= LEAST_FLUTTER)
        for calm, raw in zip(_parts(values), _parts(reading.numbers[inside]), strict=True)
    )
    peak = int(np.argmax(values))
    rise, left = float(values[peak] - values[0]), float(aim - values[peak])
    comes = rise > 3.0 * max(reading.noise, 0.05) and left < aim - values[peak // 2]
    returns = float(values[peak] - values[peak:].min()) > max(RETURNS * rise, OVERSHOOT * near)
    if not comes or left < -OVERSHOOT * near or returns:
        return 0.0 if returns and not is_told else stands
    # What has nearly arrived must be slowing down; if it is not, it goes somewhere else.
    arrived = rise / (rise + abs(left))
    return max(stands, 0.65 + 0.03 * arrived + 0.22 * arrived * _slows(values[: peak + 1]))


def _slows(values: Floats) -> float:
    """How much slower a rise is at its end than at its quickest, 0 to 1."""
    size = max(len(values) // PARTS, 1)
    steps = np.diff(values[::size])
    quickest = float(steps.max(initial=0.0))
    return 1.0 - max(float(steps[-1]), 0.0) / quickest if quickest > 0.0 else 0.0


def _parts(values: Floats) -> list[Floats]:
    size = max(STAND_READINGS, len(values) // PARTS)
    return [values[at : at + size] for at in range(0, max(len(values) - size, 0) + 1, size // 2)]


def _stands(values: Floats, aim: float, near: float) -> float:
    """Whether a part stays near the aim and goes nowhere; the nearer the surer."""
    gap = float(np.median(np.abs(values - aim)))
    if gap > near:
        return 0.0
    at = np.arange(len(values)) - (len(values) - 1) / 2.0
    slope = float(at @ values) / float(at @ at)
    rest = float(np.std(values - slope * at))
    goes = abs(slope) * len(values) > max(3.0 * rest, 0.1 * near)
    return 0.0 if goes else 1.0 - 0.1 * gap / near


def is_continuous(one: Series) -> bool:
    """Whether it goes through what lies between: a power may jump, heat cannot."""
    steps = np.abs(np.diff(one.calm))
    if not len(steps):
        return False
    # A quick rise that slows down has steps like it beside it.
    padded = np.pad(steps, 1)
    beside = np.maximum(padded[:-2], padded[2:])
    jumps = (steps > max(JUMP * float(np.ptp(one.calm)), 6.0 * one.noise)) & (steps > 2.0 * beside)
    return not bool(jumps.any())


def wanders(one: Series) -> bool:
    """Whether it goes there and back over most of its range, again and again, as a coordinate does:
    what is hot has no such haste."""
    values = one.calm
    span = float(np.ptp(values)) if len(values) else 0.0
    if span <= max(5.0, 0.05 * float(np.max(np.abs(values), initial=0.0))):
        return False
    # Where it turns, by what it has come back from the last extreme.
    swings, extreme, up = 0, values[0], True
    for value in values:
        if (value > extreme) == up:
            extreme = value
        elif abs(value - extreme) > 0.3 * span:
            swings, extreme, up = swings + 1, value, not up
    passed_s = float(one.times[-1] - one.times[0])
    return swings >= SWINGS and passed_s / swings < SWING_S
