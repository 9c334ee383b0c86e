"""The cause table as a page to read: `python -m detectors.diagnosis.handbook > docs/causes.md`."""

from collections.abc import Iterator

from detectors.diagnosis.causes import CHAIN_SIGNS, PRIORS
from detectors.diagnosis.checkform import CheckForm, Risk
from detectors.diagnosis.checks import CATALOGUE
from detectors.diagnosis.nextcheck import information_bits
from detectors.diagnosis.rank import SIGNS
from detectors.diagnosis.table import CANDIDATES, Candidate, Family, words_of
from shared.words import Cause

SPEAKS = 2.0
"""A sign is listed where it is this many times likelier than under an unknown cause."""
SIGNS_SHOWN = 6
CHECKS_SHOWN = 3

_HEAD = """# Causes, their signs, and what to check next

This page is made from the cause table (`detectors/diagnosis`); a test keeps it in step.
Numbers are chances in per cent that the sign is seen when the cause is at work. None is
published: they are common practice of the trade, physics of the chain, or judgement, as
said beside each.

**Before you touch anything: switch the machine off, pull its plug, let it cool. Mains
wiring only by someone licensed for it and by the local code. ohmvigil watches and
advises; it is no safety device, and no reason to leave a machine alone.**

| family | what it tells |
| --- | --- |
"""
_FAMILIES = {
    Family.SHAPE: "what the reading did",
    Family.WHEN: "in which phase, at which place, with what",
    Family.FLAGS: "what the converter said",
    Family.WORDS: "what the host said",
    Family.WHERE: "which channels",
}


def causes_page() -> str:
    """The page as Markdown."""
    parts = [_HEAD, *(f"| {family} | {words} |\n" for family, words in _FAMILIES.items())]
    parts += [_cause(cause) for cause in Cause]
    parts += ["\n## The checks\n", *(_check(form) for form in CATALOGUE.values())]
    return "".join(parts)


def _cause(cause: Cause) -> str:
    prior = next(prior for prior in PRIORS if prior.cause is cause)
    lines = [f"\n## {words_of(cause).capitalize()} (`{cause}`)\n", f"\nFirst: {prior.reason}.\n\n"]
    lines += ["| sign | family | % | why | basis |\n", "| --- | --- | --- | --- | --- |\n"]
    lines += [f"| {row} |\n" for row in _signs(cause)]
    lines += [f"\nLikelier with: {words}.\n" for words in _chain(cause)]
    names = ", ".join(f"`{form.name}`" for form in telling(cause)[:CHECKS_SHOWN])
    lines.append(f"\nChecks that tell most: {names}.\n")
    return "".join(lines)


def _signs(cause: Cause) -> Iterator[str]:
    rows = [
        (given.likelihood / sign.unknown, sign, given)
        for sign in SIGNS.values()
        for given in sign.given
        if given.cause is cause and given.likelihood >= SPEAKS * sign.unknown
    ]
    rows.sort(key=lambda row: -row[0])
    for _, sign, given in rows[:SIGNS_SHOWN]:
        shown = sign.name.replace("-", " ")
        yield (
            f"{shown} | {sign.family} | {100.0 * given.likelihood:.0f} | "
            f"{given.reason} | {given.basis}"
        )


def _chain(cause: Cause) -> Iterator[str]:
    raised = [
        f"{sign.name.replace('-', ' ')} (×{row.factor:g}: {row.reason})"
        for sign in CHAIN_SIGNS.values()
        for row in sign.modifiers
        if row.cause is cause and row.factor > 1.0
    ]
    if raised:
        yield ", ".join(raised)


def telling(cause: Cause) -> list[CheckForm]:
    """Checks that tell anything of a cause, most information a minute first, safe ones first."""
    odds: dict[Candidate, float] = {
        each: 0.5 if each is cause else 0.5 / (len(CANDIDATES) - 1) for each in CANDIDATES
    }
    forms = [form for form in CATALOGUE.values() if cause in form.given]
    return sorted(
        forms,
        key=lambda form: (
            form.risk >= Risk.HEAT_OR_MAINS,
            -information_bits(form, odds) / form.effort_min,
        ),
    )


def _check(form: CheckForm) -> str:
    outcomes = "\n".join(f"- `{each.name}`: {each.words}" for each in form.outcomes)
    caution = f"\n**Caution:** {form.caution}\n" if form.caution else ""
    return (
        f"\n### `{form.name}`\n\n{form.do} About {form.effort_min:g} min; tools: {form.tools}.\n"
        f"{caution}\n{outcomes}\n"
    )


if __name__ == "__main__":
    print(causes_page(), end="")
