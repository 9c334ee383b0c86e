"""The cause table as a page to read: `python -m tests.pages.causes > docs/causes.md`."""

from collections.abc import Iterator

from detectors.diagnosis.causes import CHAIN_SIGNS, FIRST_LINES, PRIORS, SWITCH_OFF
from detectors.diagnosis.checks import CATALOGUE
from detectors.diagnosis.diagnose import information_bits
from detectors.diagnosis.signs import SIGNS
from detectors.diagnosis.table import (
    CANDIDATES,
    OTHERS,
    Candidate,
    CheckForm,
    Family,
    Risk,
    words_of,
)
from detectors.diagnosis.verdict import PULL_THE_PLUG
from shared.words import Cause

CHECKS_SHOWN = 3

_HEAD = """# Causes, their signs, and what to check next

This page is made from the cause table (`detectors/diagnosis`); a test keeps it in step.
It holds every number of the table. All are judgement, calibrated as a whole on simulated
cases ([quality.md](quality.md)); none is published, and none is physics. What stands beside a
number is its reason, and the last column says what that rests on: common practice of the
trade, physics derived here (which way, never how often), or judgement.

**Before you touch anything: switch the machine off, pull its plug, let it cool. Mains
wiring only by someone licensed for it and by the local code. ohmvigil watches and
advises; it is no safety device, and no reason to leave a machine alone. A thermal cut-out
that works without controller and host belongs on every heater, and the earth of a mains
bed is bonded by someone licensed.**

"""
_FIRST = """## What comes first, and what can hurt

Low is the dangerous way: a loop that follows a reading below the truth heats too far. So
these lead every headline, whatever else is likelier: a heater on though its power is off, with
"{plug}";
a reading low against its power, a sensor out of its seat, and falls that come again and again,
with "{off}".

| cause | first | caution |
| --- | --- | --- |
"""
_SIGNS = """
## How the signs are read

A prior is the share of faults, before anything is known, that the cause is behind. A sign's
number is the chance in per cent that it is seen when the cause is at work; beside it how often
it is seen for another reason, where no row of a cause says otherwise, and where the cause is
none of these. A chain fact multiplies the prior.

| family | what it tells |
| --- | --- |
"""
_CLASSES = """
Chances in per cent of what comes out, by cause; judgement all. Checks whose class is heat or
mains come last: they are proposed where no other tells enough.
"""
RISKS = {
    Risk.LOOK: "nothing is opened or touched",
    Risk.TOUCH: "low voltage, switched off or cold",
    Risk.HEAT_OR_MAINS: "**heat or mains**",
}
_FAMILIES = {
    Family.SHAPE: "what the reading did",
    Family.WHEN: "in which phase, at which place, with what",
    Family.FLAGS: "what the converter said",
    Family.WORDS: "what the host said",
    Family.WHERE: "which channels",
}


def causes_page() -> str:
    """The page as Markdown."""
    parts = [_HEAD, _FIRST.format(plug=PULL_THE_PLUG, off=SWITCH_OFF)]
    for cause in Cause:
        first, caution = FIRST_LINES[cause]
        parts.append(f"| {words_of(cause)} | {first} | {caution} |\n")
    parts += [_SIGNS, *(f"| {family} | {words} |\n" for family, words in _FAMILIES.items())]
    parts += [_cause(cause) for cause in CANDIDATES]
    parts += ["\n## The checks\n", _CLASSES, *(_check(form) for form in CATALOGUE.values())]
    return "".join(parts)


def _cause(cause: Candidate) -> str:
    prior = next(prior for prior in PRIORS if prior.cause is cause)
    share = prior.number / sum(each.number for each in PRIORS)
    lines = [
        f"\n## {words_of(cause).capitalize()} (`{cause or 'unknown'}`)\n",
        f"\nPrior {100.0 * share:.1f} %: {prior.reason} ({prior.basis}).\n",
    ]
    if cause is None:
        return "".join(lines)
    head = "| sign | family | % | otherwise | unknown | why | the reason is |\n"
    lines += ["\n", head, "| --- | --- | --- | --- | --- | --- | --- |\n"]
    lines += [f"| {row} |\n" for row in _signs(cause)]
    facts = list(_chain(cause))
    if facts:
        lines += ["\n| chain fact | prior × | why | the reason is |\n| --- | --- | --- | --- |\n"]
        lines += [f"| {row} |\n" for row in facts]
    names = ", ".join(f"`{form.name}`" for form in telling(cause)[:CHECKS_SHOWN])
    lines.append(f"\nChecks that tell most: {names}.\n")
    return "".join(lines)


def _signs(cause: Cause) -> Iterator[str]:
    """Every row of the cause, those that speak for it most first."""
    rows = [
        (given.number / sign.unknown, sign, given)
        for sign in SIGNS.values()
        for given in sign.given
        if given.cause is cause
    ]
    rows.sort(key=lambda row: -row[0])
    for _, sign, given in rows:
        shown = sign.name.replace("-", " ")
        others = f"{100.0 * sign.otherwise:.3g} | {100.0 * sign.unknown:.3g}"
        yield (
            f"{shown} | {sign.family} | {100.0 * given.number:.3g} | {others} | "
            f"{given.reason} | {given.basis}"
        )


def _chain(cause: Cause) -> Iterator[str]:
    for sign in CHAIN_SIGNS.values():
        for row in sign.given:
            if row.cause is cause:
                name = sign.name.replace("-", " ")
                yield f"{name} | {row.number:g} | {row.reason} | {row.basis}"


def telling(cause: Cause) -> list[CheckForm]:
    """Checks that tell anything of a cause, most information a minute first, safe ones first."""
    odds: dict[Candidate, float] = {
        each: 0.5 if each is cause else 0.5 / (len(CANDIDATES) - 1) for each in CANDIDATES
    }
    forms = [form for form in CATALOGUE.values() if cause in form.chances]
    return sorted(
        forms,
        key=lambda form: (
            form.risk >= Risk.HEAT_OR_MAINS,
            -information_bits(form, odds) / form.effort_min,
        ),
    )


def _check(form: CheckForm) -> str:
    caution = f"\n**Caution:** {form.caution}\n" if form.caution else ""
    head = " | ".join(f"`{each.name}`: {each.words}" for each in form.outcomes)
    rows = [(words_of(at), row) for at, row in form.chances.items() if isinstance(at, Cause)]
    rows.append(("other causes", form.chances[OTHERS]))
    if None in form.chances:
        rows.append(("unknown", form.chances[None]))
    table = "".join(
        f"| {name} | {' | '.join(f'{100.0 * value:.0f}' for value in row)} |\n"
        for name, row in rows
    )
    return (
        f"\n### `{form.name}`\n\n{form.told().do} About {form.effort_min:g} min; "
        f"tools: {form.tools}. Class: {RISKS[form.risk]}.\n"
        f"{caution}\n| % | {head} |\n| --- |{' --- |' * len(form.outcomes)}\n{table}"
    )


if __name__ == "__main__":
    print(causes_page(), end="")
