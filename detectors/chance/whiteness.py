"""Is a reading's roughness white, as electrical noise is, or is it heat that was stirred?

Heat comes to a sensor through masses: what stirs it (flow, a fan, a heater that switches) acts
on a slope, and the sensor's own lag smooths that again. So neighbouring second differences of
heat have nothing to do with each other or agree, while those of white noise go against each
other, by two thirds of their size: each reading has a part in three of them. Whiteness is the
correlation of neighbouring second differences over that of white noise: 1 for white noise,
3/4 for a random walk and no less for noise behind a filter of one pole, 3/8 for the sliding
mean of two readings and 3/4 for that of more; 0 or below for heat behind two lags, and 0.4
behind a single one that is but three times as long as the spacing (computed;
`tests/detectors/chance/test_whiteness.py`).

Above 1 are readings that alternate: 3/2 where each goes the other way. That is no noise but a
tone at half the rate of rows: hum, or a heater that is switched in step with them.

A second error is one of time: a host that tells when it wrote a reading down and not when it
was taken misdates it by up to one spacing, and so by a share of what heat moved meanwhile.
One that repeats readings makes stairs of heat's way, whose roughness is known exactly.

All quantities are of one window's rows in units of the signal, Ω or °C.
"""

import math
from collections.abc import Collection, Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

WHITE = 0.5
"""Between stirred heat and noise: one window of white noise in 200 is below this, and two
together one time in 10,000 (computed)."""
ALTERNATING = 1.3
"""Eight windows of white noise of one step are above this one time in 40,000, and two of them one
time in 60 (simulated)."""
OF_WHITE_NOISE = -2.0 / 3.0
"""Correlation of its neighbouring second differences: -4 / 6."""
LEAST_DIFFERENCES = 6
CLIP = 3.0
"""A difference counts for no more than so many median ones: kinks of heat are rare and large,
noise is everywhere."""
MISDATED = 1.0 / math.sqrt(12.0)
"""Sd of a misdate that may be anything from none to one spacing, in spacings."""
LEAST_TIMES = 1.8
"""A window's noise is known within a quarter: so many times the misdates' own are more."""
OF_THIRDS = 20.0
"""Variance of third differences of white noise of variance 1: 1 + 9 + 9 + 1."""
SPARSE_S = 1.5
"""Of readings this far apart no sensor's lag tells stirred heat from noise."""
FAR = 2
"""The same over readings that differ, where rows repeat them."""
OF_SECONDS = 6.0
"""Variance of second differences of white noise of variance 1: 1 + 4 + 1."""
AHEAD = 2
"""Rows over which heat's way is measured, so that noise has little part in it."""


class Look(NamedTuple):
    """What one window's rows say of whether they are heat.

    cross, square  means over neighbouring second differences: of products, and of squares
    rough          sd of sample noise, as in `table.windows`
    misdated       sd that misdated and repeated readings have from what heat moved
    """

    cross: float
    square: float
    rough: float
    misdated: float


def look(rows: Sequence[float], rough: float, *, clip: bool = True) -> Look:
    """Look at one window's rows; repeated readings are left out of what is said of whiteness.

    `clip` is for noise that is everywhere; without it, few large readings decide.
    """
    cross, square = _products(rows, clip)
    ways = [abs(after - before) for before, after in zip(rows, rows[AHEAD:], strict=False)]
    misdated = MISDATED * math.fsum(ways) / (AHEAD * len(ways))
    return Look(cross, square, rough, max(misdated, _stairs(rows)))


def _stairs(rows: Sequence[float]) -> float:
    """Sd that third differences show where a steady way is told at the rows that changed only."""
    moves = np.flatnonzero(np.diff(rows)) + 1
    if not len(moves):
        return 0.0
    told = np.zeros(len(rows))
    told[moves] = moves
    thirds = np.diff(np.maximum.accumulate(told), 3)
    last = int(moves[-1])
    # A way that turns is as long; what noise has in it is known from bends.
    kept = np.asarray(rows)[[0, *moves.tolist()]]
    if len(kept) > FAR + 1:
        bends, far = np.diff(kept, 2), kept[FAR:] - kept[:-FAR]
        noise = 2.0 * float(bends @ bends) / len(bends) / OF_SECONDS
        way = math.sqrt(max(float(far @ far) / len(far) - noise, 0.0)) / FAR
    else:
        way = abs(float(kept[-1] - kept[0])) / len(moves)
    a_row = way * len(moves) / last
    return a_row * math.sqrt(float(thirds @ thirds) / len(thirds) / OF_THIRDS)


def _products(rows: Sequence[float], clip: bool) -> tuple[float, float]:
    kept = [after for before, after in pairwise([math.nan, *rows]) if after != before]
    firsts = [after - before for before, after in pairwise(kept)]
    seconds = [after - before for before, after in pairwise(firsts)]
    count = len(seconds)
    if count < LEAST_DIFFERENCES:
        return 0.0, 0.0
    if clip:
        most = CLIP * sorted(map(abs, seconds))[count // 2]
        seconds = [min(max(one, -most), most) for one in seconds]
    cross = math.fsum(one * other for one, other in pairwise(seconds))
    return cross / (count - 1), math.fsum(one * one for one in seconds) / count


def whiteness(looks: Iterable[Look]) -> float:
    """Of windows together; 1 where too few readings moved to tell."""
    cross = square = 0.0
    for each in looks:
        cross += each.cross
        square += each.square
    return cross / (OF_WHITE_NOISE * square) if square > 0.0 else 1.0


def is_electrical(looks: Collection[Look]) -> bool:
    """Whether no stirred heat, no times at which it was told and no alternation explain these."""
    if not WHITE <= whiteness(looks) <= ALTERNATING:
        return False
    rough = math.fsum(each.rough for each in looks)
    return rough >= LEAST_TIMES * math.fsum(each.misdated for each in looks)
