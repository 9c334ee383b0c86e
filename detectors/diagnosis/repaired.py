"""What the latest trials say of a repair: proven, too early to say, or not repaired.

A fault is repaired where the trial after the change is better than the one before and no
fault has come in it (`detectors.trials.compared`), and stays so while further changes bring none
back. Severities are the status categories of NAMUR NE 107: a proven repair needs nothing; a
reading that is right again but may not stay so asks for maintenance.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum, auto

from detectors.trials.compared import TrialOutcome
from detectors.trials.counted import KindTrial, hours_words, rate_per_h
from shared.words import EVERY_CHANNEL, Kind


class Repair(Enum):
    """How it stands with one fault."""

    PROVEN = auto()
    EARLY = auto()
    """None since the change, for too short a time."""
    NOT = auto()


@dataclass(frozen=True, slots=True)
class Repairs:
    """How it stands with every fault that trials have counted."""

    by_kind: dict[tuple[str, Kind], tuple[Repair, str]]
    """State and words, by channel and kind; a kind that is a view of another has its words."""

    def of(self, channel: str, kind: Kind) -> Repair:
        return self.by_kind.get((channel, kind), (Repair.NOT, ""))[0]

    def of_channel(self, channel: str) -> Repair:
        """The least that any fault of the channel comes to."""
        found = [state for (name, _), (state, _) in self.by_kind.items() if name == channel]
        if not found or Repair.NOT in found:
            return Repair.NOT
        return Repair.EARLY if Repair.EARLY in found else Repair.PROVEN

    def without(self, kind: Kind) -> "Repairs":
        return Repairs({key: told for key, told in self.by_kind.items() if key[1] is not kind})

    def words(self, state: Repair) -> list[str]:
        return list(dict.fromkeys(words for one, words in self.by_kind.values() if one is state))


def repairs_of(trials: Iterable[KindTrial]) -> Repairs:
    """How it stands, from trials in their order."""
    ones: dict[tuple[str, Kind], list[KindTrial]] = {}
    for one in trials:
        ones.setdefault((one.channel, one.kind), []).append(one)
    found: dict[tuple[str, Kind], tuple[Repair, str]] = {}
    for (channel, kind), of in ones.items():
        told = _told(of)
        for each in (kind, *of[-1].also):
            found[channel, each] = told
    return Repairs(found)


def _told(ones: Sequence[KindTrial]) -> tuple[Repair, str]:
    at = len(ones) - 1
    while at > 0 and ones[at].outcome is TrialOutcome.NO_FAULT:
        at -= 1
    last = ones[at]
    if at == 0 or last.count or last.outcome not in (TrialOutcome.BETTER, TrialOutcome.TOO_EARLY):
        return Repair.NOT, ""
    place = "all channels" if last.channel == EVERY_CHANNEL else last.channel
    before = rate_per_h(ones[at - 1])
    none = f"0 {last.kind} in {hours_words(last.hours)} {last.state} against {before} before"
    if last.outcome is TrialOutcome.BETTER:
        chance = "" if last.p is None else f", p {last.p:.2g}"
        return Repair.PROVEN, f"{place} repaired by “{last.name}”: {none}{chance}"
    more = "" if last.further_h is None else f"; {hours_words(last.further_h)} more without a fault"
    return Repair.EARLY, f"{place}, too early to call “{last.name}” a repair: {none}{more}"
