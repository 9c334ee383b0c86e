"""The host itself: its words, the controller's uptime, and silence.

Most updates hold nothing new of these. Of a block, host detectors see only those that do.
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from detectors.detector import Say
from detectors.engine.catalogue import host_detectors
from detectors.kinds.hoststate import HostHistory
from detectors.kinds.reported import REPORTED
from shared.absent import number_key
from shared.events import NotEvaluated
from shared.link import LINK
from shared.unreadable import UNREADABLE
from shared.updates import Batch, Update, updates_of
from shared.words import HostState, quantity_of

GAP_S = 1.5
"""Host detectors hear of gaps between rows longer than this."""
UPTIME = "controller.uptime_s"


def _counts_each(key: str) -> bool:
    """Whether a text under this key counts each time, also where it is the same again."""
    return key in (UNREADABLE, LINK) or quantity_of(key) == REPORTED


class HostWatch:
    """State and silence of the host, and the detectors that listen to them."""

    def __init__(self) -> None:
        self._history = HostHistory()
        self._detectors = host_detectors()
        self._heard_s = math.nan

    @property
    def state(self) -> HostState:
        return self._history.state

    @property
    def has_uptime(self) -> bool:
        return self._history.last_uptime_s == self._history.last_uptime_s

    def state_at(self, row: int) -> HostState:
        """State as known at a row."""
        return self._history.at(row)[0]

    def at(self, rows: Sequence[int]) -> list[tuple[HostState, float]]:
        """State and last restart as known at each of these rows."""
        return [self._history.at(row) for row in rows]

    def finish(self, say: Say) -> None:
        for detector in self._detectors:
            detector.finish(say)

    def not_evaluated(self) -> Iterator[NotEvaluated]:
        for detector in self._detectors:
            yield from detector.not_evaluated()

    def values(self, row: int, update: Update, say: Say) -> None:
        """Take the words and the uptime of one update."""
        for key in sorted(update.values):
            value = update.values[key]
            if isinstance(value, str):
                is_new = self._history.text(row, update.time_s, key, value)
                if not is_new and not _counts_each(key):
                    continue
                for detector in self._detectors:
                    detector.text(row, update.time_s, key, value, say)
                continue
            if self._history.number(key):
                for detector in self._detectors:
                    detector.number(row, update.time_s, key, say)
            if key == UPTIME and self._history.uptime(row, update.time_s, value):
                for detector in self._detectors:
                    detector.uptime(row, update.time_s, value, say)

    def heard(self, row: int, time_s: float, say: Say) -> None:
        """The machine was heard of."""
        history = self._history
        grew_s, history.grew_s = history.grew_s, math.nan
        if not time_s - self._heard_s <= GAP_S:
            for detector in self._detectors:
                detector.heard(row, time_s, self._heard_s, grew_s, say)
        self._heard_s = time_s

    def passed(self, row: int, time_s: float, say: Say) -> None:
        """Time passed without a word of the machine."""
        for detector in self._detectors:
            detector.passed(row, time_s, self._heard_s, say)

    def block(self, batch: Batch, first_row: int, heard: NDArray[np.intp], say: Say) -> None:
        """Take a block; `heard` are its updates that are rows, from `first_row` on."""
        time_heard = batch.time_s[heard]
        uptime = batch.numbers.get(UPTIME)
        said = np.flatnonzero(~np.isnan(uptime)) if uptime is not None else heard[:0]
        is_heard = np.zeros(len(batch), dtype=bool)
        is_heard[heard] = True
        gaps = np.flatnonzero(~(np.diff(time_heard, prepend=self._heard_s) <= GAP_S))
        wanted = {*np.flatnonzero(~is_heard).tolist(), *heard[gaps].tolist(), *self._texts(batch)}
        wanted.update(self._absent(batch))
        if uptime is not None:
            falls = np.diff(uptime[said], prepend=math.inf) < 0.0
            wanted.update(said[falls].tolist())
        for index in sorted(wanted):
            position = int(np.searchsorted(heard, index))
            update = updates_of(batch.cut(index, index + 1))[0]
            if position:
                self._heard_s = float(time_heard[position - 1])
            if uptime is not None:
                before = int(np.searchsorted(said, index))
                if before:
                    self._history.last_uptime_s = float(uptime[said[before - 1]])
            self.values(first_row + position, update, say)
            if is_heard[index]:
                self.heard(first_row + position, update.time_s, say)
            else:
                self.passed(first_row + position, update.time_s, say)
        if len(heard):
            self._heard_s = float(time_heard[-1])
        if uptime is not None and len(said):
            self._history.last_uptime_s = float(uptime[said[-1]])

    def _texts(self, batch: Batch) -> Iterator[int]:
        """Updates with a text that is new, or that counts each time."""
        for key, pairs in batch.texts.items():
            if _counts_each(key):
                yield from (index for index, _ in pairs)
            if number_key(key) is not None:
                continue
            last = self._history.texts.get(key)
            for index, text in pairs:
                if text != last:
                    yield index
                    last = text

    def _absent(self, batch: Batch) -> Iterator[int]:
        """Updates from which on there is no number under a key, and those that bring one."""
        keys = {number: key for key in batch.texts if (number := number_key(key)) is not None}
        for number, key in {**self._history.absent, **keys}.items():
            column, said = batch.numbers.get(number), batch.texts.get(key, ())
            came = np.flatnonzero(~np.isnan(column)) if column is not None else np.empty(0, int)
            before = np.searchsorted(came, [0, *(row for row, _ in said)])
            yield from came[before[before < len(came)]].tolist()
            last, count = self._history.texts.get(key), 0
            for (row, text), numbers in zip(said, before[1:].tolist(), strict=True):
                if text != last or numbers != count:
                    yield row
                last, count = text, numbers
