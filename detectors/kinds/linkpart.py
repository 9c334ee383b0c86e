"""What is one with a loss of the link: the silence before it.

A silence that ends as the link does is the beginning of that loss.
"""

from collections.abc import Mapping

from detectors.book import EventBook
from detectors.closed import WindowsAt
from detectors.reports import Report, Sighting
from shared.events import Event, NotEvaluated
from shared.words import EVERY_CHANNEL, Kind

TOGETHER_S = 1.0


class LinkPartRule:
    """Absorbs silence into loss."""

    def advance(self, time_s: float, book: EventBook) -> None:
        """No deadlines."""

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        if event is None or not isinstance(report, Sighting):
            return
        if report.kind is Kind.LINK_LOSS:
            self._silence_before(event, book)

    def window(self, windows: WindowsAt, book: EventBook) -> None:
        """Nothing to see."""

    def finish(self, book: EventBook) -> None:
        """Nothing is held back."""

    def not_evaluated(self) -> list[NotEvaluated]:
        return []

    def _silence_before(self, loss: Event, book: EventBook) -> None:
        stale = book.newest(EVERY_CHANNEL, Kind.STALE)
        if stale is None or stale.count > 1 or stale.end_s is None:
            return
        if abs(stale.end_s - loss.start_s) <= TOGETHER_S:
            book.absorb([stale.id], loss.id)
