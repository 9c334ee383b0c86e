"""Naive Bayes with tempered weights, and what it rests on in words.

Posterior(cause) ∝ prior(cause) · Π P(fact | cause)^w. The weight w is the fact's own
strength, and within a family of facts 1, 1/2, 1/3 … from the strongest on: facts of one
family say partly the same, and plain naive Bayes would count it again and again.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence

import msgspec

from detectors.diagnosis.case import Case, Fact
from detectors.diagnosis.causes import CHAIN_SIGNS, PRIORS
from detectors.diagnosis.chainfacts import chain_facts
from detectors.diagnosis.signs import SIGNS
from detectors.diagnosis.table import CANDIDATES, Candidate, Family

TELLS = math.log(1.35)
"""Least log ratio at which a fact is named as evidence for or against."""
TELLING = (Family.SHAPE, Family.FLAGS, Family.WORDS)
ONCE = "only-once"
"""What came only once says little, whatever it looked like."""
POOR = 5.0
"""How many times likelier the unknown cause gets without any fact. Judgement."""
TABLE_DOUBT = 0.03
"""Chance that a case is not as the table has it, whatever the evidence. Judgement."""
TEMPERATURE = 0.3
"""Divides all log odds of table and evidence. Tempered weights leave the answer too unsure;
this one number is fitted on tuning draws of `tests.quality.diagnosis` (least Brier score:
0.20 for 720 of them, taken less sure: draws are plainer than machines), and the
reliability that it gives is measured on other draws (`docs/quality.md`). Answers to checks
are not tempered: their probabilities are stated as such."""

Odds = Mapping[Candidate, float]
"""Probabilities by cause; they sum to 1."""

_PRIORS = {prior.cause: prior.number for prior in PRIORS}


class Weighed(msgspec.Struct, frozen=True):
    """A fact or an answer, with the log likelihood that it gives each cause."""

    words: str
    log: Mapping[Candidate, float]


def weighed(words: str, likelihood: Callable[[Candidate], float], weight: float = 1.0) -> Weighed:
    """What a likelihood by cause makes of the odds."""
    return Weighed(words, {cause: weight * math.log(likelihood(cause)) for cause in CANDIDATES})


def evidence_of(case: Case, facts: Iterable[Fact]) -> list[Weighed]:
    """All that a case's facts and its chain say of the causes."""
    facts = list(facts)
    of_chain = [
        weighed(fact.words, CHAIN_SIGNS[fact.name].factor, fact.strength)
        for fact in chain_facts(case.chain)
    ]
    return [*weigh(facts), *_doubt(facts), *of_chain]


def weigh(facts: Iterable[Fact]) -> list[Weighed]:
    """Facts of the table's signs, tempered by family. KeyError for a name not in the table."""
    families: dict[Family, list[Fact]] = {}
    for fact in facts:
        families.setdefault(SIGNS[fact.name].family, []).append(fact)
    found = []
    for family in families.values():
        family.sort(key=lambda fact: (-fact.strength * _reach(fact), fact.name))
        for place, fact in enumerate(family, start=1):
            likelihood = SIGNS[fact.name].likelihood
            found.append(weighed(fact.words, likelihood, fact.strength / place))
    return found


def _reach(fact: Fact) -> float:
    """How far apart a fact sets the causes, as a log ratio."""
    values = [SIGNS[fact.name].likelihood(cause) for cause in CANDIDATES]
    return math.log(max(values)) - math.log(min(values))


def _doubt(facts: Sequence[Fact]) -> list[Weighed]:
    """More weight for the unknown cause, the less is known of what the reading did."""
    known = sum(fact.strength for fact in facts if SIGNS[fact.name].family in TELLING)
    once = any(fact.name == ONCE for fact in facts)
    missing = 1.0 if once else 1.0 - min(known, 1.0)
    if missing == 0.0:
        return []
    words = "little evidence to go by"
    return [weighed(words, lambda cause: POOR if cause is None else 1.0, missing)]


def odds_of(evidence: Iterable[Weighed], answers: Iterable[Weighed] = ()) -> dict[Candidate, float]:
    """Probabilities by cause, calibrated by the temperature."""
    return doubted(_updated(tempered(posterior(evidence)), answers))


def posterior(evidence: Iterable[Weighed]) -> dict[Candidate, float]:
    """Probabilities of all causes before temperature and doubt."""
    return _updated(_PRIORS, evidence)


def tempered(odds: Odds, temperature: float = TEMPERATURE) -> dict[Candidate, float]:
    """All log odds divided by a temperature: below 1 surer, above 1 less sure."""
    return _normal({cause: _log(p) / temperature for cause, p in odds.items()})


def _updated(
    before: Mapping[Candidate, float], evidence: Iterable[Weighed]
) -> dict[Candidate, float]:
    """Bayes' rule, from weights or probabilities."""
    logs = {cause: _log(each) for cause, each in before.items()}
    for each in evidence:
        for cause in logs:
            logs[cause] += each.log[cause]
    return _normal(logs)


def doubted(odds: Odds) -> dict[Candidate, float]:
    """The same probabilities with room for the table's own errors."""
    total = sum(_PRIORS.values())
    return {
        cause: (1.0 - TABLE_DOUBT) * odds[cause] + TABLE_DOUBT * weight / total
        for cause, weight in _PRIORS.items()
    }


def _log(p: float) -> float:
    return math.log(max(p, 1e-300))


def _normal(logs: Mapping[Candidate, float]) -> dict[Candidate, float]:
    """Log weights brought to probabilities."""
    top = max(logs.values())
    weights = {cause: math.exp(log - top) for cause, log in logs.items()}
    total = sum(weights.values())
    return {cause: weight / total for cause, weight in weights.items()}


def told(cause: Candidate, evidence: Iterable[Weighed], odds: Odds) -> tuple[tuple[str, ...], ...]:
    """Words for and words against a cause, the strongest first.

    Each piece of evidence is held against what the other causes make of it, by their
    probabilities without it being settled which is right.
    """
    ratios = [(_against_others(cause, each, odds), each.words) for each in evidence]
    ratios.sort(key=lambda pair: (-abs(pair[0]), pair[1]))
    speaks = dict.fromkeys(words for ratio, words in ratios if ratio >= TELLS)
    denies = dict.fromkeys(words for ratio, words in ratios if ratio <= -TELLS)
    return tuple(speaks), tuple(denies)


def _against_others(cause: Candidate, each: Weighed, odds: Odds) -> float:
    """Log ratio of the likelihood under this cause to the mean under the others.

    The others count half by their probability, half alike: otherwise a cause that is all
    but certain would be held against whatever chanced to come second.
    """
    rest = [other for other in CANDIDATES if other is not cause]
    total = sum(odds[other] for other in rest) or 1.0
    mean = sum(
        (0.5 * odds[other] / total + 0.5 / len(rest)) * math.exp(each.log[other]) for other in rest
    )
    return each.log[cause] - math.log(mean)
