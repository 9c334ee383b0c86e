"""no-rise on temperature alone, where no power was ever told: a heater that comes no nearer.

Quantity: K of rise while the reading is 10 K and more below its target for two minutes (air's for
twenty): less than 1 K, or none above 60 °C, where losses are large. The slowest heater (`norise`)
brings 1 K from cold in 19 s of full power; the rest of the time is for a host that heats one thing
after another, or with part of the power. Whether any power was asked for is not known: the event
says so, and a host that waits on purpose looks the same.

Blind within 10 K of the target, and where a target is not told.
"""

import math

from detectors.detector import Say
from detectors.heat.air import is_of_air
from detectors.kinds.norise import BACK_K, COLD_C, FAR_K, LEAST_RISE_K
from detectors.reports import Cleared, Sighting
from detectors.table.closed import ClosedWindow
from detectors.table.plan import ChannelPlan
from shared.words import Gate, Kind

WAIT_S, AIR_WAIT_S = 120.0, 1200.0
"""Air warms ten times slower (`norise`)."""


class UntoldDetector:
    """Follows one channel that has a target and no power."""

    def __init__(self, plan: ChannelPlan) -> None:
        self._name = plan.name
        self._wait_s = AIR_WAIT_S if is_of_air(plan.name) else WAIT_S
        self._from_c = self._from_s = math.nan
        self._lowest_c = math.nan
        self._is_up = False

    def step(self, window: ClosedWindow, say: Say) -> None:
        middle_c = window.middle_c
        is_far = middle_c < window.target_c - FAR_K
        if self._is_up:
            self._go_on(window, is_far, say)
        elif not is_far or window.joined or window.gate in (Gate.STARTING, Gate.HALTED):
            self._from_s = math.nan
        elif math.isnan(self._from_s) or middle_c - self._from_c > self._enough(middle_c):
            self._from_c, self._from_s = middle_c, window.start_s
        elif window.end_s - self._from_s >= self._wait_s:
            self._raise(window, say)

    def _enough(self, celsius: float) -> float:
        return LEAST_RISE_K if celsius < COLD_C else 0.0

    def _raise(self, window: ClosedWindow, say: Say) -> None:
        self._is_up, self._lowest_c = True, window.middle_c
        rise_k = window.middle_c - self._from_c
        say(
            Sighting(
                row=window.last_row,
                at_s=window.end_s,
                channel=self._name,
                kind=Kind.NO_RISE,
                start_s=self._from_s,
                end_s=None,
                value=abs(rise_k),
                unit="K",
                text=f"{window.target_c - window.middle_c:.0f} K below its target the reading rose "
                f"by {rise_k:.1f} K in {window.end_s - self._from_s:.0f} s; no power is told, so "
                "it may not have been asked to heat",
                facts={"power_told": 0.0},
            )
        )

    def _go_on(self, window: ClosedWindow, is_far: bool, say: Say) -> None:
        self._lowest_c = min(self._lowest_c, window.middle_c)
        is_back = window.middle_c > self._lowest_c + BACK_K and not window.joined
        if is_far and not is_back:
            return
        self._is_up, self._from_s = False, math.nan
        facts: dict[str, float | str] = {"followed": float(is_back)}
        name = self._name
        say(Cleared(window.last_row, window.end_s, name, Kind.NO_RISE, window.end_s, facts=facts))
