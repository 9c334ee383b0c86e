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
    if len(values) == 1:
        return np.array([before])
    at = np.maximum.accumulate(np.where(is_new, np.arange(len(values)), -1))
    found: Floats = np.where(at < 0, before, values[at])
    return found


def least_so_far(values: Floats, before: float) -> Floats:
    """Running minimum that began at `before`; shape (m,)."""
    return _from(before, values, np.minimum)


def sums_so_far(values: Floats, before: float) -> Floats:
    """Running sum that began at `before`, added one by one; shape (m,)."""
    return _from(before, values, np.add)


def highest_so_far(values: Floats, before: float) -> Floats:
    """Running maximum that began at `before`; shape (m,)."""
    return _from(before, values, np.maximum)


def _from(before: float, values: Floats, step: np.ufunc) -> Floats:
    whole = np.empty(len(values) + 1)
    whole[0] = before
    whole[1:] = values
    found: Floats = step.accumulate(whole)[1:]
    return found
