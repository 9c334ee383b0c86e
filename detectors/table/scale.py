"""Ω per code: told by chain facts, or worked out from what the host says beside the code.

A host computes degrees from a code by R = code · R_ref / 2^bits and the platinum curve
(IEC 60751), so a single pair of code and degrees gives R_ref / 2^bits as a multiple of R0,
and a pair of code and Ω gives it in Ω. The first pair is taken. A pair that contradicts it
proves nothing alone, since a host may show a stale or a cut-off value: two do that agree
with each other at temperatures apart, unless two had agreed on the scale before. Then the
host was set otherwise meanwhile, which is for `chain.workedout` to say.

R0 itself follows from Ω beside degrees. Where neither was told, Ω are those of a Pt100.

A code at the converter's end makes no pair: an end looks like 0 or 2^n − 1 (shifted left
where codes are left-justified). Where only codes are sent, the scale is that of an element
at some temperature that a printer has, which is right within a factor of 1.5.
"""

import math

import numpy as np
from numpy.typing import NDArray

from shared.chain import FEWEST_BITS, MOST_BITS, Chain
from shared.platinum import HIGHEST_C, LOWEST_C, ratio, ratio_array
from shared.updates import Floats

CONTRADICTS = 0.05
"""Relative; a host that smooths its degrees lags by less: 10 K are 2 to 4 % of the ratio."""
AGREE = 0.02
APART_K = 5.0
"""Two pairs at temperatures nearer than this may be one stale value."""
ORDINARY_RATIO = 1.5
"""R/R0 of platinum at 130 °C: from 0 to 320 °C it is within a factor of 1.5 of it."""
USUAL_TIMES = 4.0
LEAST_BITS = 8
DECADE = 3.16
"""Ω of a Pt100 and a Pt1000 at −50…600 °C are apart by more than this from 10 · √10."""


def is_end_shaped(code: float) -> bool:
    """Whether a code is 0, or 2^n − 1 with zeros behind it: what a converter's end looks like."""
    if not 0.0 <= code < 2.0**53 or code != math.floor(code):
        return False
    return code == 0.0 or top_bits(int(code)) is not None


def top_bits(code: int) -> int | None:
    """n where a code is 2^n − 1, shifted left or not; None where it isn't."""
    ones = code // (code & -code) if code > 0 else 0
    bits = ones.bit_length()
    return bits if bits >= LEAST_BITS and ones & (ones + 1) == 0 else None


def are_end_shaped(codes: Floats) -> NDArray[np.bool_]:
    """`is_end_shaped` for many codes, shape (n,)."""
    whole = (codes >= 0.0) & (codes < 2.0**53) & (codes == np.floor(codes))
    values = np.where(whole, codes, 1.0).astype(np.int64)
    ones = values // np.maximum(values & -values, 1)
    shaped: NDArray[np.bool_] = whole & (
        (values == 0) | ((ones >= (1 << LEAST_BITS) - 1) & (ones & (ones + 1) == 0))
    )
    return shaped


