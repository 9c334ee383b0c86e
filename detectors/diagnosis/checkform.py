"""The shape of a check: what to do, what can come out, how likely under each cause."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum

from detectors.diagnosis.table import Candidate
from shared.words import Cause

FLOOR = 0.02
"""No answer is certain: people mistake terminals, and faults hide for a while."""

OFF = "Power off and unplug before you touch wiring; let it cool."
MAINS = "Mains: only someone licensed, by the local code."
LOW_VOLTAGE = f"Touch low voltage only. {MAINS}"
"""A whole caution fits three lines of a screen of 80 columns: see the tests."""


class Risk(IntEnum):
    """What a check brings a person near to."""

    LOOK = 0
    """Nothing is opened or touched."""
    TOUCH = 1
    """Low voltage, switched off or cold."""
    HEAT_OR_MAINS = 2
    """Parts that can burn or carry the mains."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What may come out of a check, and how a person would say it."""

    name: str
    words: str


GONE_FEWER_SAME = (
    Outcome("gone", "the fault is gone"),
    Outcome("fewer", "it comes less often or smaller"),
    Outcome("same", "nothing changes"),
)
"""Outcomes of a change to the machine."""


@dataclass(frozen=True, slots=True)
class CheckForm:
    """A check of the catalogue.

    `given` holds, for each cause that the check can tell, the probabilities of the
    outcomes in their order; `otherwise` holds for all other causes, `unknown` for the
    unknown one (None: the same). `changes` marks a change that needs running on to show.
    """

    name: str
    do: str
    effort_min: float
    tools: str
    risk: Risk
    caution: str
    outcomes: tuple[Outcome, ...]
    otherwise: tuple[float, ...]
    given: Mapping[Cause, tuple[float, ...]] = field(default_factory=dict)
    unknown: tuple[float, ...] | None = None
    changes: bool = False
    needs_channels: int = 1
    """Least number of channels that it needs."""

    def likelihoods(self, cause: Candidate) -> tuple[float, ...]:
        """P(outcome | cause) for every outcome; sums to 1, none below `FLOOR` by much."""
        if cause is None:
            row = self.unknown or self.otherwise
        else:
            row = self.given.get(cause, self.otherwise)
        raised = [max(value, FLOOR) for value in row]
        total = sum(raised)
        return tuple(value / total for value in raised)

    def place(self, outcome: str) -> int | None:
        """Place of an outcome by its name; None when there is none of this name."""
        names = [each.name for each in self.outcomes]
        return names.index(outcome) if outcome in names else None
