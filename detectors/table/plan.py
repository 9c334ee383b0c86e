"""What is known of a channel's readings: chain facts, the scale of its codes, limits, units."""

import math

import numpy as np
from numpy.typing import NDArray

from detectors.table.bits import bits_of
from detectors.table.scale import Scale
from shared.chain import UNTOLD, Chain
from shared.converter import full_scale
from shared.platinum import HIGHEST_C, LOWEST_C
from shared.updates import Floats

_SLOPE_AT_150_C = 3.735e-3
"""Relative slope of IEC 60751 platinum at 150 °C, 1/K: within 5 % of it over 0…300 °C."""

ENDS = 1.0
"""Codes from the converter's end that still count as the end."""

FROM_NOTHING, FROM_DEGREES, FROM_OHMS, FROM_CODE = range(4)


class ChannelPlan:
    """Facts of one channel that its detectors use.

    The working signal is in ohms where a resistance is reported, or a code whose scale is
    known, else in °C. No whole element reads beyond `low_ohm` or `high_ohm`: the ends of
    its curve or of the converter, by its bits or the likeliest, whichever is nearer.
    `per_kelvin` turns a temperature difference into a difference of the signal.
    """

    def __init__(self, name: str, chain: Chain | None) -> None:
        self.name = name
        self.chain = chain or UNTOLD
        self.scale = Scale(self.chain)
        self.has_code = False
        """Whether a code was ever reported."""
        self.has_ohms = False
        """Whether a resistance was ever reported."""
        curve = self.chain.element_curve
        self._lowest, self._highest = curve.ratio(LOWEST_C), curve.ratio(HIGHEST_C)

    @property
    def has_signal_in_ohms(self) -> bool:
        return self.has_code or self.has_ohms

    @property
    def high_ohm(self) -> float:
        scale = self.scale
        top_ohm = math.inf
        if scale.ohm_per_code > 0.0:
            bits = self.chain.bits if self.chain.knows("bits") else scale.likely_bits
            top_ohm = (full_scale(bits) - 1 - ENDS) * scale.ohm_per_code
        return min(scale.r0_ohm * self._highest, top_ohm)

    @property
    def low_ohm(self) -> float:
        scale = self.scale
        bottom_ohm = ENDS * scale.ohm_per_code if scale.ohm_per_code > 0.0 else 0.0
        return max(scale.r0_ohm * self._lowest, bottom_ohm)

    def ends(self, in_ohms: bool) -> tuple[float, float]:
        """Lower and upper end in units of the signal, at and beyond which nothing is a reading."""
        return (self.low_ohm, self.high_ohm) if in_ohms else (LOWEST_C, HIGHEST_C)

    @property
    def ohm_per_kelvin(self) -> float:
        return self.scale.r0_ohm * _SLOPE_AT_150_C

    def per_kelvin(self, in_ohms: bool) -> float:
        return self.ohm_per_kelvin if in_ohms else 1.0

    def bits(self, *codes: float) -> int:
        """Bits of the converter; where they were not told, those that these codes take, or the
        likeliest."""
        if self.chain.knows("bits"):
            return self.chain.bits
        return max(self.scale.likely_bits, *map(bits_of, codes))

    @property
    def degrees_give_codes(self) -> bool:
        """Whether degrees alone tell the code: by the facts, and not rounded off."""
        ohm = self.chain.rounding_c * self.ohm_per_kelvin
        is_told = self.scale.is_told and self.chain.knows("rounding_c")
        return is_told and not self.has_signal_in_ohms and ohm < self.scale.ohm_per_code

    def code_of_degrees(self, celsius: float) -> float:
        """The code, not rounded, that a host with these facts shows as these degrees."""
        chain = self.chain
        believed = chain.believed_r0_ohm * chain.believed_curve.ratio(celsius)
        return believed / chain.believed_reference_ohm * full_scale(chain.bits)

    def signal(
        self, code: float, resistance_ohm: float, celsius: float
    ) -> tuple[int, float, float]:
        """Source and working signal of one row, and Ω per code where it is from a code."""
        scale = self.scale
        if code == code or (resistance_ohm == resistance_ohm and not scale.r0_is_known):
            ohm_per_code = scale.row(code, resistance_ohm, celsius)
            signal = code * ohm_per_code
            if signal == signal:
                return FROM_CODE, signal, ohm_per_code
        if resistance_ohm == resistance_ohm:
            return FROM_OHMS, resistance_ohm, 0.0
        if celsius == celsius:
            return FROM_DEGREES, celsius, 0.0
        return FROM_NOTHING, celsius, 0.0

    def signals(
        self, code: Floats, resistance_ohm: Floats, celsius: Floats
    ) -> tuple[NDArray[np.int8], Floats, Floats]:
        """The same for many rows, shape (n,) each."""
        no_code, no_ohms = np.isnan(code), np.isnan(resistance_ohm)
        if no_code.all() and (no_ohms.all() or self.scale.r0_is_known):
            from_code = ohm_per_code = code
        else:
            ohm_per_code = self.scale.rows(code, resistance_ohm, celsius)
            from_code = code * ohm_per_code
        has_code = ~np.isnan(from_code)
        if has_code.all():
            return np.full(len(code), FROM_CODE, dtype=np.int8), from_code, ohm_per_code
        signal = np.where(has_code, from_code, np.where(no_ohms, celsius, resistance_ohm))
        other = np.where(
            no_ohms, np.where(np.isnan(celsius), FROM_NOTHING, FROM_DEGREES), FROM_OHMS
        )
        source = np.where(has_code, FROM_CODE, other).astype(np.int8)
        return source, signal, np.where(has_code, ohm_per_code, 0.0)
