"""The page of event kinds says what the detectors do."""

from pathlib import Path

from detectors.book import EventBook
from detectors.reports import Sighting
from shared.kinds import KINDS
from shared.words import Kind
from tests.pages.kinds import PAGES, blindness, events_page

ROOT = Path(__file__).parents[2]


def test_the_page_in_the_repository_is_the_one_of_the_code() -> None:
    page = (ROOT / "docs" / "events.md").read_text(encoding="utf-8")
    assert page == events_page(), "run: python -m tests.pages.kinds > docs/events.md"


def test_every_kind_has_a_rule_with_a_reason_and_says_what_it_is_blind_to() -> None:
    assert set(PAGES) == set(Kind) == set(KINDS)
    for kind in Kind:
        assert len(KINDS[kind].why_joined) > 10
        assert len(blindness(PAGES[kind].module)) > 10


def occurrence(kind: Kind, at_s: float) -> Sighting:
    return Sighting(0, at_s, "nozzle", kind, at_s, at_s, 1.0, "s", "x")


def test_the_joining_time_that_the_page_tells_is_the_one_that_the_book_keeps() -> None:
    """Just within it there is one event of two, just beyond it there are two."""
    for kind in Kind:
        join_s = KINDS[kind].join_s
        for gap_s, counts in ((join_s - 0.01, [2]), (join_s + 0.01, [1, 1])):
            book = EventBook()
            book.sight(occurrence(kind, 1000.0))
            book.sight(occurrence(kind, 1000.0 + gap_s))
            assert [event.count for event in book.events] == counts
