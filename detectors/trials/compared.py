"""Two trials held against each other: better, worse, or too early?

The exact conditional test, one-sided at 95 %. Faults that come in clusters tell less than
their number: where counts in equal parts of the exposure scatter more than chance would
have them, the test counts that much fewer faults (quasi-likelihood; McCullagh and Nelder
1989, from memory). And nobody is told that a fault is gone before it has been quiet for
longer than it ever was before.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import NamedTuple

from detectors.chance.rates import compare_rates, fewer_p, further_quiet

LEVEL = 0.95
HALVED = 0.5
"""A change that leaves more than half of the faults, for sure, has changed nothing."""
PARTS = (4, 8, 16)
"""Numbers of equal parts of the exposure in which clusters show."""
LEAST_A_PART = 2.0
"""Faults a part, on average, for its scatter to tell."""
SCATTER_Z = 1.645
"""One-sided 95 %."""


class TrialOutcome(StrEnum):
    """What a trial says of one kind of fault."""

    FIRST = "first"
    """Nothing to hold it against."""
    BETTER = "better"
    WORSE = "worse"
    TOO_EARLY = "too early"
    NO_CHANGE = "no change seen"
    NO_FAULT = "no fault"
    """None before, none since."""


@dataclass(frozen=True, slots=True)
class Exposed:
    """Hours of exposure, and the hours into it at which each fault came, in order."""

    hours: float
    at_h: Sequence[float]

    @property
    def count(self) -> int:
        return len(self.at_h)


class Compared(NamedTuple):
    """What the later of two trials says."""

    outcome: TrialOutcome
    further_h: float | None
    """Further hours without a fault until `better`; None where no hours would do or none need."""
    scatter: float
    """By how much the test divided counts, 1 or more."""


def compare(before: Exposed, after: Exposed) -> Compared:
    """Hold a trial against the one before, which has hours above 0."""
    divisor = max(scatter(before), scatter(after))
    if after.hours <= 0.0:
        further = _further_h(before, after, divisor)
        return Compared(TrialOutcome.TOO_EARLY, _finite(further), divisor)
    outcome, further_h = _outcome(before, after, divisor)
    return Compared(outcome, further_h, divisor)


def _outcome(before: Exposed, after: Exposed, divisor: float) -> tuple[TrialOutcome, float | None]:
    if not before.count and not after.count:
        return TrialOutcome.NO_FAULT, None
    first, second = _effective(before.count, divisor), _effective(after.count, divisor)
    if fewer_p(second, after.hours, first, before.hours) < 1.0 - LEVEL:
        return TrialOutcome.WORSE, None
    further = _further_h(before, after, divisor)
    if further == 0.0:
        return TrialOutcome.BETTER, None
    if second:
        # Twice the tail: the lower limit alone is then sure to 95 %.
        bounds = compare_rates(second, after.hours, max(first, 1), before.hours, 2 * LEVEL - 1)
        if bounds.low > HALVED:
            return TrialOutcome.NO_CHANGE, None
    return TrialOutcome.TOO_EARLY, _finite(further)


def _finite(hours: float) -> float | None:
    return hours if math.isfinite(hours) else None


def _effective(count: int, divisor: float) -> int:
    """Faults that count as independent; one that came is never none."""
    return max(int(count / divisor), 1) if count else 0


def _further_h(before: Exposed, after: Exposed, divisor: float) -> float:
    first, second = _effective(before.count, divisor), _effective(after.count, divisor)
    further = further_quiet(first, before.hours, second, after.hours, LEVEL)
    if after.count == 0 and before.count:
        # It has been as quiet before without any change.
        further = max(further, _longest_quiet_h(before) - after.hours)
    return further


def _longest_quiet_h(trial: Exposed) -> float:
    """Longest exposure without a fault between two faults, or before the first."""
    edges = [0.0, *trial.at_h]
    return max((later - earlier for earlier, later in pairwise(edges)), default=0.0)


def scatter(trial: Exposed) -> float:
    """Variance over mean of the counts in equal parts of the exposure, where it is above 1
    by more than chance (χ² at 95 %)."""
    worst = 1.0
    for parts in PARTS:
        if trial.hours <= 0.0 or trial.count < LEAST_A_PART * parts:
            break
        counts = [0] * parts
        for at_h in trial.at_h:
            counts[min(int(at_h / trial.hours * parts), parts - 1)] += 1
        mean = trial.count / parts
        reduced = sum((count - mean) ** 2 for count in counts) / (parts - 1) / mean
        if _chi_square_z(reduced, parts - 1) > SCATTER_Z:
            worst = max(worst, reduced)
    return worst


def _chi_square_z(reduced: float, freedom: int) -> float:
    """Normal score of χ² over its degrees of freedom (Wilson and Hilferty 1931)."""
    ninth = 2.0 / (9.0 * freedom)
    return float((reduced ** (1.0 / 3.0) - (1.0 - ninth)) / math.sqrt(ninth))
