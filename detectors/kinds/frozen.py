"""frozen: a reading that stopped moving while it should.

Quantity: seconds without a change. The limit is a run of rows that this channel's own
habit of change (`detectors.changes`) makes less likely than 1e-9; with power or target
on the move meanwhile, half the rows do, since a true reading follows them. Rows count,
not repeated values, so a host that sends only changes is judged as any other, and no
rows come while the host is silent.

Blind where noise is below about 0.2 steps of the reading: a quiet reading and a frozen
one look the same; and where a host that repeats values stops to send a channel. An open
or shorted input stands still too, and is called that.
"""

import math

import numpy as np
from numpy.typing import NDArray

from detectors.detector import Given, Moment, Say
from detectors.frame import ChannelColumns, Frame, Sample
from detectors.plan import ChannelPlan
from detectors.reports import Cleared, Sighting
from shared.events import NotEvaluated
from shared.words import Kind

LEAST_S = 3.0
WITH_POWER = 0.5
"""Part of the run that is enough when power or target moved meanwhile."""
POWER_MOVED = 0.15
TARGET_MOVED_C = 5.0
UNSENT = 0.5
"""Part of the run for which the host, though it repeats values, sent none."""


class FrozenDetector:
    """Busy from the first row of a run that is half as long as chance allows."""

    def __init__(self, plan: ChannelPlan) -> None:
        self._plan = plan
        self._start_s = math.nan
        self._is_frozen = False
        self._low = self._high = math.nan
        self._target_c = math.nan
        self._could_judge = False
        self._unsent_s = math.nan
        self.busy = False

    def suspects(self, columns: ChannelColumns, frame: Frame, given: Given) -> NDArray[np.bool_]:
        limits = np.array([one.frozen_rows for one in given.learned])
        lived = limits[: given.window[-1] + 1]
        self._could_judge = self._could_judge or bool(np.isfinite(lived).any())
        suspects: NDArray[np.bool_] = given.run >= (0.25 * limits)[given.window]
        return suspects

    def step(self, moment: Moment, say: Say) -> None:
        limit = moment.learned.frozen_rows
        if not self.busy:
            if limit == math.inf:
                return
            self._could_judge = True
            if moment.run >= 0.25 * limit:
                self._begin(moment)
            return
        if moment.run == 0:
            self._end(moment, say)
            return
        if self._is_frozen or limit == math.inf or self._is_at_end(moment.sample):
            return
        if self._is_unsent(moment):
            self._unsent_s = moment.sample.sent_s
            return
        moved = self._moved(moment.sample)
        needed = WITH_POWER * limit if moved else limit
        if moment.run >= needed and moment.time_s - moment.held_since_s >= LEAST_S:
            self._is_frozen = True
            say(self._sighting(moment, moved))

    def finish(self, say: Say) -> None:
        """Nothing is held back."""

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._unsent_s == self._unsent_s:
            why = f"the host no longer sent it after {self._unsent_s:g} s: nothing to judge"
            return [NotEvaluated(kind=Kind.FROZEN, channel=self._plan.name, why=why)]
        if self._could_judge:
            return []
        why = "its noise is below a step of the reading, or no steady stretch showed it"
        return [NotEvaluated(kind=Kind.FROZEN, channel=self._plan.name, why=why)]

    def _is_unsent(self, moment: Moment) -> bool:
        """Whether a host that repeats values has stopped to send this one at all."""
        still_s = moment.time_s - moment.held_since_s
        unsent_s = moment.time_s - moment.sample.sent_s
        return moment.learned.repeats and unsent_s > UNSENT * still_s

    def _begin(self, moment: Moment) -> None:
        self.busy = True
        self._is_frozen = False
        self._low = self._high = moment.sample.power
        self._target_c = moment.sample.target_c

    def _end(self, moment: Moment, say: Say) -> None:
        if self._is_frozen:
            say(Cleared(moment.row, moment.time_s, self._plan.name, Kind.FROZEN, moment.time_s))
        self.busy = self._is_frozen = False
        self._unsent_s = math.nan

    def _moved(self, sample: Sample) -> bool:
        self._low = min(self._low, sample.power)
        self._high = max(self._high, sample.power)
        return (
            self._high - self._low >= POWER_MOVED
            or abs(sample.target_c - self._target_c) >= TARGET_MOVED_C
        )

    def _is_at_end(self, sample: Sample) -> bool:
        plan = self._plan
        return sample.in_ohms and not plan.low_ohm < sample.signal < plan.high_ohm

    def _sighting(self, moment: Moment, moved: bool) -> Sighting:
        sample = moment.sample
        seconds = moment.time_s - moment.held_since_s
        text = f"the same reading {moment.run} times ({seconds:.0f} s): noise alone would move it"
        if moved:
            text = f"the same reading for {seconds:.0f} s while power or target moved"
        return Sighting(
            row=moment.row,
            at_s=moment.time_s,
            channel=self._plan.name,
            kind=Kind.FROZEN,
            start_s=moment.held_since_s,
            end_s=None,
            value=seconds,
            unit="s",
            text=text,
            facts={
                "rows": float(moment.run),
                "limit_rows": moment.learned.frozen_rows,
                "power_moved": float(moved),
                "power": sample.power,
                "signal": sample.signal,
            },
        )
