"""From events to ranked causes."""

from collections.abc import Collection, Iterable, Mapping, Sequence

from detectors.diagnosis.answers import Answer
from detectors.diagnosis.case import Case, cases
from detectors.diagnosis.chainfacts import chain_facts
from detectors.diagnosis.checks import form_of
from detectors.diagnosis.evidence import facts_of
from detectors.diagnosis.nextcheck import answered, as_check, next_check, telling_check
from detectors.diagnosis.rank import (
    TEMPERATURE,
    Weighed,
    doubt,
    doubted,
    posterior,
    tempered,
    told,
    updated,
    weigh,
    weigh_chain,
)
from detectors.diagnosis.table import CANDIDATES, Candidate, CheckForm, Scene
from shared.chain import UNTOLD, Chain
from shared.events import Event, RankedCause
from shared.words import Kind

CHECKED_FROM = 0.02
"""Causes less likely than this get no check of their own."""


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
    said = list(answers)
    for answer in said:
        form_of(answer.check, answer.outcome)
    found = cases(events, chains)
    found.sort(key=lambda case: (-_severity(case), case.channel))
    ranked: list[RankedCause] = []
    for case in found:
        ranked += _ranked(case, [answer for answer in said if answer.channel == case.channel])
    return tuple(ranked)


def _ranked(case: Case, answers: Sequence[Answer]) -> list[RankedCause]:
    evidence = evidence_of(case)
    said = [answered(form_of(answer.check, answer.outcome), answer.outcome) for answer in answers]
    odds = odds_of(evidence, said)
    weighed = [*evidence, *said]
    scene = scene_of(case, {answer.check for answer in answers})
    order = sorted(CANDIDATES, key=lambda cause: (-odds[cause], cause or "~"))
    ranked = []
    for place, cause in enumerate(order):
        form: CheckForm | None = None
        if place == 0:
            form = next_check(odds, scene)
        elif odds[cause] >= CHECKED_FROM:
            form = telling_check(cause, odds, scene)
        speaks, denies = told(cause, weighed, odds)
        ranked.append(
            RankedCause(
                channel=case.channel,
                cause=cause,
                probability=odds[cause],
                evidence_for=speaks,
                evidence_against=denies,
                next_check=None if form is None else as_check(form, odds),
            )
        )
    return ranked


def scene_of(case: Case, done: Collection[str] = ()) -> Scene:
    """What a check for this case has to fit."""
    kinds = frozenset(event.kind for event in case.events)
    is_open = any(event.end_s is None for event in case.of(Kind.CODE_HIGH))
    signs = frozenset(fact.name for fact in facts_of(case))
    return Scene(case.chain or UNTOLD, case.channels, kinds, done, is_open, signs)


def evidence_of(case: Case) -> list[Weighed]:
    """All that a case and its chain say of the causes."""
    facts = facts_of(case)
    return [*weigh(facts), *doubt(facts), *weigh_chain(chain_facts(case.chain))]


def odds_of(
    evidence: Sequence[Weighed],
    answers: Sequence[Weighed] = (),
    temperature: float = TEMPERATURE,
) -> dict[Candidate, float]:
    """Probabilities by cause, calibrated by the temperature."""
    return doubted(updated(tempered(posterior(evidence), temperature), answers))


def _severity(case: Case) -> int:
    return max(event.severity.rank for event in case.events)
