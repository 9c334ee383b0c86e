"""A settled plateau: a reading that has come to rest, with its mean and uncertainty.

Windows of 32 rows are taken one by one. It has settled when, over the last half minute
and three windows, a straight line through their means moves by no more than `STILL_K`
or by what their own scatter explains.
"""

import math
from dataclasses import dataclass, field

from detectors.table.closed import ClosedWindow
from shared import platinum
from shared.chain import Chain

LEAST_S = 30.0
LEAST_WINDOWS = 3
STILL_K = 0.03
LEAST_CODES = 0.3
"""Uncertainty of a mean is never taken below this many codes: steps do not average out."""


@dataclass(frozen=True, slots=True)
class Settled:
    """A plateau in Ω; `standard_ohm` is the mean's standard uncertainty, drift included."""

    ohm: float
    standard_ohm: float
    celsius: float
    """By the chain's element; NaN beyond its curve."""


@dataclass(slots=True)
class Plateau:
    """Takes windows of one channel, values in Ω."""

    chain: Chain
    _means: list[tuple[float, float, float]] = field(default_factory=list)
    """Middle of the window, s; its mean; the standard uncertainty of that."""

    def clear(self) -> None:
        self._means.clear()

    def take(self, window: ClosedWindow, ohm: float, rows: int = 32) -> None:
        """`ohm` is the window's mean."""
        if ohm != ohm or window.joined:
            self.clear()
            return
        middle_s = 0.5 * (window.start_s + window.end_s)
        self._means.append((middle_s, ohm, window.noise / math.sqrt(rows)))
        del self._means[:-16]

    @property
    def settled(self) -> Settled | None:
        """The plateau that the newest windows form; None while it still moves."""
        count = LEAST_WINDOWS
        while count <= len(self._means):
            part = self._means[-count:]
            if part[-1][0] - part[0][0] >= LEAST_S - (part[-1][0] - part[-2][0]):
                return self._line(part)
            count += 1
        return None

    def _line(self, part: list[tuple[float, float, float]]) -> Settled | None:
        n = len(part)
        middle_s = math.fsum(at for at, _, _ in part) / n
        mean = math.fsum(ohm for _, ohm, _ in part) / n
        sxx = math.fsum((at - middle_s) ** 2 for at, _, _ in part)
        slope = math.fsum((at - middle_s) * (ohm - mean) for at, ohm, _ in part) / sxx
        drift = abs(slope) * (part[-1][0] - part[0][0])
        step = LEAST_CODES * self.chain.step_ohm
        noise = max(math.sqrt(math.fsum(sd * sd for _, _, sd in part) / n), step)
        celsius = platinum.celsius(mean, self.chain.r0_ohm, self.chain.element_curve)
        kelvin = self.chain.r0_ohm * self.chain.element_curve.a
        if drift > max(STILL_K * kelvin, 3.0 * noise):
            return None
        standard = math.hypot(noise / math.sqrt(n), drift / math.sqrt(12.0), step)
        return Settled(mean, standard, celsius)
