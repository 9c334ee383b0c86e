"""The check worth doing next: most information for its minutes, and never unsafe first."""

import math
from collections.abc import Iterable

from detectors.diagnosis.checks import fitting
from detectors.diagnosis.rank import Odds, Weighed
from detectors.diagnosis.table import (
    CANDIDATES,
    OTHERS,
    Candidate,
    CheckForm,
    Risk,
    Scene,
    words_of,
)
from shared.events import Check

WORTH_BITS = 0.05
"""Information below which a safer check is no reason to put off one near heat or mains."""
SPLITS = 0.3
"""Least distance between the outcomes under the two leading causes."""
RIVAL = 0.1
"""A second cause this likely is worth splitting from the first."""
SURE = 0.85
"""From here on the question is no longer which cause, but whether it is this one."""
NAMED = 2
LEADS = 0.15
POINTS = 1.1
"""An outcome that raises a cause's odds this far, to this probability, points to it."""
FITS = 0.3
"""And is, under this cause, at least this share as likely as under the one it fits best."""
OWN = 2.0
"""An outcome this many times likelier than under most causes is a cause's own."""


def information_bits(form: CheckForm, odds: Odds) -> float:
    """Expected fall of the entropy over the causes, in bits, when the check is answered."""
    return sum(chance * _divergence_bits(after, odds) for chance, after in _answers(form, odds))


def next_check(odds: Odds, scene: Scene) -> CheckForm | None:
    """The check to do next; None when none is left.

    A cause that leads by far is put to the test. Where two causes lead, it is a check
    that tells them apart, if there is one. Checks near heat or mains come only when no
    other check would tell enough.
    """
    leading = max(odds, key=lambda cause: odds[cause])
    if odds[leading] >= SURE:
        return telling_check(leading, odds, scene)
    rated = [(form, information_bits(form, odds)) for form in fitting(scene)]
    return _best(_splitting(rated, odds))


def telling_check(cause: Candidate, odds: Odds, scene: Scene) -> CheckForm | None:
    """The check that tells most on whether it is this cause or any other."""
    return _best([(form, _about_bits(form, odds, cause)) for form in fitting(scene)])


def _best(rated: list[tuple[CheckForm, float]]) -> CheckForm | None:
    """Most information per minute, the unsafe ones last."""
    safe = [pair for pair in rated if pair[0].risk < Risk.HEAT_OR_MAINS]
    if any(bits >= WORTH_BITS for _, bits in safe):
        rated = safe
    if not rated:
        return None
    form, _ = max(rated, key=lambda pair: (pair[1] / pair[0].effort_min, pair[0].name))
    return form


def answered(form: CheckForm, outcome: str) -> Weighed:
    """An outcome as evidence. ValueError for an outcome that the check does not have."""
    place = form.place(outcome)
    if place is None:
        raise ValueError(f"check '{form.name}' has no outcome '{outcome}'")
    words = f"{form.name}: {form.outcomes[place].words}"
    log = {cause: math.log(form.likelihoods(cause)[place]) for cause in CANDIDATES}
    return Weighed(words, log)


def as_check(form: CheckForm, odds: Odds) -> Check:
    """The check as a person is told of it, with what each outcome would mean now."""
    meanings = [
        f"{outcome.words} → {meaning}"
        for place, outcome in enumerate(form.outcomes)
        if (meaning := _meaning(form, place, odds))
    ]
    return Check(
        name=form.name,
        do=form.do,
        look_for="; ".join(meanings),
        effort_min=form.effort_min,
        tools="" if form.tools == "none" else form.tools,
        caution=form.caution,
    )


def _splitting(rated: list[tuple[CheckForm, float]], odds: Odds) -> list[tuple[CheckForm, float]]:
    """Where two causes lead, only the checks that tell them apart; all where none does."""
    first, second = sorted(odds, key=lambda cause: -odds[cause])[:2]
    if odds[second] < RIVAL:
        return rated
    apart = [pair for pair in rated if _distance(pair[0], first, second) >= SPLITS]
    return apart or rated


def _distance(form: CheckForm, one: Candidate, other: Candidate) -> float:
    """Total variation between the outcomes under two causes, 0…1."""
    pairs = zip(form.likelihoods(one), form.likelihoods(other), strict=True)
    return 0.5 * sum(abs(a - b) for a, b in pairs)


def _about_bits(form: CheckForm, odds: Odds, cause: Candidate) -> float:
    """Information on whether it is this one cause or any other, in bits."""
    before = odds[cause]
    return sum(
        chance * (_bits(after[cause], before) + _bits(1.0 - after[cause], 1.0 - before))
        for chance, after in _answers(form, odds)
    )


def _bits(after: float, before: float) -> float:
    return after * math.log2(after / before) if after > 0.0 and before > 0.0 else 0.0


def _answers(form: CheckForm, odds: Odds) -> Iterable[tuple[float, dict[Candidate, float]]]:
    """Chance of each outcome, and the probabilities after it."""
    rows = {cause: form.likelihoods(cause) for cause in odds}
    for place in range(len(form.outcomes)):
        chance = sum(odds[cause] * rows[cause][place] for cause in odds)
        yield chance, {cause: odds[cause] * rows[cause][place] / chance for cause in odds}


def _divergence_bits(after: Odds, before: Odds) -> float:
    return sum(_bits(value, before[cause]) for cause, value in after.items())


def _meaning(form: CheckForm, place: int, odds: Odds) -> str:
    """What an outcome says: the causes that it points to, else those it speaks against.

    A cause is pointed to where the outcome raises it and fits it about as well as any.
    Empty for an outcome that would leave the ranking as it is: it is not worth a word.
    """
    fits = {cause: form.likelihoods(cause)[place] for cause in odds}
    best = max(fits.values())
    chance = sum(odds[cause] * fits[cause] for cause in odds)
    after = {cause: odds[cause] * fits[cause] / chance for cause in odds}
    moved = {cause: _odds(after[cause]) / _odds(odds[cause]) for cause in odds}
    raised = [
        cause
        for cause in sorted(odds, key=lambda cause: (-after[cause], cause or "~"))
        if moved[cause] > POINTS and fits[cause] >= FITS * best
    ]
    leading = [cause for cause in raised if after[cause] >= LEADS]
    # A cause that hardly anybody thinks of now, but that just this outcome would speak for.
    named = leading or [
        cause for cause in raised if fits[cause] > OWN * form.chances[OTHERS][place]
    ]
    if named:
        return " or ".join(words_of(cause) for cause in named[:NAMED])
    before = sorted(odds, key=lambda cause: (-odds[cause], cause or "~"))[:NAMED]
    lowered = [cause for cause in before if odds[cause] >= LEADS and moved[cause] < 1.0 / POINTS]
    return f"less likely {' or '.join(words_of(cause) for cause in lowered)}" if lowered else ""


def _odds(probability: float) -> float:
    return probability / max(1.0 - probability, 1e-12)
