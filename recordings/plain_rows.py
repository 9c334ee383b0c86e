"""What a row of a plain log says whose cells are all empty.

The log of a host that sends only changes has such rows wherever nothing changed: the host
was heard, and every last value still holds. To what reads the log an update without values
says only that time passed, so such a row restates one value that holds: one that says least,
as power or target, and a sensor's own only where there is no other.

Exports of recordings hold both: rows in which time alone passed say so in the column `SILENT`.
"""

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from shared.absent import absent_key, number_key
from shared.updates import Batch, Floats
from shared.words import HostState, channel_of, is_number_key, quantity_of

SILENT, YES = "host.silent", "yes"
"""Column, and its word in rows that are no update; the column is there only if need be."""
_STATE = "host.state"
_LAST = ("temperature_c", "resistance_ohm", "code")
"""Readings, which tell what reads them that they were taken anew."""
_OWN = ("uptime_s", "reported")
"""Not to be said twice: a clock that stands still, one fault as two."""


def silent_rows(batch: Batch) -> NDArray[np.bool_]:
    """Rows without a value, shape (n,)."""
    is_empty = np.ones(len(batch), dtype=bool)
    for column in batch.numbers.values():
        is_empty &= np.isnan(column)
    for pairs in batch.texts.values():
        is_empty[[row for row, _ in pairs]] = False
    return is_empty


def has_silence(batches: Iterable[Batch]) -> bool:
    """Whether any row is without a value."""
    return any(bool(silent_rows(batch).any()) for batch in batches)


class Rows:
    """Follows a plain log from its start and gives each batch as it is meant."""

    def __init__(self, keys: Sequence[str]) -> None:
        usable = [
            key
            for key in keys
            if channel_of(key) != "host" and quantity_of(key) not in _OWN and not number_key(key)
        ]
        self._order = sorted(usable, key=_rank)
        self._numbers: dict[str, float] = {}
        self._texts: dict[str, str] = {}
        self._is_gone = False

    def meant(self, batch: Batch) -> Batch:
        """The batch with a value in each row that is an update."""
        texts = dict(batch.texts)
        silent = [row for row, word in texts.pop(SILENT, ()) if word == YES]
        batch = Batch(batch.time_s, batch.numbers, texts)
        wanted = silent_rows(batch)
        wanted[silent] = False
        # Of a machine that is gone nothing is heard, whatever rows there are.
        wanted &= ~self._gone(batch)
        numbers = dict(batch.numbers)
        for key in self._order:
            if not wanted.any():
                break
            if is_number_key(key):
                absent = [row for row, _ in texts.get(absent_key(key), ())]
                self._restate_number(key, numbers, wanted, absent)
            else:
                self._restate_text(key, texts, wanted)
        self._hold(batch)
        return Batch(batch.time_s, numbers, texts)

    def _gone(self, batch: Batch) -> NDArray[np.bool_]:
        """Rows at which the host's last state is that it is gone, shape (n,)."""
        is_gone = np.full(len(batch), self._is_gone)
        for row, word in batch.texts.get(_STATE, ()):
            is_gone[row:] = self._is_gone = word == HostState.GONE
        return is_gone

    def _restate_number(
        self,
        key: str,
        numbers: dict[str, Floats],
        wanted: NDArray[np.bool_],
        absent: Sequence[int],
    ) -> None:
        """Say it again in `wanted` rows, but not from an `absent` row on: there is none."""
        column, last = numbers.get(key), self._numbers.get(key, np.nan)
        if column is None:
            if last != last:
                return
            column = np.full(len(wanted), np.nan)
        at = np.where(np.isnan(column), -1, np.arange(len(column)))
        at[absent] = absent
        at = np.maximum.accumulate(at)
        held = np.where(at < 0, last, column[at])
        numbers[key] = np.where(wanted, held, column)
        wanted &= np.isnan(held)

    def _restate_text(
        self, key: str, texts: dict[str, Sequence[tuple[int, str]]], wanted: NDArray[np.bool_]
    ) -> None:
        pairs = dict(texts.get(key, ()))
        held = self._texts.get(key)
        said = dict(pairs)
        for row in sorted({*pairs, *np.flatnonzero(wanted).tolist()}):
            held = pairs.get(row, held)
            if held is not None:
                said[row] = held
                wanted[row] = False
        if said:
            texts[key] = sorted(said.items())

    def _hold(self, batch: Batch) -> None:
        for key in self._order:
            column, pairs = batch.numbers.get(key), batch.texts.get(key)
            absent = batch.texts.get(absent_key(key), ())
            said = np.empty(0, int) if column is None else np.flatnonzero(~np.isnan(column))
            if absent and not (len(said) and said[-1] >= absent[-1][0]):
                self._numbers.pop(key, None)
            elif column is not None and len(said):
                self._numbers[key] = float(column[said[-1]])
            elif pairs:
                self._texts[key] = pairs[-1][1]


def _rank(key: str) -> tuple[bool, bool]:
    """Readings last; texts, which take a little longer, after other numbers."""
    return quantity_of(key) in _LAST, not is_number_key(key)
