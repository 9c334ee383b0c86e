"""Whether a tone in a reading is heat that motion or a fan stirs in its own rhythm.

What is stirred follows what stirs it, phase by phase; hum does not. So where motion or fan has
the tone too, reading and motion are held against each other over pieces of three periods and
more: their coherence over m pieces is above `IN_STEP` by chance with probability
(1 - IN_STEP)^(m - 1) (Carter, Knapp and Nuttall 1973, from memory; checked by simulation).
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from detectors.chance.tones import Tone, phasor_at
from detectors.table.closed import ClosedWindow, context_rows, signal_rows, time_rows
from shared.updates import Floats

FAN = "fan.speed"
MOTION = ("motion.speed_mm_s", "motion.feed_mm_s", "motion.x_mm", "motion.y_mm", FAN)
MOTION_SHARE = 0.1
"""Part of motion's own variance in the tone from which on motion has it too."""
PIECE_PERIODS, LEAST_PIECES = 3.0, 4
IN_STEP = 0.5
"""Part of the tone that motion explains, over pieces of so many periods, for it to be stirred."""
LINE = 1.5
"""How far a line of the fan stands over what is beside it."""


def is_stirred(
    windows: Sequence[ClosedWindow], before: Sequence[ClosedWindow], time_s: Floats, tone: Tone
) -> bool:
    """Whether a tone of these windows, at rows `time_s`, may be what motion or a fan stirs.

    `before` are the same windows and those that led to them: the longer, the surer.
    """
    for key in MOTION:
        is_told = all(key in window.windows.context_rows for window in before)
        if is_told and _moves(windows, key, time_s, tone) and is_in_step(before, key, tone.hz):
            return True
    return False


def _moves(windows: Sequence[ClosedWindow], key: str, time_s: Floats, tone: Tone) -> bool:
    """Whether motion or fan has the tone too."""
    rows = context_rows(windows, key)
    variance = float(np.var(rows))
    if variance <= 0.0:
        return False
    centred = time_s - time_s.mean()
    size = abs(phasor_at(centred, rows, tone.hz))
    is_large = 0.5 * size * size > MOTION_SHARE * variance
    return is_large and (key != FAN or size > _beside(tone, centred, rows))


def _beside(tone: Tone, centred: Floats, rows: Floats) -> float:
    """What a line of the fan must be larger than: a step has something of every frequency."""
    cell = 1.0 / float(centred[-1] - centred[0])
    sizes = [abs(phasor_at(centred, rows, tone.hz + off * cell)) for off in (-4.0, -3.0, 3.0, 4.0)]
    return LINE * max(sizes)


def is_in_step(windows: Sequence[ClosedWindow], key: str, hz: float) -> bool:
    """Whether what moves explains half of the tone, piece by piece; too few pieces don't tell.

    The carriage pauses, and its rhythm is hardly ever hum's to a part of a cell.
    """
    each = max(math.ceil(PIECE_PERIODS / hz / (windows[-1].end_s - windows[-1].start_s)), 1)
    pieces = [windows[end - each : end] for end in range(len(windows), each - 1, -each)]
    if len(pieces) < LEAST_PIECES:
        return True
    read, moved = np.empty((2, len(pieces)), dtype=np.complex128)
    for index, piece in enumerate(pieces):
        time_s = time_rows(piece)
        read[index] = phasor_at(time_s, signal_rows(piece), hz)
        moved[index] = phasor_at(time_s, context_rows(piece, key), hz)
    return coherence(moved, read) > IN_STEP


def coherence(one: NDArray[np.complex128], other: NDArray[np.complex128]) -> float:
    """Part of one's tone that the other explains over all pieces; 0 where either has none."""
    both = float(np.vdot(one, one).real * np.vdot(other, other).real)
    return abs(complex(np.vdot(one, other))) ** 2 / both if both > 0.0 else 0.0
