"""The shape of the cause table: causes, what speaks for them, and how strongly.

`causes.py` holds the priors and what chain facts do to them, `signs_reading.py`,
`signs_heat.py` and `signs_context.py` how likely each fact is to be seen under each cause.
Every number is judgement, calibrated as a whole on simulated cases (`rank.TEMPERATURE`).
Beside it stands a reason, and what the reason rests on:

    TRADE      common practice of the trade, without a published source
    JUDGEMENT  ours
    PHYSICS    derived from the chain here; it says which way, never how often
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from shared.words import Cause

Candidate = Cause | None
"""A cause; None is the unknown one."""

CANDIDATES: tuple[Candidate, ...] = (*Cause, None)


class Basis(StrEnum):
    """What the reason beside a number rests on; the number itself is judgement."""

    TRADE = "common practice of the trade"
    JUDGEMENT = "judgement"
    PHYSICS = "physics, derived here"


TRADE, JUDGEMENT, PHYSICS = Basis.TRADE, Basis.JUDGEMENT, Basis.PHYSICS


class Family(StrEnum):
    """Facts of one family say partly the same; only the first of them counts fully."""

    SHAPE = "shape"
    """What the reading did."""
    WHEN = "when"
    """In which phase, at which place, with what."""
    FLAGS = "flags"
    """What the converter said."""
    WORDS = "words"
    """What the host said."""
    WHERE = "where"
    """Which channels."""


@dataclass(frozen=True, slots=True)
class Given:
    """Likelihood of a fact under one cause, with the reason for the number."""

    cause: Cause
    likelihood: float
    reason: str
    basis: Basis = JUDGEMENT


@dataclass(frozen=True, slots=True)
class Sign:
    """A fact that evidence can yield, and how likely it is under each cause.

    `otherwise` holds for causes that are not listed: the fact came about for another
    reason at the same time. `unknown` holds for a cause that the table does not know.
    """

    name: str
    family: Family
    otherwise: float
    unknown: float
    given: tuple[Given, ...]

    def likelihood(self, cause: Candidate) -> float:
        """P(this fact is seen | cause)."""
        if cause is None:
            return self.unknown
        return next((row.likelihood for row in self.given if row.cause is cause), self.otherwise)


@dataclass(frozen=True, slots=True)
class Prior:
    """How often a cause is behind a fault, before anything is known, and why."""

    cause: Candidate
    weight: float
    reason: str
    basis: Basis = JUDGEMENT


@dataclass(frozen=True, slots=True)
class Modifier:
    """What a chain fact does to a prior."""

    cause: Cause
    factor: float
    reason: str
    basis: Basis = JUDGEMENT


@dataclass(frozen=True, slots=True)
class ChainSign:
    """A chain fact that bears on the priors."""

    name: str
    modifiers: tuple[Modifier, ...]

    def factor(self, cause: Candidate) -> float:
        return next((row.factor for row in self.modifiers if row.cause is cause), 1.0)


def by_name(signs: Iterable[Sign]) -> Mapping[str, Sign]:
    """Signs by their names; ValueError when a name is given twice."""
    found: dict[str, Sign] = {}
    for sign in signs:
        if sign.name in found:
            raise ValueError(f"sign '{sign.name}' stands twice in the table")
        found[sign.name] = sign
    return found


def words_of(cause: Candidate) -> str:
    """A cause in plain words."""
    return "unknown" if cause is None else cause.value.replace("-", " ")
