"""Tones in unevenly spaced rows: a tapered periodogram and a test of its lines.

Under a Hann taper (Harris 1978, from memory) what a slow change leaks into other frequencies
falls with the cube of their distance, so that a fan's step does not bury a tone. A line is held
against the medians of its two flanks rather than white noise, since readings wander at low
frequencies; the chance of a false alarm is that of an exponential power, times the number of
frequencies looked at.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.updates import Floats

OVERSAMPLING = 2
SPREAD = 8
"""Cells of a grid, each way, over which a row is spread."""
NEAR_CELLS = 3
"""Cells (1/duration) beside a line that belong to it: the taper's are two."""
NEXT_CELLS = 9
AROUND_CELLS = 24
LEAST_BELOW, ENOUGH_BELOW = 4, 12
"""Powers below a line, two a cell, that tell how strong noise is there, and that do so alone."""
OVER_NEXT = 4.0
"""How far a line must stand over the strongest of its neighbourhood, out to `NEXT_CELLS`."""
SLOWEST_CELLS = 1.5
"""Slower waves than a tone may be are looked at too: a tone must stand out from them."""
MOST_TONES = 3
MOST_OF_MEAN = 4.0
"""Rows that come in bursts are microseconds apart, and hold no tone of megahertz: frequencies are
looked at up to so many times what the mean rate of rows can tell. Even rows with gaps for three
quarters of the time lose nothing."""
BURST = 0.1
"""Rows that follow by less than this part of the mean spacing were sent together: when each was
read is not told, and no tone shows that is faster than the bursts."""
LOWEST_PERIODS = 4.0
"""Slower tones than this many periods in the stretch are taken for drift."""


@dataclass(frozen=True, slots=True)
class Tone:
    """Frequency in Hz, amplitude in units of the values, chance that noise alone made it."""

    hz: float
    amplitude: float
    noise: float
    """sd of white noise as strong as what is beside the line on its weaker side: heat is slow."""
    wander: float
    """The same of the stronger side."""
    chance: float


def taper(time_s: Floats) -> Floats:
    """Hann weights of rows at these times, 0 at both ends, shape (n,)."""
    turn = 2.0 * np.pi / float(time_s[-1] - time_s[0])
    weights: Floats = 0.5 - 0.5 * np.cos(turn * (time_s - time_s[0]))
    return weights


def periodogram(time_s: Floats, values: Floats, hz: Floats) -> Floats:
    """Tapered periodogram of values about their weighted mean, at evenly spaced hz, its shape.

    White noise of variance v gives powers that are exponential with mean v; an even tone of
    amplitude a in n rows gives about n·a²/6.
    """
    weights = taper(time_s)
    weighted = weights * (values - float(weights @ values) / float(weights.sum()))
    sums = transform(time_s, weighted, hz)
    power: Floats = (sums.real**2 + sums.imag**2) / float(np.sum(weights * weights))
    return power


def phasor_at(time_s: Floats, values: Floats, hz: float) -> complex:
    """The tone of this frequency: its modulus is the amplitude, by the same taper."""
    weights = taper(time_s)
    weighted = weights * (values - float(weights @ values) / float(weights.sum()))
    turned = np.exp(-2j * np.pi * hz * time_s)
    return complex(2.0 * np.sum(weighted * turned) / np.sum(weights))


