"""Small recurrences over windows, as arrays: what Python would loop for.

All go along the last axis: values of shape (…, m) with m ≥ 1, and what was there before them, of
shape (…). Each is exact: the same numbers come out however a log is cut into runs.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from shared.updates import Floats

Before = Floats | float


class Carried:
    """What is carried from run to run of every channel: arrays by name, channels first.

    `first` holds what a channel begins with, a number or an array of its own shape.
    """

    def __init__(self, first: Mapping[str, Before]) -> None:
        self._first = {name: np.asarray(value, dtype=np.float64) for name, value in first.items()}
        self._now = {name: np.empty((0, *value.shape)) for name, value in self._first.items()}
        self._channels = 0

    def grow(self, channels: int) -> None:
        """Make room for so many channels in all."""
        more = channels - self._channels
        if more <= 0:
            return
        self._channels = channels
        for name, first in self._first.items():
            new = np.broadcast_to(first, (more, *first.shape))
            self._now[name] = np.concatenate((self._now[name], new))

    def __getitem__(self, name: str) -> Floats:
        return self._now[name]

    def __setitem__(self, name: str, values: Floats) -> None:
        self._now[name] = values


def shifted(values: Floats, before: Before) -> Floats:
    """Each value's predecessor, `before` for the first."""
    found = np.empty_like(values)
    found[..., 0] = before
    found[..., 1:] = values[..., :-1]
    return found


def held(values: Floats, is_new: NDArray[np.bool_], before: Before) -> Floats:
    """The last of `values` that is new, at each place; `before` until the first."""
    first = np.asarray(before)[..., None]
    if values.shape[-1] == 1:
        return np.where(is_new, values, first)
    at = np.maximum.accumulate(np.where(is_new, np.arange(values.shape[-1]), -1), axis=-1)
    found: Floats = np.where(at < 0, first, np.take_along_axis(values, np.maximum(at, 0), axis=-1))
    return found


def least_so_far(values: Floats, before: Before) -> Floats:
    """Running minimum that began at `before`."""
    return _from(before, values, np.minimum)


def sums_so_far(values: Floats, before: Before) -> Floats:
    """Running sum that began at `before`, added one by one."""
    return _from(before, values, np.add)


def highest_so_far(values: Floats, before: Before) -> Floats:
    """Running maximum that began at `before`."""
    return _from(before, values, np.maximum)


def _from(before: Before, values: Floats, step: np.ufunc) -> Floats:
    whole = np.empty((*values.shape[:-1], values.shape[-1] + 1))
    whole[..., 0] = before
    whole[..., 1:] = values
    found: Floats = step.accumulate(whole, axis=-1)[..., 1:]
    return found
