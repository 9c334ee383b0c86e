"""Offset (leads) apart from gain (reference, R0) by readings at two or more known resistances.

seen = (1 + gain) · known + offset
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shared.chain import Chain
from shared.leads import path_ohm, share_read
from shared.reach import element_ohm

BOILING_K, ICE_K = 0.1, 0.02
"""Standard uncertainties of a stirred ice bath and of steady boiling, as done in a kitchen."""
_SEA_LEVEL_HPA = 1013.25


@dataclass(frozen=True, slots=True)
class Point:
    """A reading at a known resistance, Ω; `standard_ohm` counts for both together."""

    known_ohm: float
    seen_ohm: float
    standard_ohm: float


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its standard uncertainty."""

    value: float
    standard: float

    @property
    def interval(self) -> tuple[float, float]:
        """About 95 %: two standard uncertainties to each side."""
        return self.value - 2.0 * self.standard, self.value + 2.0 * self.standard

    @property
    def is_clear(self) -> bool:
        """Whether the interval leaves out zero."""
        return abs(self.value) > 2.0 * self.standard


@dataclass(frozen=True, slots=True)
class Split:
    """What readings at known resistances say; None where it could not be told."""

    offset_ohm: Estimate | None
    gain: Estimate | None
    """Relative: 0.001 reads 0.1 % too much."""
    offset_alone_ohm: Estimate
    """The offset if there were no gain error."""
    gain_alone: Estimate
    """The gain error if there were no offset."""
    prefers: str
    """`offset`, `gain`, `both`, `neither` or `cannot tell`."""
    could_not_tell: tuple[str, ...]


_CLEARLY = 4.0
"""Difference in χ² from which one of two explanations is preferred (likelihood ratio e²)."""


def split(points: Sequence[Point]) -> Split:
    """Weighted least squares for offset and gain, at least one point, standards above 0."""
    weights = [1.0 / point.standard_ohm**2 for point in points]
    known = [point.known_ohm for point in points]
    excess = [point.seen_ohm - point.known_ohm for point in points]
    s = math.fsum(weights)
    sx = math.fsum(w * x for w, x in zip(weights, known, strict=True))
    sxx = math.fsum(w * x * x for w, x in zip(weights, known, strict=True))
    sy = math.fsum(w * y for w, y in zip(weights, excess, strict=True))
    sxy = math.fsum(w * x * y for w, x, y in zip(weights, known, excess, strict=True))
    alone = Estimate(sy / s, math.sqrt(1.0 / s))
    gain_alone = Estimate(sxy / sxx, math.sqrt(1.0 / sxx))

    def misfit(offset: float, gain: float) -> float:
        parts = zip(weights, known, excess, strict=True)
        return math.fsum(w * (y - offset - gain * x) ** 2 for w, x, y in parts)

    if misfit(0.0, 0.0) <= _CLEARLY:
        finding = "neither"
    else:
        lead = misfit(0.0, gain_alone.value) - misfit(alone.value, 0.0)
        finding = "offset" if lead >= _CLEARLY else "gain" if -lead >= _CLEARLY else "cannot tell"
    spread = s * sxx - sx * sx
    if len(points) < 2 or spread <= 1e-9 * s * sxx:
        why = ("offset from gain: they need two clearly different resistances",)
        return Split(None, None, alone, gain_alone, finding, why if finding != "neither" else ())
    offset = Estimate((sxx * sy - sx * sxy) / spread, math.sqrt(sxx / spread))
    gain = Estimate((s * sxy - sx * sy) / spread, math.sqrt(s / spread))
    if finding != "neither" and offset.is_clear and gain.is_clear:
        finding = "both"
    unclear = ("offset from gain: the readings are too uncertain for it",)
    open_questions = unclear if finding == "cannot tell" else ()
    return Split(offset, gain, alone, gain_alone, finding, open_questions)


def pressure_hpa(altitude_m: float) -> float:
    """Mean air pressure at an altitude up to 11 km, hPa: ISO 2533 standard atmosphere."""
    return float(_SEA_LEVEL_HPA * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


def boiling_c(altitude_m: float = 0.0, air_hpa: float | None = None) -> float:
    """Boiling point of water, °C: Antoine's equation for 1…100 °C.

    The air pressure itself, where a weather station gives it (not reduced to sea
    level), beats the altitude: weather moves the point by half a kelvin.
    """
    pressure = pressure_hpa(altitude_m) if air_hpa is None else air_hpa
    return 1730.63 / (8.07131 - math.log10(pressure / 1.333224)) - 233.426


@dataclass(frozen=True, slots=True)
class TwoPoint:
    """Result of a two-point check."""

    split: Split
    path_ohm: Estimate | None
    """Resistance of one lead and its contact that the offset implies; None: could not be told."""
    expected_path_ohm: float
    could_not_tell: tuple[str, ...]


def two_point_check(chain: Chain, points: Sequence[Point], element_in: bool) -> TwoPoint:
    """Judge readings at two known resistances.

    `element_in` says that the element itself was in known baths; otherwise precision
    resistors stood in its place at the end of the leads.
    """
    found = split(points)
    share, _ = share_read(chain)
    open_questions = list(found.could_not_tell)
    path = None
    if found.offset_ohm is not None and math.isfinite(share) and share != 0.0:
        offset = found.offset_ohm
        path = Estimate(offset.value / share, offset.standard / abs(share))
    elif share == 0.0:
        open_questions.append("the leads' resistance: this wire count cancels it")
    if element_in and found.prefers in ("gain", "both"):
        open_questions.append("reference from R0: baths see both; precision resistors tell")
    if not element_in:
        open_questions.append("anything about the element: it was not connected")
    return TwoPoint(found, path, path_ohm(chain), tuple(open_questions))


def bath_points(
    chain: Chain,
    ice_ohm: float,
    boiling_ohm: float,
    standard_ohm: float,
    altitude_m: float = 0.0,
    air_hpa: float | None = None,
) -> tuple[Point, Point]:
    """Points of an ice bath and of boiling water; `standard_ohm` of the readings alone."""
    points = []
    for celsius, bath_k, seen in (
        (0.0, ICE_K, ice_ohm),
        (boiling_c(altitude_m, air_hpa), BOILING_K, boiling_ohm),
    ):
        bath_ohm = bath_k * chain.r0_ohm * chain.element_curve.a
        standard = math.hypot(standard_ohm, bath_ohm)
        points.append(Point(element_ohm(chain, celsius), seen, standard))
    return points[0], points[1]
