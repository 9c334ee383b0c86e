"""Events keep how long their occurrences lasted, without what lay between."""

from hypothesis import given
from hypothesis import strategies as st

from detectors.book import EventBook
from detectors.reports import Cleared, Sighting
from shared.events import LASTED
from shared.words import EVERY_CHANNEL, Kind


def sighting(start_s: float, end_s: float | None) -> Sighting:
    return Sighting(0, start_s, EVERY_CHANNEL, Kind.LINK_LOSS, start_s, end_s, 0.0, "s", "gone")


@given(st.lists(st.tuples(st.floats(0.5, 25.0), st.floats(1.0, 20.0)), min_size=1, max_size=6))
def test_what_lasted_is_the_sum_of_the_occurrences(spans: list[tuple[float, float]]) -> None:
    """Of those that are joined to one event."""
    book = EventBook()
    at_s = 0.0
    for lasts_s, apart_s in spans:
        book.sight(sighting(at_s, None))
        book.sight(sighting(at_s, None))
        book.clear(Cleared(0, at_s, EVERY_CHANNEL, Kind.LINK_LOSS, at_s + lasts_s))
        at_s += lasts_s + apart_s
    (event,) = book.events
    assert event.count == len(spans)
    assert abs(float(event.facts[LASTED]) - sum(lasts for lasts, _ in spans)) < 1e-6


def test_what_came_and_went_at_once_lasted_nothing() -> None:
    book = EventBook()
    book.sight(sighting(1.0, 1.0))
    (event,) = book.events
    assert event.facts[LASTED] == 0.0
