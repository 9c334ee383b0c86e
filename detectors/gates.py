"""What a channel is doing, worked out once a window from target, power, motion and host state."""

import math
from dataclasses import dataclass

from shared.words import Gate, HostState

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


@dataclass(slots=True)
class GateKeeper:
    """Gate of one channel; `value` is what its next rows are judged under."""

    value: Gate = Gate.STARTING
    moved_s: float = -math.inf

    def learn(
        self,
        end_s: float,
        celsius: float,
        target_c: float,
        power: float,
        moving: float,
        state: HostState,
        restarted_s: float,
    ) -> Gate:
        """Take one window's means; the gate from here on."""
        if moving > 0.0:
            self.moved_s = end_s
        self.value = self._gate(end_s, celsius, target_c, power, state, restarted_s)
        return self.value

    def _gate(
        self,
        end_s: float,
        celsius: float,
        target_c: float,
        power: float,
        state: HostState,
        restarted_s: float,
    ) -> Gate:
        if state is HostState.HALTED:
            return Gate.HALTED
        if state is HostState.STARTING or end_s - restarted_s < STARTING_S:
            return Gate.STARTING
        if target_c > 0.0:
            band = max(HOLD_BAND_C, HOLD_BAND_FRACTION * target_c)
            if celsius < target_c - band:
                return Gate.HEATING
            if celsius > target_c + band:
                return Gate.COOLING
            return Gate.PRINTING if end_s - self.moved_s < PRINTING_AFTER_S else Gate.HOLDING
        if power > POWERED:
            return Gate.HEATING
        return Gate.COOLING if celsius > COLD_BELOW_C else Gate.COLD
