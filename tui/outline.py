"""A recording at a glance, from its roll-ups: what the chart shows before samples are read."""

from collections.abc import Mapping

import numpy as np

from recordings.reader import Recording, RollUp
from recordings.schema import ROLL_UP_S
from recordings.several import Joined
from tui.history import Coarse


def outline_of(recording: Recording | Joined) -> Mapping[str, Coarse]:
    """Every key's lows and highs in stretches of 10 s."""
    first_s, last_s = recording.first_s, recording.last_s
    if first_s is None or last_s is None:
        return {}
    found = recording.rollups()
    return {key: _coarse(rolled, first_s, last_s) for key, rolled in found.items()}


def _coarse(rolled: RollUp, first_s: float, last_s: float) -> Coarse:
    """Low at the start of each stretch and high at its end, inside the recording."""
    places = np.array([0.0, ROLL_UP_S])
    times = (rolled.start_s[:, None] + places).ravel()
    values = np.stack([rolled.low, rolled.high], axis=1).ravel()
    return Coarse(np.clip(times, first_s, last_s), values, rolled.mean)
