"""frozen: a reading that stopped moving while it should.

Quantity: seconds without a change. The limit is a run of rows that this channel's own
habit of change (`table.changes`) makes less likely than 1e-9; with power or target
on the move meanwhile, half the rows do, since a true reading follows them, but not where power
goes on and off; and no run is too long
that it stood by itself before, near the same temperature. Rows count,
not repeated values, so a host that sends only changes is judged as any other, and no
rows come while the host is silent.

However quiet, a reading above 60 °C must fall once its power is off and its target lower: by
what a time constant of an hour leaves it, three steps and 1 K, or it is frozen. Once the host
has stopped the machine only the channel's own habit tells: it may hold what it read last.

Blind otherwise where noise is below about 0.2 steps of the reading: a quiet reading and a frozen
one look the same; and where a host that repeats values stops to send a channel. An open
or shorted input stands still too, and is called that.
"""

import math

import numpy as np
from numpy.typing import NDArray

from detectors.detector import Given, Moment, RowDetector, Say
from detectors.reports import Cleared, Sighting
from detectors.table.frame import ChannelColumns, Frame, Sample
from detectors.table.plan import ChannelPlan
from detectors.table.scale import is_end_shaped
from shared.events import NotEvaluated
from shared.when import spelt
from shared.words import HostState, Kind

LEAST_S = 3.0
WITH_POWER = 0.5
"""Part of the run that is enough when power or target moved meanwhile."""
POWER_MOVED = 0.15
TARGET_MOVED_C = 5.0
MOST_WAYS = 2
"""Power that turns more often is switched: a reading follows its mean alone."""
UNSENT = 0.5
"""Part of the run for which the host, though it repeats values, sent none."""

WARM_C, BELOW_K = 60.0, 3.0
"""Such a reading cools while power is off, with its target so much lower."""
SLOWEST_S, AIR_C = 3600.0, 45.0
"""Nothing heated cools slower than this (assumed), in air that is no warmer."""
LEAST_FALL_STEPS, LEAST_FALL_K = 3.0, 1.0
LEAST_RUN = 16

_ALONE = "the same reading {run} times ({time}): noise alone would move it"
_MOVED = "the same reading for {time} while power or target moved"
_STAYS_HOT = "the same {celsius:.1f} °C for {time} with its heater off: what is so hot would cool"


class FrozenDetector(RowDetector):
    """Busy from the first row of a run that is half as long as chance allows."""

    def __init__(self, plan: ChannelPlan) -> None:
        self._plan = plan
        self._start_s = math.nan
        self._is_frozen = False
        self._low = self._high = self._turn = math.nan
        self._is_up: bool | None = None
        self._turns = 0
        """Which way power went last, and how often that was another one."""
        self._target_c = math.nan
        self._could_judge = False
        self._unsent_s = math.nan
        self._cools_s = math.nan
        """Since when this run should have been cooling."""
        self.busy = False

    def suspects(self, columns: ChannelColumns, frame: Frame, given: Given) -> NDArray[np.bool_]:
        limits = given.learned["frozen_rows"]
        lived = limits[: given.window[-1] + 1]
        self._could_judge = self._could_judge or bool(np.isfinite(lived).any())
        suspects: NDArray[np.bool_] = given.run >= (0.25 * limits)[given.window]
        off = (columns.power <= 0.0) & (columns.celsius > WARM_C)
        off &= columns.celsius - columns.target_c > BELOW_K
        return suspects | (off & (given.run >= LEAST_RUN))

    def step(self, moment: Moment, say: Say) -> None:
        limit = moment.learned.frozen_rows
        if not self.busy:
            self._could_judge = self._could_judge or limit < math.inf
            cools = moment.run >= LEAST_RUN and _should_cool(moment.sample)
            if cools or moment.run >= 0.25 * limit:
                self._begin(moment)
            return
        if moment.run == 0:
            self._end(moment, say)
            return
        if not _should_cool(moment.sample):
            self._cools_s = math.nan
        elif self._cools_s != self._cools_s:
            self._cools_s = moment.time_s
        if self._is_frozen or self._is_at_end(moment.sample):
            return
        if self._is_unsent(moment):
            self._unsent_s = moment.sample.sent_s
            return
        # A host that stopped the machine may as well hold what it last read.
        is_halted = moment.host is HostState.HALTED
        if not is_halted and self._ought_to_have_cooled(moment):
            self._is_frozen = True
            say(self._sighting(moment, _STAYS_HOT.format_map(self._figures(moment)), moved=False))
            return
        if limit == math.inf:
            return
        moved = self._moved(moment.sample) and not is_halted
        needed = WITH_POWER * limit if moved else limit
        if moment.run >= needed and moment.time_s - moment.held_since_s >= LEAST_S:
            self._is_frozen = True
            words = _MOVED if moved else _ALONE
            say(self._sighting(moment, words.format_map(self._figures(moment)), moved))

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
        self._low = self._high = self._turn = moment.sample.power
        self._is_up, self._turns = None, 0
        self._target_c = moment.sample.target_c
        self._cools_s = moment.time_s if _should_cool(moment.sample) else math.nan

    def _end(self, moment: Moment, say: Say) -> None:
        if self._is_frozen:
            say(Cleared(moment.row, moment.time_s, self._plan.name, Kind.FROZEN, moment.time_s))
        self.busy = self._is_frozen = False
        self._unsent_s = math.nan

    def _moved(self, sample: Sample) -> bool:
        self._low = min(self._low, sample.power)
        self._high = max(self._high, sample.power)
        if abs(sample.power - self._turn) >= POWER_MOVED:
            is_up, self._turn = sample.power > self._turn, sample.power
            self._turns += is_up is not self._is_up
            self._is_up = is_up
        is_switched = self._turns > MOST_WAYS
        return (self._high - self._low >= POWER_MOVED and not is_switched) or abs(
            sample.target_c - self._target_c
        ) >= TARGET_MOVED_C

    def _ought_to_have_cooled(self, moment: Moment) -> bool:
        sample = moment.sample
        step_k = moment.learned.step / self._plan.per_kelvin(sample.in_ohms)
        fall_k = (moment.time_s - self._cools_s) * (sample.celsius - AIR_C) / SLOWEST_S
        return fall_k >= max(LEAST_FALL_STEPS * step_k, LEAST_FALL_K)

    def _is_at_end(self, sample: Sample) -> bool:
        plan = self._plan
        if is_end_shaped(sample.code) and not plan.scale.is_told:
            return True
        low, high = plan.ends(sample.in_ohms)
        return not low < sample.signal < high

    def _figures(self, moment: Moment) -> dict[str, float | str]:
        time = spelt(moment.time_s - moment.held_since_s)
        return {"run": moment.run, "time": time, "celsius": moment.sample.celsius}

    def _sighting(self, moment: Moment, text: str, moved: bool) -> Sighting:
        sample = moment.sample
        seconds = moment.time_s - moment.held_since_s
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


def _should_cool(sample: Sample) -> bool:
    is_off = sample.power <= 0.0 and sample.celsius > WARM_C
    return is_off and sample.celsius - sample.target_c > BELOW_K
