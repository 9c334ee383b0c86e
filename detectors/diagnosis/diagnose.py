"""From events to ranked causes, each with the check worth doing next.

That is the check with most information for its minutes, and never an unsafe one first.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from detectors.diagnosis.answers import Answer
from detectors.diagnosis.case import Case, cases
from detectors.diagnosis.checks import fitting, form_of
from detectors.diagnosis.evidence import facts_of
from detectors.diagnosis.rank import Odds, Weighed, evidence_of, odds_of, told, weighed
from detectors.diagnosis.table import (
    CANDIDATES,
    OTHERS,
    Candidate,
    CheckForm,
    Risk,
    Scene,
    words_of,
)
from shared.chain import UNTOLD, Chain
from shared.events import Check, Event, RankedCause
from shared.words import Kind

CHECKED_FROM = 0.02
"""Causes less likely than this get no check of their own."""
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


def diagnose(
    events: Sequence[Event],
    chains: Mapping[str, Chain],
    answers: Iterable[Answer] = (),
) -> tuple[RankedCause, ...]:
    """Causes of every channel that has something to explain, most likely first.

    Channels come with the worst severity first. The probabilities of one channel sum
    to 1 over all causes and the unknown one. Absorbed events are left out. BadInput for
    an answer that names no check, or no outcome, of the catalogue.
    """
    said = [(answer, form_of(answer.check, answer.outcome)) for answer in answers]
    found = cases(events, chains)
    found.sort(key=lambda case: (-max(event.severity.rank for event in case.events), case.channel))
    return tuple(
        ranked
        for case in found
        for ranked in _ranked(case, [pair for pair in said if pair[0].channel == case.channel])
    )


def _ranked(case: Case, answers: Sequence[tuple[Answer, CheckForm]]) -> Iterator[RankedCause]:
    facts = facts_of(case)
    evidence = evidence_of(case, facts)
    said = [_answered(form, answer.outcome) for answer, form in answers]
    odds = odds_of(evidence, said)
    scene = Scene(
        chain=case.chain or UNTOLD,
        channels=case.channels,
        kinds={event.kind for event in case.events},
        done={answer.check for answer, _ in answers},
        is_open=any(event.end_s is None for event in case.of(Kind.CODE_HIGH)),
        signs={fact.name for fact in facts},
    )
    for place, cause in enumerate(_ordered(CANDIDATES, odds)):
        form: CheckForm | None = None
        if place == 0:
            form = next_check(odds, scene)
        elif odds[cause] >= CHECKED_FROM:
            form = telling_check(cause, odds, scene)
        speaks, denies = told(cause, [*evidence, *said], odds)
        yield RankedCause(
            channel=case.channel,
            cause=cause,
            probability=odds[cause],
            evidence_for=speaks,
            evidence_against=denies,
            next_check=None if form is None else as_check(form, odds),
        )


def _answered(form: CheckForm, outcome: str) -> Weighed:
    """An outcome as evidence."""
    place = [each.name for each in form.outcomes].index(outcome)
    words = f"{form.name}: {form.outcomes[place].words}"
    return weighed(words, lambda cause: form.likelihoods(cause)[place])


def _ordered(causes: Iterable[Candidate], odds: Odds) -> list[Candidate]:
    """Most likely first, then by name."""
    return sorted(causes, key=lambda cause: (-odds[cause], cause or "~"))


def next_check(odds: Odds, scene: Scene) -> CheckForm | None:
    """The check to do next; None when none is left.

    A cause that leads by far is put to the test. Where two causes lead, it is a check
    that tells them apart, if there is one. Checks near heat or mains come only when no
    other check would tell enough.
    """
    first, second = sorted(odds, key=lambda cause: -odds[cause])[:2]
    if odds[first] >= SURE:
        return telling_check(first, odds, scene)
    forms = fitting(scene)
    if odds[second] >= RIVAL:
        forms = [form for form in forms if _distance(form, first, second) >= SPLITS] or forms
    return _best(forms, lambda form: information_bits(form, odds))


def telling_check(cause: Candidate, odds: Odds, scene: Scene) -> CheckForm | None:
    """The check that tells most on whether it is this cause or any other."""
    return _best(fitting(scene), lambda form: _about_bits(form, odds, cause))


def _best(forms: Iterable[CheckForm], bits: Callable[[CheckForm], float]) -> CheckForm | None:
    """Most information per minute, the unsafe ones last."""
    rated = [(form, bits(form)) for form in forms]
    safe = [pair for pair in rated if pair[0].risk < Risk.HEAT_OR_MAINS]
    if any(bits >= WORTH_BITS for _, bits in safe):
        rated = safe
    order = [(bits / form.effort_min, form.name, form) for form, bits in rated]
    return max(order, key=lambda each: each[:2])[2] if order else None


def _distance(form: CheckForm, one: Candidate, other: Candidate) -> float:
    """Total variation between the outcomes under two causes, 0…1."""
    pairs = zip(form.likelihoods(one), form.likelihoods(other), strict=True)
    return 0.5 * sum(abs(a - b) for a, b in pairs)


def information_bits(form: CheckForm, odds: Odds) -> float:
    """Expected fall of the entropy over the causes, in bits, when the check is answered."""
    return sum(
        chance * sum(_bits(value, odds[cause]) for cause, value in after.items())
        for chance, after in _after_each(form, odds)
    )


def _about_bits(form: CheckForm, odds: Odds, cause: Candidate) -> float:
    """Information on whether it is this one cause or any other, in bits."""
    before = odds[cause]
    return sum(
        chance * (_bits(after[cause], before) + _bits(1.0 - after[cause], 1.0 - before))
        for chance, after in _after_each(form, odds)
    )


def _bits(after: float, before: float) -> float:
    return after * math.log2(after / before) if after > 0.0 and before > 0.0 else 0.0


def _after_each(form: CheckForm, odds: Odds) -> Iterator[tuple[float, dict[Candidate, float]]]:
    """Chance of each outcome, and the probabilities after it."""
    rows = {cause: form.likelihoods(cause) for cause in odds}
    for place in range(len(form.outcomes)):
        chance = sum(odds[cause] * rows[cause][place] for cause in odds)
        yield chance, {cause: odds[cause] * rows[cause][place] / chance for cause in odds}


def as_check(form: CheckForm, odds: Odds) -> Check:
    """The check as a person is told of it, with what each outcome would mean now."""
    meanings = [
        f"{outcome.words} → {meaning}"
        for place, (outcome, (_, after)) in enumerate(
            zip(form.outcomes, _after_each(form, odds), strict=True)
        )
        if (meaning := _meaning(form, place, odds, after))
    ]
    return Check(
        name=form.name,
        do=form.do,
        look_for="; ".join(meanings),
        effort_min=form.effort_min,
        tools="" if form.tools == "none" else form.tools,
        caution=form.caution,
    )


def _meaning(form: CheckForm, place: int, odds: Odds, after: Odds) -> str:
    """What an outcome says: the causes that it points to, else those it speaks against.

    A cause is pointed to where the outcome raises it and fits it about as well as any.
    Empty for an outcome that would leave the ranking as it is: it is not worth a word.
    """
    fits = {cause: form.likelihoods(cause)[place] for cause in odds}
    moved = {cause: _ratio(after[cause]) / _ratio(odds[cause]) for cause in odds}
    best = FITS * max(fits.values())
    raised = [c for c in _ordered(odds, after) if moved[c] > POINTS and fits[c] >= best]
    # A cause that hardly anybody thinks of now, but that just this outcome would speak for.
    own = [cause for cause in raised if fits[cause] > OWN * form.chances[OTHERS][place]]
    named = [cause for cause in raised if after[cause] >= LEADS] or own
    if named:
        return " or ".join(words_of(cause) for cause in named[:NAMED])
    leading = [cause for cause in _ordered(odds, odds)[:NAMED] if odds[cause] >= LEADS]
    lowered = [words_of(cause) for cause in leading if moved[cause] < 1.0 / POINTS]
    return f"less likely {' or '.join(lowered)}" if lowered else ""


def _ratio(probability: float) -> float:
    return probability / max(1.0 - probability, 1e-12)
