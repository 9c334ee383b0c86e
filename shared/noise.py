"""Measured noise of a channel against what its converter should make."""

import math
from dataclasses import dataclass

from shared import platinum
from shared.chain import Chain
from shared.converter import step_ohm

ENOUGH_READINGS = 30
"""Fewer readings leave the noise uncertain by more than a sixth."""


def expected_noise_ohm(chain: Chain) -> float:
    """Standard deviation of a quiet channel's readings, Ω: converter noise and code steps.

    NaN where the converter's own noise was not told, or a code is no constant in Ω.
    """
    if not chain.knows("noise_codes") or chain.input != "reference":
        return math.nan
    return step_ohm(chain.reference_ohm, chain.bits) * math.sqrt(chain.noise_codes**2 + 1.0 / 12.0)


@dataclass(frozen=True, slots=True)
class NoiseCheck:
    """Measured noise and what it amounts to; NaN where it could not be told."""

    readings: int
    measured_ohm: float
    expected_ohm: float
    interval: tuple[float, float]
    """Ratio of measured to expected noise, 95 %."""
    codes: float
    celsius: float
    finding: str
    """`as expected`, `louder`, `quieter` or `cannot tell`."""
    could_not_tell: str = ""
    """Why, or what remains open; empty when nothing does."""

    @property
    def ratio(self) -> float:
        return self.measured_ohm / self.expected_ohm


def noise_found(chain: Chain, count: int, square_ohm2: float, middle_ohm: float) -> NoiseCheck:
    """Hold noise against expectation: how many readings, the mean square of the differences of
    neighbours in Ω², and the middle reading in Ω.

    The noise is √(mean d²/2), so slow heat does not count; its relative standard error is ½ √(3/n).
    """
    expected = expected_noise_ohm(chain)
    if count < ENOUGH_READINGS:
        why = f"{count} readings; {ENOUGH_READINGS} are needed"
        nan = math.nan
        return NoiseCheck(count, nan, expected, (nan, nan), nan, nan, "cannot tell", why)
    measured = math.sqrt(square_ohm2 / 2.0)
    spread = math.sqrt(3.0 / count)
    ratio = measured / expected
    interval = (ratio * max(1.0 - spread, 0.0), ratio * (1.0 + spread))
    middle_c = platinum.celsius(middle_ohm, chain.r0_ohm, chain.element_curve)
    slope = chain.r0_ohm * platinum.slope(middle_c, chain.element_curve)
    finding, open_question = "as expected", ""
    if math.isnan(expected):
        finding, open_question = "cannot tell", "the converter's own noise is not told"
    elif measured == 0.0:
        finding = "quieter"
        open_question = "no reading differs: quieter than one step, or frozen"
    elif interval[0] > 1.5:
        finding = "louder"
        open_question = "whether the noise comes through the cable or the supply"
    elif interval[1] < 0.5:
        finding = "quieter"
        open_question = "whether the host or the converter averages"
    codes = measured / chain.step_ohm
    return NoiseCheck(
        count, measured, expected, interval, codes, measured / slope, finding, open_question
    )
