"""The shape of a check: what to do, what can come out, how likely under each cause."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from enum import IntEnum

from detectors.diagnosis.table import Candidate
from shared.chain import UNTOLD, Chain
from shared.words import Cause, Kind

FLOOR = 0.02
"""No answer is certain: people mistake terminals, and faults hide for a while."""

OFF = "Power off and unplug before you touch wiring; let it cool."
STATIC = "Touch earthed metal before a board."
"""A charge that nobody feels destroys a converter."""
MAINS = "Mains: only someone licensed, by the local code."
LOW_VOLTAGE = f"Touch low voltage only. {MAINS}"
OUTSIDE = "Machine on: stay outside a housing with mains in it."
AT_THE_SWITCH = "One hand at the mains switch: off after 15 s (bed: 60 s) without a rise."
"""15 s and 60 s outlast a sensor's dead time and lag, and end before a block glows: judgement.
A whole caution fits three lines of a screen of 80 columns: see the tests."""
MEASURED = "measure-cold-ohms"
"""What a lead that stands open needs before it is bent."""
RUN_ON = "Watch the first heat-up beside the machine, a hand at the mains switch; then run on."
"""After each change that may have made the reading wrong."""


class Risk(IntEnum):
    """What a check brings a person near to."""

    LOOK = 0
    """Nothing is opened or touched."""
    TOUCH = 1
    """Low voltage, switched off or cold."""
    HEAT_OR_MAINS = 2
    """A heater is switched, or parts can burn or carry the mains."""


@dataclass(frozen=True, slots=True)
class Blank:
    """Words that a check takes from the chain.

    `of` gives them, or None where the chain does not tell enough; `usual` stands then, and
    where no chain is meant, as on a page for everybody. Without the words of a chain a check
    `needs`, it is not proposed.
    """

    usual: str
    of: Callable[[Chain], str | None]
    needs: bool = False


@dataclass(frozen=True, slots=True)
class Scene:
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
    unknown one (None: the same). `changes` marks a change that needs running on to show,
    `heats` a check that has a heater on. `do` may have {names} of `blanks`.
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
    powered: bool = False
    """Whether the machine is on for it."""
    heats: bool = False
    bends: bool = False
    """Whether leads are bent, which may close one that has parted: measure it first."""
    only_after: Kind | None = None
    """Proposed only where this was seen."""
    only_with: frozenset[str] = frozenset()
    """Proposed only where one of these facts was drawn."""
    blanks: Mapping[str, Blank] = field(default_factory=dict)

    def told(self, chain: Chain = UNTOLD) -> "CheckForm":
        """This check in the words of a chain."""
        words = {name: blank.of(chain) or blank.usual for name, blank in self.blanks.items()}
        return replace(self, do=self.do.format(**words), blanks={}) if words else self

    def fits(self, scene: Scene) -> bool:
        """Whether it may be proposed."""
        return (
            self.name not in scene.done
            and self.needs_channels <= scene.channels
            and (self.only_after is None or self.only_after in scene.kinds)
            and (not self.only_with or not self.only_with.isdisjoint(scene.signs))
            and self.may_run(scene)
            and not (self.bends and scene.is_open and MEASURED not in scene.done)
            and all(blank.of(scene.chain) for blank in self.blanks.values() if blank.needs)
        )

    def likelihoods(self, cause: Candidate) -> tuple[float, ...]:
        """P(outcome | cause) for every outcome; sums to 1, none below `FLOOR` by much."""
        if cause is None:
            row = self.unknown or self.otherwise
        else:
            row = self.given.get(cause, self.otherwise)
        raised = [max(value, FLOOR) for value in row]
        total = sum(raised)
        return tuple(value / total for value in raised)

    def may_run(self, scene: Scene) -> bool:
        """Only with the plug pulled, where a heater is on by itself, or if made for just that."""
        is_on = self.powered or self.heats or self.changes
        return not scene.runs_away or not is_on or self.only_after is Kind.RISE_UNPOWERED

    def place(self, outcome: str) -> int | None:
        """Place of an outcome by its name; None when there is none of this name."""
        names = [each.name for each in self.outcomes]
        return names.index(outcome) if outcome in names else None
