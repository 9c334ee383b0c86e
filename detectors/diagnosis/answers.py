"""What a person answered to a check, and what came of a change: evidence as well."""

import math
from collections.abc import Iterable, Sequence
from itertools import chain

import msgspec

from detectors.diagnosis.checks import CATALOGUE
from detectors.trials.compared import TrialOutcome
from detectors.trials.counted import KindTrial


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """Outcome of a check on a channel; names are of `checks.CATALOGUE`."""

    channel: str
    check: str
    outcome: str


def newest_answers(said: Iterable[Iterable[Answer]]) -> tuple[Answer, ...]:
    """Of answers in their order, also over several logs, the last to each check on a channel."""
    found: dict[tuple[str, str], Answer] = {}
    for answer in chain.from_iterable(said):
        found.pop((answer.channel, answer.check), None)
        found[answer.channel, answer.check] = answer
    return tuple(found.values())


def answers_of(trials: Iterable[KindTrial], answers: Iterable[Answer] = ()) -> tuple[Answer, ...]:
    """What trials of a change that is a check of the catalogue have shown so far.

    Faults that were there before count. A check that is among `answers` counts once, by
    that; one for which it is too early says nothing.
    """
    answered = {(answer.channel, answer.check) for answer in answers}
    by_change: dict[tuple[str, str], list[KindTrial]] = {}
    for one in trials:
        form = CATALOGUE.get(one.change)
        is_first = one.outcome in (TrialOutcome.FIRST, TrialOutcome.NO_FAULT)
        if form is None or not form.changes or is_first or one.ratio == math.inf:
            continue
        if (one.channel, one.change) not in answered:
            by_change.setdefault((one.channel, one.change), []).append(one)
    return tuple(
        Answer(channel=channel, check=change, outcome=outcome)
        for (channel, change), ones in by_change.items()
        if (outcome := _outcome(ones))
    )


def _outcome(ones: Sequence[KindTrial]) -> str:
    """Outcome of the check, over the kinds of fault; empty while it is too early."""
    outcomes = [one.outcome for one in ones]
    if TrialOutcome.TOO_EARLY in outcomes:
        return ""
    if all(outcome is TrialOutcome.BETTER for outcome in outcomes):
        return "gone" if not any(one.count for one in ones) else "fewer"
    return "fewer" if TrialOutcome.BETTER in outcomes else "same"
