"""What is one with a loss of the link: the silence before it, and the restart behind it.

A silence that ends as the link does is the beginning of that loss. A loss over which the host
or the controller started again is told by the restart, with how long the link was down and why.
"""

from collections.abc import Mapping

from detectors.book import EventBook
from detectors.closed import WindowsAt
from detectors.kinds.link import ONE_LOSS_S
from detectors.reports import Cleared, Report, Sighting
from shared.events import Event, NotEvaluated
from shared.words import EVERY_CHANNEL, Kind

TOGETHER_S = 1.0


class LinkPartRule:
    """Absorbs silence into loss, and loss into restart."""

    def __init__(self) -> None:
        self._restarts = 0
        """Restarts behind occurrences of the newest loss."""
        self._loss = -1

    def advance(self, time_s: float, book: EventBook) -> None:
        """No deadlines."""

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        if event is None or not isinstance(report, Sighting | Cleared):
            return
        if report.kind is Kind.LINK_LOSS and isinstance(report, Sighting):
            self._silence_before(event, book)
            if event.id != self._loss:
                self._loss, self._restarts = event.id, 0
            elif event.absorbed_by is not None and event.count > self._restarts:
                # It was lost once more, and no restart is known to be behind that.
                book.absorb([event.id], None)
        elif report.kind is Kind.RESTART and isinstance(report, Sighting):
            self._loss_behind(event, book)

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

    def _loss_behind(self, restart: Event, book: EventBook) -> None:
        loss = book.newest(EVERY_CHANNEL, Kind.LINK_LOSS)
        if loss is None or loss.id != self._loss:
            return
        if loss.end_s is not None and restart.start_s - loss.end_s > ONE_LOSS_S:
            return
        self._restarts += 1
        if self._restarts >= loss.count:
            book.absorb([loss.id], restart.id)
