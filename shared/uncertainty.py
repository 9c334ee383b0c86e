"""Uncertainty of a result from the uncertainties of what goes into it.

`propagate` is the law of propagation of JCGM 100:2008 (GUM), with each contribution
taken from the model itself, Z_i = ½ (f(x_i + u_i) − f(x_i − u_i)) (5.1.3, note 2).
`monte_carlo` is the propagation of distributions of JCGM 101:2008: draws from every
distribution through the same model, and the shortest interval of what comes out.
Inputs are independent.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from shared.updates import Floats

Model = Callable[[Mapping[str, Floats]], Floats]
"""From arrays of inputs by name, all of one shape, to an array of results."""


class Distribution(StrEnum):
    """A distribution; `width` means its standard deviation, or its half width."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    ARCSINE = "arcsine"


_WIDTH_OVER_DEVIATION = {
    Distribution.NORMAL: 1.0,
    Distribution.RECTANGULAR: math.sqrt(3.0),
    Distribution.TRIANGULAR: math.sqrt(6.0),
    Distribution.ARCSINE: math.sqrt(2.0),
}


@dataclass(frozen=True, slots=True)
class Input:
    """One input quantity of a model."""

    name: str
    shape: Distribution
    width: float
    """Standard deviation of a normal distribution, half width of any other; ≥ 0."""
    unit: str
    value: float = 0.0
    """Best estimate, the centre of the distribution."""
    text: str = ""
    """What it is, in a few words."""

    @property
    def standard(self) -> float:
        """Standard uncertainty, in `unit`."""
        return self.width / _WIDTH_OVER_DEVIATION[self.shape]

    def draw(self, rng: np.random.Generator, count: int) -> Floats:
        """`count` values from the distribution, shape (count,)."""
        if self.shape is Distribution.NORMAL:
            parts = rng.standard_normal(count)
        elif self.shape is Distribution.RECTANGULAR:
            parts = rng.uniform(-1.0, 1.0, count)
        elif self.shape is Distribution.TRIANGULAR:
            parts = rng.triangular(-1.0, 0.0, 1.0, count)
        else:
            parts = np.sin(rng.uniform(-math.pi, math.pi, count))
        return self.value + self.width * parts


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one input adds to the uncertainty of the result."""

    input: Input
    sensitivity: float
    """Change of the result per unit of the input; 0 for an input without uncertainty."""
    standard: float
    """Standard uncertainty that it gives the result, ≥ 0, in the result's unit."""


@dataclass(frozen=True, slots=True)
class Combined:
    """Result of the law of propagation."""

    value: float
    contributions: tuple[Contribution, ...]

    @property
    def standard(self) -> float:
        """Combined standard uncertainty."""
        return math.sqrt(math.fsum(each.standard**2 for each in self.contributions))

    def expanded(self, coverage_factor: float = 2.0) -> float:
        return coverage_factor * self.standard


@dataclass(frozen=True, slots=True)
class Simulated:
    """Result of the propagation of distributions."""

    draws: int
    value: float
    """Mean of the results."""
    standard: float
    """Standard deviation of the results."""
    interval: tuple[float, float]
    """Shortest interval that holds 95 % of them."""
    covered: float
    """Part of the results within value ± expanded uncertainty of a law of propagation."""


def propagate(model: Model, inputs: Sequence[Input]) -> Combined:
    """Law of propagation of uncertainty, first order, independent inputs."""
    count = len(inputs)
    points: dict[str, Floats] = {}
    for index, each in enumerate(inputs):
        column = np.full(2 * count + 1, each.value)
        column[2 * index + 1] += each.standard
        column[2 * index + 2] -= each.standard
        points[each.name] = column
    results = model(points)
    contributions = []
    for index, each in enumerate(inputs):
        signed = float(results[2 * index + 1] - results[2 * index + 2]) / 2.0
        sensitivity = signed / each.standard if each.standard > 0.0 else 0.0
        contributions.append(Contribution(each, sensitivity, abs(signed)))
    return Combined(float(results[0]), tuple(contributions))


def monte_carlo(
    model: Model,
    inputs: Sequence[Input],
    against: Combined,
    draws: int = 100_000,
    seed: int = 1,
) -> Simulated:
    """Propagation of distributions by `draws` random draws; same seed, same result."""
    rng = np.random.default_rng(seed)
    results = model({each.name: each.draw(rng, draws) for each in inputs})
    results = np.sort(results[~np.isnan(results)])
    held = max(round(0.95 * len(results)), 1)
    widths = results[held - 1 :] - results[: len(results) - held + 1]
    first = int(np.argmin(widths))
    inside = np.abs(results - against.value) <= against.expanded()
    return Simulated(
        draws=draws,
        value=float(results.mean()),
        standard=float(results.std(ddof=1)),
        interval=(float(results[first]), float(results[first + held - 1])),
        covered=float(inside.sum()) / draws,
    )
