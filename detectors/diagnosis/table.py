"""The shape of the tables: causes, what speaks for them, how strongly, and what checks show.

A table is a flat tuple of rows, one a line: a head, such as a `Sign`, and under it its rows, such
as a `Weight` for each cause. They are Python and not TOML: mypy refuses a cause or family that
does not exist before anything runs, and they load in 2 ms, where parsing alone would take 15.

Every number is judgement, calibrated as a whole on simulated cases (`rank.TEMPERATURE`). Beside it
stands a reason, and what the reason rests on:

    TRADE      common practice of the trade, without a published source
    JUDGEMENT  ours
    PHYSICS    derived from the chain here; it says which way, never how often
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from enum import IntEnum, StrEnum
from typing import Any, Final, Literal, TypeVar

import msgspec
from msgspec.structs import replace

from shared.chain import UNTOLD, Chain
from shared.words import Cause, Kind

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

    SHAPE = "shape"  # what the reading did
    WHEN = "when"  # in which phase, at which place, with what
    FLAGS = "flags"  # what the converter said
    WORDS = "words"  # what the host said
    WHERE = "where"  # which channels


class Weight(msgspec.Struct, frozen=True):
    """What one cause has in a table, and why.

    In priors: how often it is behind a fault; under a sign: how likely that is seen when it is at
    work; under a chain fact: by what its prior is multiplied.
    """

    cause: Candidate
    number: float
    reason: str
    basis: Basis = JUDGEMENT


class Sign(msgspec.Struct, frozen=True):
    """A fact that evidence can yield, and how likely it is under each cause.

    `otherwise` holds for causes that are not listed: the fact came about for another
    reason at the same time. `unknown` holds for a cause that the table does not know.
    """

    name: str
    family: Family
    otherwise: float
    unknown: float
    given: tuple[Weight, ...] = ()

    def likelihood(self, cause: Candidate) -> float:
        """P(this fact is seen | cause)."""
        default = self.unknown if cause is None else self.otherwise
        return next((row.number for row in self.given if row.cause is cause), default)


class ChainSign(msgspec.Struct, frozen=True):
    """A chain fact that bears on the priors."""

    name: str
    given: tuple[Weight, ...] = ()

    def factor(self, cause: Candidate) -> float:
        return next((row.number for row in self.given if row.cause is cause), 1.0)


class Risk(IntEnum):
    """What a check brings a person near to."""

    LOOK = 0  # nothing is opened or touched
    TOUCH = 1  # low voltage, switched off or cold
    HEAT_OR_MAINS = 2  # a heater is switched, or parts can burn or carry the mains


LOOK, TOUCH, HEAT_OR_MAINS = Risk


class Blank(msgspec.Struct, frozen=True):
    """Words that a check takes from the chain, where its text has {name}.

    `of` gives them, or None where the chain does not tell enough; `usual` stands then, and
    where no chain is meant, as on a page for everybody. Without the words of a chain a check
    `needs`, it is not proposed.
    """

    name: str
    usual: str
    of: Callable[[Chain], str | None]
    needs: bool = False


class Caution(msgspec.Struct, frozen=True):
    """What to mind in a check."""

    words: str


class Outcome(msgspec.Struct, frozen=True):
    """What may come out of a check, and how a person would say it."""

    name: str
    words: str


OTHERS: Final = "others"
Under = Candidate | Literal["others"]
"""One cause, or all that a check has no row for."""


class Chances:
    """Probabilities of the outcomes, in their order, under one cause."""

    def __init__(self, cause: Under, *each: float) -> None:
        self.cause, self.each = cause, each


FLOOR = 0.02
"""No answer is certain: people mistake terminals, and faults hide for a while."""
MEASURED = "measure-cold-ohms"
"""What a lead that stands open needs before it is bent."""


class Scene(msgspec.Struct, frozen=True):
    """What a check is chosen for: the channel's chain, what it has shown, what was done."""

    chain: Chain = UNTOLD
    channels: int = 1
    kinds: Collection[Kind] = ()
    done: Collection[str] = ()
    is_open: bool = False
    """Whether the input stands open now."""
    signs: Collection[str] = ()
    """Names of the facts that were drawn."""

    @property
    def runs_away(self) -> bool:
        """Whether a heater is on by itself."""
        return Kind.RISE_UNPOWERED in self.kinds


class CheckForm(msgspec.Struct, frozen=True):
    """A check of the catalogue; the rows under its head give it all from `do` on."""

    name: str
    effort_min: float
    tools: str
    risk: Risk
    changes: bool = False
    """Whether it is a change that needs running on to show."""
    powered: bool = False
    """Whether the machine is on for it."""
    heats: bool = False
    """Whether it has a heater on."""
    bends: bool = False
    """Whether leads are bent, which may close one that has parted: measure it first."""
    needs_channels: int = 1
    """Least number of channels that it needs."""
    only_after: Kind | None = None
    """Proposed only where this was seen."""
    only_with: Collection[str] = ()
    """Proposed only where one of these facts was drawn."""
    do: str = ""
    caution: str = ""
    blank: Blank | None = None
    outcomes: tuple[Outcome, ...] = ()
    chances: Mapping[Under, tuple[float, ...]] = {}

    def told(self, chain: Chain = UNTOLD) -> "CheckForm":
        """This check in the words of a chain."""
        if self.blank is None:
            return self
        words = self.blank.of(chain) or self.blank.usual
        return replace(self, do=self.do.format(**{self.blank.name: words}), blank=None)

    def fits(self, scene: Scene) -> bool:
        """Whether it may be proposed."""
        return (
            self.name not in scene.done
            and self.needs_channels <= scene.channels
            and (self.only_after is None or self.only_after in scene.kinds)
            and (not self.only_with or not set(self.only_with).isdisjoint(scene.signs))
            and self.may_run(scene)
            and not (self.bends and scene.is_open and MEASURED not in scene.done)
            and not (self.blank and self.blank.needs and not self.blank.of(scene.chain))
        )

    def may_run(self, scene: Scene) -> bool:
        """Only with the plug pulled, where a heater is on by itself, or if made for just that."""
        is_on = self.powered or self.heats or self.changes
        return not scene.runs_away or not is_on or self.only_after is Kind.RISE_UNPOWERED

    def likelihoods(self, cause: Candidate) -> tuple[float, ...]:
        """P(outcome | cause) for every outcome; sums to 1, none below `FLOOR` by much."""
        row = self.chances.get(cause, self.chances[OTHERS])
        raised = [max(value, FLOOR) for value in row]
        total = sum(raised)
        return tuple(value / total for value in raised)


Head = TypeVar("Head", Sign, ChainSign, CheckForm)


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
