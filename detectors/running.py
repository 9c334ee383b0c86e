"""Small recurrences over the windows of one run, as arrays: what Python would loop for.

Each is exact: the same numbers come out however a log is cut into runs.
"""

import numpy as np
from numpy.typing import NDArray

from shared.updates import Floats


def shifted(values: Floats, before: float) -> Floats:
    """Each value's predecessor, `before` for the first; shape (m,), m ≥ 1."""
    found = np.empty(len(values))
    found[0] = before
    found[1:] = values[:-1]
    return found


def held(values: Floats, is_new: NDArray[np.bool_], before: float) -> Floats:
    """The last of `values` that is new, at each place; `before` until the first. Shape (m,)."""
    if is_new.all():
        return values
    at = np.maximum.accumulate(np.where(is_new, np.arange(len(values)), -1))
    found: Floats = np.where(at < 0, before, values[at])
    return found


def least_so_far(values: Floats, before: float) -> Floats:
    """Running minimum that began at `before`; shape (m,)."""
    return np.minimum.accumulate(np.concatenate(([before], values)))[1:]


def sums_so_far(values: Floats, before: float) -> Floats:
    """Running sum that began at `before`, added one by one; shape (m,)."""
    return np.add.accumulate(np.concatenate(([before], values)))[1:]