def transform(time_s: Floats, values: Floats, hz: Floats) -> NDArray[np.complex128]:
    """Sums of values · exp(−2πi·hz·time_s), shape (k,), for k evenly spaced frequencies.

    Rows are spread over an even grid by a Gaussian, whose own transform is divided out of the
    grid's (Greengard and Lee 2004, "Accelerating the nonuniform fast Fourier transform"): to seven
    digits of the largest sum.
    """
    count = len(hz)
    if count < 2:
        sums: NDArray[np.complex128] = np.exp(-2j * np.pi * np.outer(hz, time_s)) @ values
        return sums
    cells = 1 << max(2 * count - 1, 4 * SPREAD).bit_length()
    narrow = np.pi * (1.0 - 0.5 * count / cells) / SPREAD
    place = (hz[1] - hz[0]) * time_s % 1.0 * cells
    nearest = np.rint(place).astype(np.intp)
    around = np.arange(1 - SPREAD, SPREAD + 1)
    weights = _gaussians(place - nearest, narrow)
    weights = weights * (values * np.exp(-2j * np.pi * hz[count // 2] * time_s))
    at = ((nearest + around[:, None]) % cells).ravel()
    grid = np.bincount(at, weights.real.ravel(), cells).astype(np.complex128)
    grid.imag = np.bincount(at, weights.imag.ravel(), cells)
    modes = np.arange(count) - count // 2
    spread_out = np.sqrt(narrow / np.pi) * np.exp((np.pi * modes / cells) ** 2 / narrow)
    found: NDArray[np.complex128] = np.fft.fft(grid)[modes] * spread_out
    return found


def _gaussians(offset: Floats, narrow: float) -> Floats:
    """A Gaussian at each cell around, shape (2 · SPREAD, n): from one to the next by a factor."""
    found = np.empty((2 * SPREAD, len(offset)))
    found[0] = np.exp(-narrow * (offset + SPREAD - 1.0) ** 2)
    factor = np.exp(2.0 * narrow * offset)
    for row in range(1, 2 * SPREAD):
        cell = row + 1 - SPREAD
        np.multiply(found[row - 1], factor * math.exp(narrow * (1.0 - 2.0 * cell)), out=found[row])
    return found


def _unbent(centred: Floats, values: Floats) -> Floats:
    """Values less their least-squares parabola over centred times."""
    slope = centred / centred[-1]
    bend = slope * slope
    bend = bend - bend.mean()
    bend -= slope * (float(bend @ slope) / float(slope @ slope))
    found: Floats = values - values.mean()
    for shape in (slope, bend):
        found -= shape * (float(found @ shape) / float(shape @ shape))
    return found


def tones_in(
    time_s: Floats, values: Floats, from_hz: float = 0.0, to_hz: float = math.inf
) -> list[Tone]:
    """The likeliest tones between four periods in the stretch and half the usual rate, best first.

    `from_hz` and `to_hz` narrow that. Empty where nothing stands out as one line: a broad
    resonance has neighbours nearly as strong; nor where nothing moves, and what is left are
    rounding errors.
    """
    n, span = len(time_s), float(time_s[-1] - time_s[0])
    if n < 32 or not span > 0.0 or not float(np.ptp(values)) > 0.0:
        return []
    cell = 1.0 / span
    gaps = np.diff(time_s)
    usual = 1.0 / _median(gaps[gaps >= BURST * span / (n - 1)])
    nyquist = 0.5 * min(usual, MOST_OF_MEAN * (n - 1) / span)
    lowest, highest = max(LOWEST_PERIODS * cell, from_hz), min(nyquist, to_hz)
    if highest <= lowest + 4 * NEAR_CELLS * cell:
        return []
    slowest = max(lowest - AROUND_CELLS * cell, SLOWEST_CELLS * cell)
    fastest = min(highest + AROUND_CELLS * cell, nyquist)
    hz = np.arange(slowest, fastest, cell / OVERSAMPLING)
    centred = time_s - time_s.mean()
    flat = _unbent(centred, values)
    power = periodogram(centred, flat, hz)
    lines = _lines(power)
    lines = lines[(hz[lines] >= lowest) & (hz[lines] <= highest)]
    count = (nyquist - LOWEST_PERIODS * cell) / cell
    tones = []
    for line in lines.tolist():
        weaker, stronger = _levels(power, hz, line)
        over = min(float(power[line]) / stronger, 700.0) if stronger > 0.0 else 0.0
        at_hz = float(hz[line]) + _offset(power, line) * cell / OVERSAMPLING
        amplitude = abs(phasor_at(centred, flat, at_hz))
        chance = min(count * math.exp(-over), 1.0)
        tones.append(
            (-over, Tone(at_hz, amplitude, math.sqrt(weaker), math.sqrt(stronger), chance))
        )
    return [tone for _, tone in sorted(tones, key=lambda each: each[0])[:MOST_TONES]]


def _lines(power: Floats) -> NDArray[np.int64]:
    """Where a peak stands over all that is next to it on both sides; not at the ends."""
    near, next_to = NEAR_CELLS * OVERSAMPLING, NEXT_CELLS * OVERSAMPLING
    room = np.concatenate((np.zeros(next_to), power, np.zeros(next_to)))
    highest = _highest(room, next_to - near)
    below, above = highest[: len(power)], highest[next_to + near + 1 :][: len(power)]
    is_line = power > OVER_NEXT * np.maximum(below, above)
    is_line[1:-1] &= (power[1:-1] >= power[:-2]) & (power[1:-1] >= power[2:])
    is_line[[0, -1]] = False
    return np.flatnonzero(is_line)


def _highest(values: Floats, width: int) -> Floats:
    """The highest of each so many values on end."""
    found, reach = values, 1
    while 2 * reach <= width:
        found, reach = np.maximum(found[:-reach], found[reach:]), 2 * reach
    rest = width - reach
    return np.maximum(found[: len(found) - rest], found[rest:])


def _levels(power: Floats, hz: Floats, line: int) -> tuple[float, float]:
    """Mean of what is on the sides of a line, the weaker one first.

    Where there is little below a line, noise may rise toward it, as fast as that of a
    random walk.
    """
    near, next_to, around = (
        cells * OVERSAMPLING for cells in (NEAR_CELLS, NEXT_CELLS, AROUND_CELLS)
    )
    below, above = power[max(line - around, 0) : max(line - near, 0)], power[line + near + 1 :]
    means = [_mean(above[:around])]
    if len(below) >= LEAST_BELOW:
        means.append(_mean(below))
    if len(below) < ENOUGH_BELOW:
        steep = (hz[line + near + 1 :] / hz[line]) ** 2
        means.append(_mean((above * steep)[: next_to - near]))
    return min(means), max(means)


def _mean(powers: Floats) -> float:
    """Of an exponential, whose median is ln 2 of its mean, whatever a few lines add."""
    return _median(powers) / math.log(2.0) if len(powers) else 0.0


def _median(values: Floats) -> float:
    """As NumPy's, without its overhead."""
    ordered, half = np.sort(values), len(values) // 2
    return 0.5 * float(ordered[half] + ordered[~half])


def _offset(power: Floats, line: int) -> float:
    """How far beside its highest point a line lies: a parabola through the logarithms."""
    before, at, after = np.log(np.maximum(power[line - 1 : line + 2], 1e-300)).tolist()
    bend = before - 2.0 * at + after
    return 0.5 * (before - after) / bend if bend < 0.0 else 0.0
