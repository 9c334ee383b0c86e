"""How far a heater's loop can swing a reading by itself, at a tone of that reading.

A loop whose power is regulated swings at its own frequency, and a reading that hums makes
the same loop answer with power: reading and power look alike then. What tells them apart is
the heater: power of amplitude u at f Hz moves heat by no more than u times the fastest rise,
over 2πf. So a reading that swings more than that is not heat.

A loop that is regulated smoothly, away from its ends, is linear, and a linear loop can't keep up
a swing: it rings and fades, or noise drives it and it comes and goes. So a tone there that stays as
it is comes from outside (`is_linear`), whatever the heater could do.

All that the host hides of the power counts for the heater: what rounding may hide, and what
smoothing may, unless the power is seen to follow the reading's noise row by row. Two things more
make tones of heat that no told power shows: a heater that is switched on and off in turns of a
second or so, of which the host tells the share (`switched`), and readings of which a host tells
now younger, now older ones, on a slope (`aged`).
"""

import math

import numpy as np

from detectors.chance.tones import Tone, phasor_at
from shared.updates import Floats

WHOLLY, SMOOTHED = 0.5, 3.0
"""A tone that is this part of the power's variance may be so many times wider than it is told."""
FOLLOWS = 0.5
"""Power that answers noise from row to row by this part of what it answers the tone is told as
it is. Smoothing that shrinks a tone to a third shrinks what is faster much more: of noise under
such a filter of one pole, an eighth and less is left above three times the tone's frequency. As
large a part of what moves the power from row to row must be that answer: a heater that is
switched answers noise too, at the moments of its edges.
"""
LATE_ROWS = 5
"""So many rows late power may be told."""
LOWEST, HIGHEST = 0.05, 0.7
"""Power between these is at no end of its range: some hosts allow no more than 0.75."""
LEAST_STEPS = 3.0
"""Rounding of power makes a loop swing by itself too: by a step or two of it."""
HARMONICS = 3
SQUARE, COARSEST = 2.0 / math.pi, 0.05
"""The amplitude of a square wave of one step of power, which rounding may hide; and the largest
step that is rounding and not switching."""
UNKNOWN_SHARE = 0.1
"""Part of the holding power that flow may take and give at any frequency (an assumption): strokes
of 2 to 15 s draw heat in tones."""
SWITCHED_K, TURN_S, LEAST_LAG_S = 0.1, 4.0, 0.5
"""Turns are chosen so short that a reading shows no more of them, and so long at most; no sensor
in a block answers faster (assumptions)."""
SMOOTH_ROWS = 8
SAWTOOTH = 1.0 / math.pi
"""Amplitude of a sawtooth of one from end to end."""


def able(
    time_s: Floats,
    values: Floats,
    power: Floats,
    tone: Tone,
    rise: float,
    *,
    may_flow: bool = False,
) -> float:
    """The widest swing that heat can make at a tone, in units of `rise` times a second.

    `values` and `power` (0…1) are rows at `time_s`, shape (n,); `rise` is what full power
    gives a second at most; `may_flow`: whether material may flow of which nothing is told.
    """
    hides = not follows(time_s, values, power, tone)
    unknown = UNKNOWN_SHARE * float(power.mean()) if may_flow else 0.0
    return rise * _swing(time_s, power, tone.hz, unknown, hides) / (2.0 * math.pi * tone.hz)


def switched(hz: float, told_hz: float, rise: float) -> float:
    """The widest swing, K, that turns of a heater's switch make at a frequency, or above it, where
    readings that are told so often fold them down to it; `rise` as above."""
    least_hz = 1.0 / TURN_S
    turning = 2.0 * math.pi * (hz if hz >= least_hz else max(told_hz - hz, least_hz))
    return min(SQUARE * rise / turning / math.hypot(1.0, turning * LEAST_LAG_S), SWITCHED_K)


def aged(time_s: Floats, values: Floats) -> float:
    """The widest tone, in the values' unit, of readings whose age comes and goes between 0 and the
    time from one to the next, as where a converter and its host keep different times."""
    smooth = np.ones(SMOOTH_ROWS) / SMOOTH_ROWS
    slopes = np.diff(np.convolve(values, smooth, "valid"))
    slopes /= np.diff(np.convolve(time_s, smooth, "valid"))
    is_new = np.diff(values, prepend=math.nan) != 0.0
    age_s = float(np.quantile(np.diff(time_s[is_new]), 0.95))
    return SAWTOOTH * age_s * math.sqrt(float(np.mean(slopes * slopes)))


def follows(time_s: Floats, values: Floats, power: Floats, tone: Tone) -> bool:
    """Whether power answers the reading's noise at once, as it answers the tone.

    Third differences leave noise of both; their regression is the loop's gain on it. A host may
    tell of power some rows late.
    """
    noise, answer = np.diff(values, 3), np.diff(power, 3)
    told = abs(phasor_at(time_s - time_s.mean(), power, tone.hz))
    for late in range(LATE_ROWS + 1):
        cause, effect = noise[: len(noise) - late], answer[late:]
        square, both = float(cause @ cause), -float(cause @ effect)
        if both <= 0.0 or both * both < FOLLOWS * square * float(effect @ effect):
            continue
        return both / square * tone.amplitude > FOLLOWS * told
    return False


def is_linear(time_s: Floats, values: Floats, power: Floats, tone: Tone) -> bool:
    """Whether the loop that answers this tone can't have made it by itself."""
    if not (float(power.min()) > LOWEST and float(power.max()) < HIGHEST):
        return False
    told = abs(phasor_at(time_s - time_s.mean(), power, tone.hz))
    return told > LEAST_STEPS * _rounding(power) and follows(time_s, values, power, tone)


def _swing(time_s: Floats, power: Floats, hz: float, unknown: float, hides: bool) -> float:
    """How far power may have swung at this frequency, told or not; `unknown` loads beside.

    A loop that swings from end to end has harmonics, as a square wave of its size at most.
    """
    centred, rounded = time_s - time_s.mean(), SQUARE * _rounding(power)
    whole = WHOLLY * float(np.var(power))
    swings = []
    for harmonic in range(1, HARMONICS + 1):
        told = abs(phasor_at(centred, power, hz / harmonic))
        # Power that swings with it and hardly else regulates a swing of its own making.
        is_own = 0.5 * told * told > whole
        swings.append(
            (SMOOTHED if is_own and hides else 1.0) * math.hypot(told + rounded, unknown) / harmonic
        )
    return max(swings)


def _rounding(power: Floats) -> float:
    """What the host rounds power to; 0 where it does not, or where power is switched."""
    steps = np.diff(np.unique(power))
    step = float(steps.min()) if len(steps) else 0.0
    return step if step <= COARSEST else 0.0
