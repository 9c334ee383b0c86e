"""Whether roll-ups are those of the samples; both may be a million, so they stand in columns."""

from array import array
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recordings.rollup import Rolled
from shared.updates import Floats

WIDTH = 6
"""Start, key, low, mean, high, count."""


class RollUpCheck:
    """Takes roll-ups as they are stored and as samples make them."""

    def __init__(self) -> None:
        self._stored = array("d")
        self._wanted = array("d")

    def have(self, cells: Sequence[Any]) -> None:
        """A row of `roll_ups`."""
        self._stored.extend(np.nan if cell is None else cell for cell in cells[1:])

    def want(self, ids: Mapping[str, int], stretches: Iterable[Rolled]) -> None:
        """What the samples give."""
        for each in stretches:
            figures = (each.low, each.mean, each.high, each.count)
            self._wanted.extend((each.start_s, ids[each.key], *figures))

    def wanted(self) -> Iterator[tuple[float | int | None, ...]]:
        """What the samples give, as cells."""
        for at in range(0, len(self._wanted), WIDTH):
            start_s, key, *figures, count = self._wanted[at : at + WIDTH]
            cells = (None if each != each else each for each in figures)
            yield start_s, int(key), *cells, int(count)

    def differences(self, from_s: float) -> Iterator[str]:
        """What differs from `from_s` on; the newest stretches may still be open."""
        stored, wanted = _table(self._stored), _table(self._wanted)
        newest_s = stored[:, 0].max() if len(stored) else -np.inf
        have, want = _places(stored, wanted)
        first = np.zeros(len(have), dtype=bool)
        first[np.unique(have, return_index=True)[1]] = True
        order = np.argsort(want, kind="stable")
        found = np.searchsorted(want[order], have)
        found = order[np.minimum(found, len(order) - 1)] if len(order) else np.zeros_like(found)
        is_same = np.zeros(len(have), dtype=bool)
        if len(order):
            is_same = first & (want[found] == have) & _agree(wanted[found], stored)
        for start_s, key in stored[~is_same & (stored[:, 0] >= from_s), :2].tolist():
            yield f"key {key:.0f} at {start_s:g} s is not that of the samples"
        is_missing = ~np.isin(want, have) & (wanted[:, 0] <= newest_s)
        for start_s, key in wanted[is_missing, :2].tolist():
            yield f"key {key:.0f} at {start_s:g} s is missing"


def _table(cells: "array[float]") -> Floats:
    return np.frombuffer(cells, dtype=np.float64).reshape(-1, WIDTH)


def _places(stored: Floats, wanted: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Start and key of each row as one number, the same in both tables."""
    both = np.concatenate([stored[:, :2], wanted[:, :2]])
    starts = np.unique(both[:, 0], return_inverse=True)[1]
    keys, numbers = np.unique(both[:, 1], return_inverse=True)
    places = (starts * len(keys) + numbers).astype(np.int64)
    return places[: len(stored)], places[len(stored) :]


def _agree(found: Floats, stored: Floats) -> NDArray[np.bool_]:
    """Low, high and count exactly; the mean but for rounding, as sums were taken otherwise."""
    scale = np.maximum(np.abs(found[:, 2]), np.abs(found[:, 4]))
    with np.errstate(invalid="ignore", over="ignore"):
        off = np.abs(found[:, 3] - stored[:, 3])
    same_mean = (found[:, 3] == stored[:, 3]) | (off <= 1e-9 * scale) | (scale == 0.0)
    exact = found[:, [2, 4, 5]] == stored[:, [2, 4, 5]]
    same: NDArray[np.bool_] = exact.all(axis=1) & same_mean
    return same
