"""What is one with a loss of the link: the silence before it.

A silence that ends as the link does is the beginning of that loss.
"""

from collections.abc import Mapping

from detectors.book import EventBook
from detectors.detector import Rule
from detectors.reports import Report, Sighting
from shared.events import Event
from shared.words import EVERY_CHANNEL, Kind

TOGETHER_S = 1.0


class LinkPartRule(Rule):
    """Absorbs silence into loss."""

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        if event is None or not isinstance(report, Sighting):
            return
        if report.kind is Kind.LINK_LOSS:
            self._silence_before(event, book)

    def _silence_before(self, loss: Event, book: EventBook) -> None:
        stale = book.newest(EVERY_CHANNEL, Kind.STALE)
        if stale is None or stale.count > 1 or stale.end_s is None:
            return
        if abs(stale.end_s - loss.start_s) <= TOGETHER_S:
            book.absorb([stale.id], loss.id)
