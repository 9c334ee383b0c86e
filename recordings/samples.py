"""What counts as a sample: one reading of a sensor."""

import numpy as np

from shared.updates import Batch
from shared.words import channel_of, quantity_of

READINGS = frozenset({"temperature_c", "code", "resistance_ohm"})
"""Quantities that a sensor itself reports."""


def is_reading(key: str) -> bool:
    """Whether the values of this key are a sensor's readings."""
    return quantity_of(key) in READINGS


def count_samples(batch: Batch) -> int:
    """Number of readings in a batch."""
    return sum(
        int(np.count_nonzero(~np.isnan(column)))
        for key, column in batch.numbers.items()
        if is_reading(key)
    )


def sensor_channels(keys: tuple[str, ...]) -> tuple[str, ...]:
    """Channels with a reading, in order of appearance."""
    return tuple(dict.fromkeys(channel_of(key) for key in keys if is_reading(key)))
