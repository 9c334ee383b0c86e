"""What a channel is doing, worked out once a window from target, power, motion and host state."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from shared.words import Gate, HostState

if TYPE_CHECKING:
    from detectors.closed import Times
    from detectors.windows import ChannelWindows

COLD_BELOW_C = 45.0
"""Without power and below this a channel counts as cold: warm to the hand, no hotter."""
HOLD_BAND_C = 3.0
HOLD_BAND_FRACTION = 0.02
PRINTING_AFTER_S = 20.0
"""Motion within this time of a held temperature is printing."""
STARTING_S = 60.0
"""After a restart a channel is starting: the trade allows readings half a minute to a minute."""
POWERED = 0.02
"""Power above this fraction counts as heating."""

_BUSY = (
    Gate.STARTING,
    Gate.COLD,
    Gate.COOLING,
    Gate.HOLDING,
    Gate.HEATING,
    Gate.PRINTING,
    Gate.HALTED,
)


def busiest(gates: Iterable[Gate]) -> Gate:
    """What a machine is doing whose channels do these; starting where nothing is known yet."""
    return max(gates, key=_BUSY.index, default=Gate.STARTING)


@dataclass(slots=True)
class GateKeeper:
    """Gate of one channel; `value` is what its next rows are judged under."""

    value: Gate = Gate.STARTING
    moved_s: float = -math.inf

    def gates(
        self, windows: "ChannelWindows", times: "Times", hosts: Sequence[tuple[HostState, float]]
    ) -> list[Gate]:
        """The gate from the end of each window on; the last one's before one is present.

        `hosts` holds the host's state and last restart by window.
        """
        found: list[Gate] = []
        value, moved_s = self.value, self.moved_s
        for present, celsius, target_c, power, end_s, moving, (state, restarted_s) in zip(
            windows.present.tolist(),
            windows.middle_c.tolist(),
            windows.target_c.tolist(),
            windows.power.tolist(),
            times.end_s,
            times.moving,
            hosts,
            strict=True,
        ):
            if present:
                if moving > 0.0:
                    moved_s = end_s
                value = _gate(celsius, target_c, power, state, end_s - restarted_s, end_s - moved_s)
            found.append(value)
        self.value, self.moved_s = value, moved_s
        return found


_STARTING, _HALTED = HostState.STARTING, HostState.HALTED
_COLD, _HEATING, _COOLING, _HOLDING = Gate.COLD, Gate.HEATING, Gate.COOLING, Gate.HOLDING
# Looking a member up takes longer than all the rest.


def _gate(
    celsius: float,
    target_c: float,
    power: float,
    state: HostState,
    since_start_s: float,
    since_move_s: float,
) -> Gate:
    if state is _HALTED:
        return Gate.HALTED
    if state is _STARTING or since_start_s < STARTING_S:
        return Gate.STARTING
    if target_c > 0.0:
        band = HOLD_BAND_FRACTION * target_c
        band = band if band > HOLD_BAND_C else HOLD_BAND_C
        if celsius < target_c - band:
            return _HEATING
        if celsius > target_c + band:
            return _COOLING
        return Gate.PRINTING if since_move_s < PRINTING_AFTER_S else _HOLDING
    if power > POWERED:
        return _HEATING
    return _COOLING if celsius > COLD_BELOW_C else _COLD
