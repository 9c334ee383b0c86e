"""The page on causes says what the table holds."""

from pathlib import Path

from detectors.diagnosis.handbook import causes_page, telling
from shared.words import Cause

PAGE = Path(__file__).parents[3] / "docs" / "causes.md"


def test_the_page_is_in_step_with_the_table() -> None:
    """Made anew by `python -m detectors.diagnosis.handbook > docs/causes.md`."""
    assert PAGE.read_text(encoding="utf-8") == causes_page()


def test_every_cause_has_a_check_that_tells_it() -> None:
    """And so a line on the page."""
    for cause in Cause:
        assert telling(cause), cause
