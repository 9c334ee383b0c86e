"""code-high and code-low: the code at or beyond what the element can give.

Quantity: codes, else ohms, else degrees. The limits are the ends of the element's curve, −200
and 850 °C: no platinum element that is whole reads beyond them (IEC 60751). An open lead
drives the code to the upper end, or, where it is a current lead of three or four wires, to the
lower; a short to the lower. Where a converter ends before the
curve does, its end is the limit: told, or recognised by its shape, 0 or 2^n − 1, where the
reading leapt there or began there.

Blind where only degrees are reported and the host cuts them off within the curve.
"""

import math

import numpy as np
from numpy.typing import NDArray

from detectors.detector import Given, Moment, RowDetector, Say
from detectors.reports import Cleared, Sighting
from detectors.table.frame import ChannelColumns, Frame, Sample
from detectors.table.plan import ChannelPlan
from detectors.table.scale import are_end_shaped, is_end_shaped
from shared.events import NotEvaluated
from shared.words import Kind

TWO = 2
COLDEST_C, HOTTEST_C = -20.0, 350.0
"""What a machine may be at while it is watched (common practice)."""
LEAP = 0.75
"""An end is reached from below this part of it: heat passes a code, and does not leap to it."""


class RailDetector(RowDetector):
    """Stands on single rows; busy while the code is beyond a limit."""

    def __init__(self, plan: ChannelPlan) -> None:
        self._plan = plan
        self._knows_ends = plan.scale.is_told and plan.scale.has_constant
        self._low_looks = "shorted"
        if plan.chain.knows("wires") and plan.chain.wires != TWO:
            self._low_looks = "shorted, or a current lead open"
        self._beyond: Kind | None = None
        self._start_s = math.nan
        self.busy = False

    def suspects(self, columns: ChannelColumns, frame: Frame, given: Given) -> NDArray[np.bool_]:
        ends = [np.array(self._plan.ends(in_ohms))[:, None] for in_ohms in (True, False)]
        low, high = np.where(columns.in_ohms, *ends)
        beyond: NDArray[np.bool_] = (columns.signal >= high) | (columns.signal <= low)
        if not self._knows_ends:
            beyond |= are_end_shaped(columns.code)
        return beyond

    def step(self, moment: Moment, say: Say) -> None:
        beyond = self._side(moment)
        if beyond is self._beyond:
            return
        if self._beyond is not None:
            say(Cleared(moment.row, moment.time_s, self._plan.name, self._beyond, moment.time_s))
        if beyond is not None:
            say(self._sighting(moment, beyond))
        self._beyond = beyond
        self.busy = beyond is not None

    def _side(self, moment: Moment) -> Kind | None:
        sample = moment.sample
        low, high = self._plan.ends(sample.in_ohms)
        if sample.signal >= high:
            return Kind.CODE_HIGH
        if sample.signal <= low:
            return Kind.CODE_LOW
        if self._knows_ends or not is_end_shaped(sample.code):
            return None
        if sample.code == 0.0:
            return Kind.CODE_LOW
        before = moment.before.code
        stays = self._beyond is Kind.CODE_HIGH and before == sample.code
        leapt = not before >= LEAP * sample.code
        if before != before and COLDEST_C < sample.celsius < HOTTEST_C:
            # An end is no ordinary temperature: a code of this shape may be one of more bits.
            leapt = False
        return Kind.CODE_HIGH if stays or leapt else None

    def _sighting(self, moment: Moment, kind: Kind) -> Sighting:
        sample = moment.sample
        has_code = sample.code == sample.code
        value, unit = (sample.code, "codes") if has_code else (sample.signal, _unit(sample))
        shown = f"code {value:.0f}" if has_code else f"{value:.1f} {unit}"
        end = "upper" if kind is Kind.CODE_HIGH else "lower"
        meaning = "open" if kind is Kind.CODE_HIGH else self._low_looks
        first = sample.joined or moment.before.signal != moment.before.signal
        facts: dict[str, float | str] = {"first_reading": float(first)}
        if sample.celsius == sample.celsius:
            facts["celsius"] = sample.celsius
        if sample.in_ohms:
            facts["signal"] = sample.signal
            if self._plan.scale.r0_is_known:
                facts["r0_ohm"] = self._plan.scale.r0_ohm
            if not first:
                facts["before"] = moment.before.signal
        return Sighting(
            row=moment.row,
            at_s=moment.time_s,
            channel=self._plan.name,
            kind=kind,
            start_s=moment.time_s,
            end_s=None,
            value=value,
            unit=unit,
            text=f"{shown} is beyond the {end} limit: the input looks {meaning}"
            + (", from the first reading" if first else ""),
            facts=facts,
        )

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._plan.has_signal_in_ohms:
            return []
        why = "no code or resistance is reported: a host that cuts degrees off hides it"
        return [NotEvaluated(kind=Kind.CODE_HIGH, channel=self._plan.name, why=why)]


def _unit(sample: Sample) -> str:
    return "Ω" if sample.in_ohms else "°C"
