"""The page on causes says what the table holds."""

import re
from pathlib import Path

from detectors.diagnosis.causes import CHAIN_SIGNS, FIRST_LINES, PRIORS
from detectors.diagnosis.checks import CATALOGUE
from detectors.diagnosis.signs import SIGNS
from detectors.diagnosis.table import Family, Risk, words_of
from shared.words import Cause
from tests.pages.causes import causes_page, telling

PAGE = Path(__file__).parents[2] / "docs" / "causes.md"


def test_the_page_is_in_step_with_the_table() -> None:
    """Made anew by `python -m tests.pages.causes > docs/causes.md`."""
    assert PAGE.read_text(encoding="utf-8") == causes_page()


def test_every_cause_has_a_check_that_tells_it() -> None:
    """And so a line on the page."""
    for cause in Cause:
        assert telling(cause), cause


def test_every_number_of_the_table_stands_on_the_page_with_its_reason() -> None:
    """Priors, signs and chain facts: as many rows as the table has, each with its words."""
    page = causes_page()
    for prior in PRIORS:
        share = 100.0 * prior.number / sum(each.number for each in PRIORS)
        assert f"Prior {share:.1f} %: {prior.reason} ({prior.basis})." in page
    rows = [(sign, row) for sign in SIGNS.values() for row in sign.given]
    families = "|".join(Family)
    assert len(re.findall(rf"^\| [^|]+ \| ({families}) \| [\d.]+ \|", page, re.M)) == len(rows)
    for sign, row in rows:
        assert f"| {row.reason} | {row.basis} |" in page, sign.name
    for fact in CHAIN_SIGNS.values():
        for each in fact.given:
            assert f"| {each.number:g} | {each.reason} | {each.basis} |" in page, fact.name


def test_a_number_is_never_called_physics() -> None:
    """The page says that numbers are judgement; what is physics is a reason."""
    head = " ".join(causes_page().partition("## What comes first")[0].split())
    assert "All are judgement" in head
    assert "none is published, and none is physics" in head


def test_what_comes_first_stands_before_all_else_for_every_cause() -> None:
    """One row for each cause: first line and caution, from the data."""
    table = causes_page().partition("## How the signs are read")[0]
    for cause, (first, caution) in FIRST_LINES.items():
        assert f"| {words_of(cause)} | {first} | {caution} |" in table


def test_checks_near_heat_or_mains_say_so_on_the_page() -> None:
    """Class and caution stand together in each one's part."""
    parts = causes_page().partition("## The checks")[2].split("\n### ")[1:]
    assert len(parts) == len(CATALOGUE)
    for part, form in zip(parts, CATALOGUE.values(), strict=True):
        assert ("**heat or mains**" in part) is (form.risk is Risk.HEAT_OR_MAINS)
        assert form.caution in part
