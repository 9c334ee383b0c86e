"""One channel of the watch: its rows and windows, what it has learned, its detectors.

Rows come one by one on plain floats, or in frames of which only suspect rows are looked at;
windows come in runs, of one or of hundreds. Either way gives the same reports.
"""

import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from detectors.detector import Given, Moment, Say
from detectors.engine.catalogue import row_detectors, window_detectors
from detectors.table.closed import ClosedWindows
from detectors.table.floor import MIN_DEGREES, MIN_FRACTION, Floor
from detectors.table.frame import ChannelColumns, Frame, Row, Sample
from detectors.table.gates import Codes
from detectors.table.learned import NOTHING, LearnedColumns
from detectors.table.plan import ChannelPlan
from detectors.table.windows import ROWS, Times, Windows
from shared.events import NotEvaluated
from shared.words import Gate, HostState

GATES_KEPT = 1024
"""Changes of what the channel does that are remembered."""


class ChannelWatch:
    """Everything the watch keeps for one channel."""

    def __init__(self, plan: ChannelPlan, state_at: Callable[[int], HostState]) -> None:
        self.plan = plan
        self._state_at = state_at
        self._row_detectors = row_detectors(plan)
        self.window_detectors = window_detectors(plan)
        is_told = plan.scale.is_told and plan.scale.has_constant
        self._floor = Floor(MIN_FRACTION * plan.chain.step_ohm if is_told else MIN_DEGREES)
        self._gates: list[tuple[int, Gate]] = [(0, Gate.STARTING)]
        """Gate by the first row that it holds for."""
        self._floors = np.array([self._floor.value])
        self.learned = NOTHING
        """What its next rows are judged by."""
        self._learned = LearnedColumns(np.array([NOTHING], dtype=np.float64).T)
        """Before and after each window of the last closing."""
        self._before = Sample()
        self._before_s = math.nan
        self._changed_row = 0
        self._changed_s = math.nan
        self._earlier = math.nan
        """Signal before its last change."""

    @property
    def gate(self) -> Gate:
        """What the channel does now."""
        return self._gates[-1][1]

    def gate_at(self, row: int) -> Gate:
        for first, gate in reversed(self._gates):
            if first <= row:
                return gate
        return Gate.STARTING

    def finish(self, say: Say) -> None:
        """The log has ended."""
        for row_detector in self._row_detectors:
            row_detector.finish(say)

    def not_evaluated(self) -> Iterator[NotEvaluated]:
        for row_detector in self._row_detectors:
            yield from row_detector.not_evaluated()
        for window_detector in self.window_detectors:
            yield from window_detector.not_evaluated()

    # -- windows --

    def close(
        self,
        windows: Windows,
        times: Times,
        codes: Codes,
        say: Say,
    ) -> ClosedWindows:
        """Show closed windows, of these gates, to the detectors; learn the floor from them."""
        channel = windows.channels[self.plan.name]
        floors = self._floors = self._floor.after(channel)
        closed = ClosedWindows(windows, channel, times, codes, floors)
        self._enter(closed.gates, times.last_row)
        for detector in self.window_detectors:
            detector.run(closed, say)
        return closed

    def learn(self, learned: LearnedColumns) -> None:
        """Take what was learned from those windows."""
        self._learned, self.learned = learned, learned.after(-1)

    def _enter(self, gates: Sequence[Gate], last_rows: Sequence[int]) -> None:
        """The gate of a window holds for the rows after it."""
        known = self._gates
        for gate, last_row in zip(gates, last_rows, strict=True):
            if known[-1][1] is not gate:
                known.append((last_row + 1, gate))
        del known[:-GATES_KEPT]

    # -- one row --

    def step_row(self, row: Row, sample: Sample, say: Say) -> None:
        """Take one row; its window, if it completes one, closes after it."""
        earlier, since_s = self._earlier, self._changed_s
        if sample.changed or sample.joined:
            self._changed_row, self._changed_s = row.row, row.time_s
            self._earlier = math.nan if sample.joined else self._before.signal
        moment = Moment(
            row.row,
            row.time_s,
            sample,
            self._before,
            self._before_s,
            earlier,
            since_s,
            self._floor.value,
            row.row - self._changed_row,
            self._changed_s,
            self.gate,
            row.context,
            self.learned,
            self._state_at(row.row),
        )
        for detector in self._row_detectors:
            detector.step(moment, say)
        self._before, self._before_s = sample, row.time_s

    # -- a frame --

    def step_frame(self, frame: Frame, windows: Windows, say: Say) -> None:
        """Take a frame whose `windows` are closed already."""
        columns = frame.channels[self.plan.name]
        n = len(frame)
        if not n:
            return
        given = self._given(frame, columns, windows)
        suspect = np.zeros(n, dtype=bool)
        for detector in self._row_detectors:
            suspect |= detector.suspects(columns, frame, given)
        self._step_suspects(frame, columns, given, np.flatnonzero(suspect), say)
        self._earlier, _ = self._earlier_at(columns, given, n)
        self._changed_row = frame.first_row + n - 1 - int(given.run[-1])
        self._changed_s = float(given.held_since_s[-1])
        self._before, self._before_s = _sample(columns, n - 1), float(frame.time_s[-1])

    def _given(self, frame: Frame, columns: ChannelColumns, windows: Windows) -> Given:
        n = len(frame)
        rows = np.arange(frame.first_row, frame.first_row + n)
        moved = columns.changed | columns.joined
        changed_row = np.maximum.accumulate(np.where(moved, rows, self._changed_row))
        changed_at = np.where(
            changed_row < frame.first_row,
            self._changed_s,
            frame.time_s[np.maximum(changed_row - frame.first_row, 0)],
        )
        window_of_row = np.clip(rows // ROWS - windows.first, 0, len(windows))
        return Given(
            before=np.concatenate(([self._before.signal], columns.signal[:-1])),
            floor=self._floors[window_of_row],
            run=rows - changed_row,
            held_since_s=changed_at,
            window=window_of_row,
            learned=self._learned,
        )

    def _step_suspects(
        self,
        frame: Frame,
        columns: ChannelColumns,
        given: Given,
        suspects: NDArray[np.intp],
        say: Say,
    ) -> None:
        """Step the suspect rows, and those after them until every detector is at rest."""
        detectors = self._row_detectors
        n = len(frame)
        index = 0
        before_at, before = -1, self._before
        while index < n:
            if not any(detector.busy for detector in detectors):
                after = int(np.searchsorted(suspects, index))
                if after == len(suspects):
                    return
                index = int(suspects[after])
            if before_at != index - 1:
                before = _sample(columns, index - 1)
            sample = _sample(columns, index)
            row = frame.first_row + index
            moment = Moment(
                row,
                float(frame.time_s[index]),
                sample,
                before,
                float(frame.time_s[index - 1]) if index else self._before_s,
                *self._earlier_at(columns, given, index),
                float(given.floor[index]),
                int(given.run[index]),
                float(given.held_since_s[index]),
                self.gate_at(row),
                {key: float(values[index]) for key, values in frame.context.items()},
                given.learned.after(int(given.window[index])),
                self._state_at(row),
            )
            for detector in detectors:
                detector.step(moment, say)
            before_at, before = index, sample
            index += 1

    def _earlier_at(self, columns: ChannelColumns, given: Given, index: int) -> tuple[float, float]:
        """Signal before the last change that came before a row of a frame, and when that came."""
        if index == 0:
            return self._earlier, self._changed_s
        at = index - 1 - int(given.run[index - 1])
        since_s = float(given.held_since_s[index - 1])
        if at < 0:
            return self._earlier, since_s
        moved = columns.changed[at] or columns.joined[at]
        if not moved:
            return self._earlier, since_s
        return math.nan if columns.joined[at] else float(given.before[at]), since_s


def _sample(columns: ChannelColumns, index: int) -> Sample:
    return Sample(
        float(columns.signal[index]),
        bool(columns.in_ohms[index]),
        float(columns.spacing_s[index]),
        bool(columns.changed[index]),
        bool(columns.joined[index]),
        float(columns.celsius[index]),
        float(columns.target_c[index]),
        float(columns.power[index]),
        float(columns.code[index]),
        bool(columns.fresh[index]),
        float(columns.sent_s[index]),
        float(columns.power_peak[index]),
    )
