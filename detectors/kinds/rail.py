"""code-high and code-low: the code at or beyond what the element can give.

Quantity: codes. The limits are the converter's ends, and the codes of −200 °C and
850 °C on the element's curve, whichever is nearer: no platinum element that is whole
reads beyond them (IEC 60751). An open lead drives the code to the upper end, a short
to the lower.

Blind where neither a code nor a resistance is reported: degrees are cut off by the host.
"""

import math

import numpy as np
from numpy.typing import NDArray

from detectors.detector import Given, Moment, Say
from detectors.frame import ChannelColumns, Frame
from detectors.plan import ChannelPlan
from detectors.reports import Cleared, Sighting
from shared.events import NotEvaluated
from shared.words import Kind


class RailDetector:
    """Stands on single rows; busy while the code is beyond a limit."""

    def __init__(self, plan: ChannelPlan) -> None:
        self._plan = plan
        self._high_ohm = plan.high_ohm
        self._low_ohm = plan.low_ohm
        self._beyond: Kind | None = None
        self._start_s = math.nan
        self.busy = False

    def suspects(self, columns: ChannelColumns, frame: Frame, given: Given) -> NDArray[np.bool_]:
        beyond: NDArray[np.bool_] = columns.in_ohms & (
            (columns.signal >= self._high_ohm) | (columns.signal <= self._low_ohm)
        )
        return beyond

    def step(self, moment: Moment, say: Say) -> None:
        sample = moment.sample
        beyond: Kind | None = None
        if sample.in_ohms:
            if sample.signal >= self._high_ohm:
                beyond = Kind.CODE_HIGH
            elif sample.signal <= self._low_ohm:
                beyond = Kind.CODE_LOW
        if beyond is self._beyond:
            return
        if self._beyond is not None:
            say(Cleared(moment.row, moment.time_s, self._plan.name, self._beyond, moment.time_s))
        if beyond is not None:
            say(self._sighting(moment, beyond))
        self._beyond = beyond
        self.busy = beyond is not None

    def _sighting(self, moment: Moment, kind: Kind) -> Sighting:
        sample = moment.sample
        has_code = sample.code == sample.code
        value, unit = (sample.code, "codes") if has_code else (sample.signal, "Ω")
        shown = f"code {value:.0f}" if has_code else f"{value:.1f} Ω"
        end = "upper" if kind is Kind.CODE_HIGH else "lower"
        meaning = "open" if kind is Kind.CODE_HIGH else "shorted"
        first = sample.joined or moment.before.signal != moment.before.signal
        facts: dict[str, float | str] = {"signal": sample.signal, "first_reading": float(first)}
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

    def finish(self, say: Say) -> None:
        """Nothing is held back."""

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._plan.has_signal_in_ohms:
            return []
        why = "no code or resistance is reported, and degrees are cut off by the host"
        return [NotEvaluated(kind=Kind.CODE_HIGH, channel=self._plan.name, why=why)]