class Scale:
    """Ω per code and R0 of one channel, as they are known up to a row."""

    def __init__(self, chain: Chain) -> None:
        self.has_constant = chain.input == "reference"
        """Whether Ω are a constant times the code; a divider's and an amplifier's are none."""
        self.is_told = chain.knows("reference_ohm", "bits") or not self.has_constant
        self.r0_is_known = chain.knows("r0_ohm")
        self.r0_ohm = chain.r0_ohm if self.r0_is_known else 100.0
        self.ohm_per_code = math.nan
        if self.is_told and self.has_constant:
            self.ohm_per_code = chain.step_ohm
        self.is_from_codes_alone = False
        self._curve = chain.believed_curve
        self._by_ohms: bool | None = None
        """Whether pairs are of codes and Ω, from the first pair on."""
        self._first_c = math.nan
        """°C of the pair that gave the scale; NaN once a pair at another temperature agreed."""
        self._doubt = (math.nan, math.nan)
        """Ω per code, and °C, of the last pair that contradicted."""

    @property
    def likely_bits(self) -> int:
        """Bits that make the reference about four times R0, and that a converter may have; 0 while
        the scale is not known.

        References are so (common practice of the trade); between n and n + 1 bits lies a
        factor of 2.
        """
        if not self.ohm_per_code > 0.0:
            return 0
        bits = round(math.log2(USUAL_TIMES * self.r0_ohm / self.ohm_per_code))
        return min(max(bits, FEWEST_BITS), MOST_BITS)

    def row(self, code: float, resistance_ohm: float, celsius: float) -> float:
        """Ω per code at one row; NaN while unknown."""
        if not self.r0_is_known:
            self._find_r0(code, resistance_ohm, celsius)
        if self.is_told:
            return self.ohm_per_code
        implied = self._implied(code, resistance_ohm, celsius)
        if implied != implied:
            if self.ohm_per_code != self.ohm_per_code and _is_alone(code, resistance_ohm, celsius):
                self.ohm_per_code = self.r0_ohm * ORDINARY_RATIO / code
                self.is_from_codes_alone = True
        elif self._by_ohms is None:
            self.ohm_per_code, self.is_from_codes_alone = implied, False
            self._by_ohms = resistance_ohm > 0.0
            self._first_c = celsius
        elif abs(implied / self.ohm_per_code - 1.0) > CONTRADICTS:
            self._contradict(implied, celsius)
        elif abs(celsius - self._first_c) >= APART_K:
            self._first_c = math.nan
        return self.ohm_per_code

    def rows(self, code: Floats, resistance_ohm: Floats, celsius: Floats) -> Floats:
        """The same for many rows, shape (n,): `row` sees those that could change it."""
        n = len(code)
        if self.is_told and self.r0_is_known:
            return np.full(n, self.ohm_per_code)
        found = np.empty(n)
        at = 0
        while at < n:
            rest = slice(at, n)
            turns = self._turns(code[rest], resistance_ohm[rest], celsius[rest])
            known = self._known
            for turn in (np.flatnonzero(turns) + at).tolist():
                found[at:turn] = known[0]
                row = float(code[turn]), float(resistance_ohm[turn]), float(celsius[turn])
                found[turn] = self.row(*row)
                at = turn + 1
                if repr(self._known) != repr(known):
                    break
            else:
                found[at:] = self.ohm_per_code
                at = n
        return found

    @property
    def _known(self) -> tuple[float, bool, bool | None, float]:
        return self.ohm_per_code, self.r0_is_known, self._by_ohms, self._first_c

    def _turns(self, code: Floats, resistance_ohm: Floats, celsius: Floats) -> NDArray[np.bool_]:
        """Rows that could change what is known."""
        turns: NDArray[np.bool_] = np.zeros(len(code), dtype=bool)
        if not self.r0_is_known:
            turns |= (resistance_ohm > 0.0) | (code > 0.0)
        if self.is_told:
            return turns
        if self._by_ohms is None:
            return turns | (code > 0.0)
        if self._first_c != self._first_c:
            return turns
        implied = self._implied_of(code, resistance_ohm, celsius)
        contradict: NDArray[np.bool_] = np.abs(implied / self.ohm_per_code - 1.0) > CONTRADICTS
        return turns | contradict | (np.abs(celsius - self._first_c) >= APART_K)

    def _find_r0(self, code: float, resistance_ohm: float, celsius: float) -> None:
        """From Ω beside degrees, or by the decade of Ω alone; not once codes have their scale."""
        if self.is_told and self.has_constant and code > 0.0:
            resistance_ohm = code * self.ohm_per_code
        elif self.ohm_per_code == self.ohm_per_code or not resistance_ohm > 0.0:
            return
        if LOWEST_C <= celsius <= HIGHEST_C:
            seen = resistance_ohm / ratio(celsius, self._curve)
        else:
            seen = 100.0 if resistance_ohm < 100.0 * ORDINARY_RATIO * DECADE else 1000.0
        usual = min((100.0, 1000.0), key=lambda r0: abs(math.log(seen / r0)))
        self.r0_ohm = usual if abs(seen / usual - 1.0) < AGREE else seen
        self.r0_is_known = True

    def _implied(self, code: float, resistance_ohm: float, celsius: float) -> float:
        if not code > 0.0 or is_end_shaped(code):
            return math.nan
        if resistance_ohm > 0.0 and self._by_ohms is not False:
            return resistance_ohm / code
        if LOWEST_C <= celsius <= HIGHEST_C and not self._by_ohms:
            return self.r0_ohm * ratio(celsius, self._curve) / code
        return math.nan

    def _implied_of(self, code: Floats, resistance_ohm: Floats, celsius: Floats) -> Floats:
        """`_implied` for many rows, once a first pair was taken."""
        if self._by_ohms:
            ohms = np.where(resistance_ohm > 0.0, resistance_ohm, np.nan)
        else:
            in_range = (celsius >= LOWEST_C) & (celsius <= HIGHEST_C)
            ohms = np.where(in_range, self.r0_ohm * ratio_array(celsius, self._curve), np.nan)
        implied: Floats = np.full(len(code), np.nan)
        np.divide(ohms, code, out=implied, where=(code > 0.0) & ~are_end_shaped(code))
        return implied

    def _contradict(self, implied: float, celsius: float) -> None:
        if self._first_c != self._first_c:
            return
        doubt, at_c = self._doubt
        if not abs(implied / doubt - 1.0) <= AGREE:
            self._doubt = implied, celsius
        elif abs(celsius - at_c) >= APART_K:
            self.ohm_per_code = implied
            self._first_c, self._doubt = math.nan, (math.nan, math.nan)


def _is_alone(code: float, resistance_ohm: float, celsius: float) -> bool:
    """Whether a code that is no end stands alone."""
    alone = resistance_ohm != resistance_ohm and celsius != celsius
    return alone and code > 0.0 and not is_end_shaped(code)
