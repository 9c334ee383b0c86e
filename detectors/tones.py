"""Tones in unevenly spaced rows: the Lomb–Scargle periodogram and a test of its peak.

Lomb 1976, Scargle 1982. The peak is held against the median of its neighbourhood rather
than white noise, since readings wander at low frequencies; the chance of a false alarm is
that of an exponential power, times the number of frequencies looked at.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.updates import Floats

OVERSAMPLING = 3
NEAR_CELLS = 3
"""Cells (1/duration) beside a peak that belong to it."""
AROUND_CELLS = 24
OVER_NEXT = 4.0
"""How far a line must stand over the strongest of its neighbourhood."""
SLOWER_CELLS, SLOWEST_CELLS = 4.0, 1.5
"""How near to the lowest frequency a peak may be a side lobe of a slower wave."""
LOWEST_PERIODS = 4.0
"""Slower tones than this many periods in the stretch are taken for drift."""


@dataclass(frozen=True, slots=True)
class Tone:
    """Frequency in Hz, amplitude in units of the values, chance that noise alone made it."""

    hz: float
    amplitude: float
    residual: float
    """sd of what is left without the tone."""
    noise: float
    """sd of white noise as strong as what surrounds the line: slow heat falls out."""
    chance: float


def lomb_scargle(time_s: Floats, values: Floats, hz: Floats) -> Floats:
    """Periodogram of values about their mean at evenly spaced frequencies, shape of `hz`.

    White noise of variance v gives powers that are exponential with mean v; an even
    tone of amplitude a in n rows gives about n·a²/4.
    """
    turned = _phasors(time_s, hz)
    flat = values - values.mean()
    # Turned by the angle that makes the two columns orthogonal.
    squares = np.einsum("kn,kn->k", turned, turned)
    cc, cs = 0.5 * (len(values) + squares.real), 0.5 * squares.imag
    ss = len(values) - cc
    offset = 0.5 * np.arctan2(2.0 * cs, cc - ss)
    c, s = np.cos(offset), np.sin(offset)
    # Not by `@`: so small a product is slower on many threads than on one.
    together = np.einsum("kn,n->k", turned, flat)
    with_cosine, with_sine = together.real, together.imag
    tiny = 1e-12 * len(values)
    power: Floats = 0.5 * (
        (with_cosine * c + with_sine * s) ** 2
        / np.maximum(cc * c * c + 2.0 * cs * c * s + ss * s * s, tiny)
        + (with_sine * c - with_cosine * s) ** 2
        / np.maximum(ss * c * c - 2.0 * cs * c * s + cc * s * s, tiny)
    )
    return power


def _phasors(time_s: Floats, hz: Floats) -> NDArray[np.complex128]:
    """exp(2πi·hz·time_s), shape (len(hz), len(time_s)), for evenly spaced frequencies.

    Turned on from one frequency to the next, twice as many at a time: some ten sines and
    cosines a row instead of hundreds, and rounding grows with the logarithm of their number only.
    """
    turned = np.empty((len(hz), len(time_s)), dtype=np.complex128)
    done = min(1, len(hz))
    turned[:done] = np.exp(2j * np.pi * hz[:1, None] * time_s)
    while done < len(hz):
        more = min(done, len(hz) - done)
        ahead = np.exp(2j * np.pi * (hz[done] - hz[0]) * time_s)
        np.multiply(turned[:more], ahead, out=turned[done : done + more])
        done += more
    return turned


def strongest_tone(
    time_s: Floats, values: Floats, from_hz: float = 0.0, to_hz: float = math.inf
) -> Tone | None:
    """The strongest tone between four periods in the stretch and half the usual rate.

    `from_hz` and `to_hz` narrow that. None where nothing stands out as one line: a broad
    resonance has neighbours nearly as strong.
    """
    n, span = len(time_s), float(time_s[-1] - time_s[0])
    if n < 32 or not span > 0.0:
        return None
    cell = 1.0 / span
    whole = 0.5 / float(np.median(np.diff(time_s))) - LOWEST_PERIODS * cell
    lowest = max(LOWEST_PERIODS * cell, from_hz)
    highest = min(LOWEST_PERIODS * cell + whole, to_hz)
    if highest <= lowest + 4 * NEAR_CELLS * cell:
        return None
    hz = np.arange(lowest, highest, cell / OVERSAMPLING)
    centred = time_s - time_s.mean()
    flat = values - np.polyval(np.polyfit(centred, values, 2), centred)
    power = lomb_scargle(centred, flat, hz)
    best = int(np.argmax(power))
    if best in (0, len(power) - 1):
        # Not a peak but the flank of something outside.
        return None
    if hz[best] < lowest + SLOWER_CELLS * cell:
        slower = lomb_scargle(centred, flat, np.arange(SLOWEST_CELLS, lowest / cell, 0.5) * cell)
        if len(slower) and slower.max() > power[best]:
            # A part of a slower wave that the stretch cuts off.
            return None
    near, around = NEAR_CELLS * OVERSAMPLING, AROUND_CELLS * OVERSAMPLING
    beside = np.concatenate(
        (
            power[max(best - around, 0) : max(best - near, 0)],
            power[best + near + 1 : best + around + 1],
        )
    )
    # Median of an exponential is ln 2 of its mean.
    level = float(np.median(beside)) / math.log(2.0)
    if level <= 0.0 or power[best] < OVER_NEXT * float(beside.max()):
        return None
    count = whole / cell
    chance = count * math.exp(-min(float(power[best]) / level, 700.0))
    amplitude, residual = tone_at(centred, flat, float(hz[best]))
    return Tone(float(hz[best]), amplitude, residual, math.sqrt(level), min(chance, 1.0))


def tone_at(time_s: Floats, values: Floats, hz: float) -> tuple[float, float]:
    """Amplitude of the tone of this frequency by least squares, and the sd of the rest."""
    angle = 2.0 * np.pi * hz * time_s
    columns = np.stack((np.cos(angle), np.sin(angle), np.ones_like(angle)), axis=1)
    found, *_ = np.linalg.lstsq(columns, values, rcond=None)
    left = values - columns @ found
    return float(math.hypot(found[0], found[1])), float(np.std(left))
