"""joint-jump: several channels jump at one instant.

Quantity: number of channels. Two or more channels whose readings depart from where heat
could have them within one and a half spacings of their readings. Channels share little
but supply, ground, reference and bus, so that is where such a jump comes from. What was
said of the channels one by one is explained by it, unless the same event has occurrences
at other times too.

Not judged in the minute after a start (`startup-transient` sees to that). Blind where
only one channel is watched, and to jumps of which only one is larger than heat allows.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from detectors.book import EventBook
from detectors.detector import Rule
from detectors.reports import Cleared, Departure, Report, Sighting, Started
from detectors.table.closed import ClosedWindow
from detectors.table.gates import STARTING_S
from shared.events import Event, NotEvaluated
from shared.kinds import KINDS, Shape
from shared.words import EVERY_CHANNEL, Kind

SPACINGS = 1.5
REMEMBER_S = 30.0
DIP_SPACINGS = 2.5


@dataclass(slots=True)
class _Jump:
    """Departures at one instant, by channel."""

    start_s: float
    until_s: float
    sizes: dict[str, Departure] = field(default_factory=dict)
    event: int | None = None


class JointJumpRule(Rule):
    """Collects departures; says so at the second channel."""

    def __init__(self) -> None:
        self._jumps: list[_Jump] = []
        self._explained: dict[int, int] = {}
        self._started_s = -STARTING_S
        self._channels: set[str] = set()
        self._is_open = False

    def advance(self, time_s: float, book: EventBook) -> None:
        if self._is_open and time_s >= self._jumps[-1].until_s:
            self._close(book)
        while self._jumps and self._jumps[0].start_s + REMEMBER_S < time_s:
            del self._jumps[0]

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        if isinstance(report, Started):
            self._started_s = report.since_s
        elif isinstance(report, Departure):
            self._channels.add(report.channel)
            if report.away and report.at_s - self._started_s >= STARTING_S:
                self._depart(report, book)
        elif isinstance(report, Sighting) and event is not None:
            self._explain(report, event, book)

    def window(self, windows: Mapping[str, ClosedWindow], book: EventBook) -> None:
        if len(windows) > len(self._channels):
            self._channels.update(windows)

    def finish(self, book: EventBook) -> None:
        if self._is_open:
            self._close(book)

    def not_evaluated(self) -> list[NotEvaluated]:
        if len(self._channels) > 1:
            return []
        why = "only one channel is watched"
        return [NotEvaluated(kind=Kind.JOINT_JUMP, channel=EVERY_CHANNEL, why=why)]

    def _depart(self, report: Departure, book: EventBook) -> None:
        jump = self._jumps[-1] if self._jumps else None
        reach_s = SPACINGS * report.spacing_s
        if jump is None or report.at_s - jump.start_s > reach_s:
            if self._is_open:
                self._close(book)
            jump = _Jump(report.at_s, report.at_s + reach_s)
            self._jumps.append(jump)
        jump.sizes.setdefault(report.channel, report)
        if len(jump.sizes) >= 2:
            jump.event = book.sight(self._sighting(jump, report)).id
            self._is_open = True

    def _close(self, book: EventBook) -> None:
        self._is_open = False
        jump = self._jumps[-1]
        end_s = max(departure.at_s for departure in jump.sizes.values())
        book.clear(Cleared(0, end_s, EVERY_CHANNEL, Kind.JOINT_JUMP, end_s))

    def _explain(self, report: Sighting, event: Event, book: EventBook) -> None:
        if KINDS[report.kind].shape not in (Shape.JUMP, Shape.FLIP):
            return
        by = self._jump_of(report)
        if by is not None:
            self._explained[event.id] = self._explained.get(event.id, 0) + 1
        explained = self._explained.get(event.id, 0)
        if not explained:
            return
        if explained >= event.count and by is not None:
            book.absorb([event.id], by)
        elif explained < event.count:
            book.absorb([event.id], None)

    def _jump_of(self, report: Sighting) -> int | None:
        for jump in reversed(self._jumps):
            departure = jump.sizes.get(report.channel)
            if departure is None:
                continue
            # A dip is known only from its return: it began up to two readings earlier.
            before_s = departure.at_s - report.start_s
            if before_s == 0.0 or 0.0 < before_s <= DIP_SPACINGS * departure.spacing_s:
                return jump.event
        return None

    def _sighting(self, jump: _Jump, report: Departure) -> Sighting:
        sizes = ", ".join(
            f"{name} {one.delta:+.2f} {one.unit}".replace("-", "−")
            for name, one in sorted(jump.sizes.items())
        )
        down = sum(one.delta < 0.0 for one in jump.sizes.values())
        return Sighting(
            row=report.row,
            at_s=report.at_s,
            channel=EVERY_CHANNEL,
            kind=Kind.JOINT_JUMP,
            start_s=jump.start_s,
            end_s=None,
            value=float(len(jump.sizes)),
            unit="channels",
            text=f"{len(jump.sizes)} channels jumped at one instant: {sizes}",
            facts={
                "channels": float(len(jump.sizes)),
                "names": ", ".join(sorted(jump.sizes)),
                "down_share": down / len(jump.sizes),
            },
        )
