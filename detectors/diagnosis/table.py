"""The shape of the tables: causes, what speaks for them, how strongly, and what checks show.

A table is a flat tuple of rows, one a line: a head, such as a `Sign`, and under it its rows, such
as a `Given` for each cause. They are Python, not TOML: mypy refuses a cause or family that does not
exist before anything runs, and they load in 2 ms, where parsing alone would take 16.

Every number is judgement, calibrated as a whole on simulated cases (`rank.TEMPERATURE`). Beside it
stands a reason, and what the reason rests on:

    TRADE      common practice of the trade, without a published source
    JUDGEMENT  ours
    PHYSICS    derived from the chain here; it says which way, never how often
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, TypeVar

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
class Prior:
    """How often a cause is behind a fault, before anything is known, and why."""

    cause: Candidate
    weight: float
    reason: str
    basis: Basis = JUDGEMENT


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
    given: tuple[Given, ...] = ()

    def likelihood(self, cause: Candidate) -> float:
        """P(this fact is seen | cause)."""
        if cause is None:
            return self.unknown
        return next((row.likelihood for row in self.given if row.cause is cause), self.otherwise)


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
    modifiers: tuple[Modifier, ...] = ()

    def factor(self, cause: Candidate) -> float:
        return next((row.factor for row in self.modifiers if row.cause is cause), 1.0)


Head = TypeVar("Head", Sign, ChainSign)


def blocks(rows: Iterable[object], head: type[Head]) -> Iterator[tuple[Head, list[Any]]]:
    """Heads of a flat table, each with the rows under it.

    ValueError for a name that stands twice, or a cause that stands twice under one head.
    """
    found: dict[str, tuple[Head, list[Any]]] = {}
    name = ""
    for row in rows:
        if isinstance(row, head):
            name = row.name
            if name in found:
                raise ValueError(f"'{name}' stands twice in the table")
            found[name] = row, []
        else:
            found[name][1].append(row)
    for name, (_, under) in found.items():
        causes = [row.cause for row in under if hasattr(row, "cause")]
        if len(causes) > len(set(causes)):
            raise ValueError(f"a cause stands twice under '{name}'")
    return iter(found.values())


def words_of(cause: Candidate) -> str:
    """A cause in plain words."""
    return "unknown" if cause is None else cause.value.replace("-", " ")
