"""What is known of a channel before it says anything: chain facts, rails, units."""

import numpy as np
from numpy.typing import NDArray

from shared.chain import ASSUMED, Chain
from shared.converter import full_scale
from shared.platinum import HIGHEST_C, LOWEST_C, ohms
from shared.updates import Floats

_SLOPE_AT_150_C = 3.735e-3
"""Relative slope of IEC 60751 platinum at 150 °C, 1/K: within 5 % of it over 0…300 °C."""

ENDS = 1.0
"""Codes from the converter's end that still count as the end."""

FROM_NOTHING, FROM_DEGREES, FROM_OHMS, FROM_CODE = range(4)


class ChannelPlan:
    """Facts of one channel that its detectors use.

    The working signal is in ohms where a code or a resistance is reported, else in °C.
    No whole element reads beyond `low_ohm` or `high_ohm`: the ends of its curve or of the
    converter, whichever is nearer. `per_kelvin` turns a temperature difference into a
    difference of the signal.
    """

    def __init__(self, name: str, chain: Chain | None) -> None:
        self.name = name
        self.is_assumed = chain is None
        self.chain = chain or ASSUMED
        self.has_code = False
        """Whether a code was ever reported."""
        self.has_ohms = False
        """Whether a resistance was ever reported."""
        self.ohm_per_code = self.chain.step_ohm
        self.ohm_per_kelvin = self.chain.r0_ohm * _SLOPE_AT_150_C
        self.top_code = full_scale(self.chain.bits) - 1
        top = (self.top_code - ENDS) * self.ohm_per_code
        r0, curve = self.chain.r0_ohm, self.chain.element_curve
        self.high_ohm = min(ohms(HIGHEST_C, r0, curve), top)
        self.low_ohm = max(ohms(LOWEST_C, r0, curve), ENDS * self.ohm_per_code)

    @property
    def has_signal_in_ohms(self) -> bool:
        return self.has_code or self.has_ohms

    def per_kelvin(self, in_ohms: bool) -> float:
        return self.ohm_per_kelvin if in_ohms else 1.0

    def code_of_degrees(self, celsius: float) -> float:
        """The code, not rounded, that a host with these facts shows as these degrees."""
        chain = self.chain
        ohm = ohms(celsius, chain.believed_r0_ohm, chain.believed_curve)
        return ohm / chain.believed_reference_ohm * full_scale(chain.bits)

    def signal(self, code: float, resistance_ohm: float, celsius: float) -> tuple[int, float]:
        """Source and working signal of one row."""
        if code == code:
            return FROM_CODE, code * self.ohm_per_code
        if resistance_ohm == resistance_ohm:
            return FROM_OHMS, resistance_ohm
        if celsius == celsius:
            return FROM_DEGREES, celsius
        return FROM_NOTHING, celsius

    def signals(
        self, code: Floats, resistance_ohm: Floats, celsius: Floats
    ) -> tuple[NDArray[np.int8], Floats]:
        """Sources and working signals of many rows, shape (n,) each."""
        if not np.isnan(code).any():
            return np.full(len(code), FROM_CODE, dtype=np.int8), code * self.ohm_per_code
        has_code, has_ohms = ~np.isnan(code), ~np.isnan(resistance_ohm)
        signal = np.where(
            has_code, code * self.ohm_per_code, np.where(has_ohms, resistance_ohm, celsius)
        )
        source = np.where(
            has_code,
            FROM_CODE,
            np.where(has_ohms, FROM_OHMS, np.where(np.isnan(celsius), FROM_NOTHING, FROM_DEGREES)),
        ).astype(np.int8)
        return source, signal
