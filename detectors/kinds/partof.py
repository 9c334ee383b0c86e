"""What is only a part of another event: its absorption, beside joint jumps and starts.

- A reading that stands still shows no rise and costs power, and jumps when it moves again:
  drift, no-rise, step and spike on a channel that is frozen, or was until just then.
- Single excursions roughen the window that they lie in: a noise-rise whose windows are as
  quiet as the channel's own noise without the rows around what departed is part of that.
- And the other way round: where noise did rise, excursions of its size are its own.

Quantity: as of the kinds. Blind where the departing rows leave too few of a window to tell.
"""

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from detectors.book import EventBook
from detectors.detector import Rule
from detectors.kinds.noise import LEAST_LIMIT, SLACK
from detectors.reports import Cleared, Departure, Report, Sighting
from detectors.table.closed import ClosedWindow, WindowsAt
from detectors.table.windows import KEPT_DIFFERENCES, KEPT_TO_SD, MEDIAN_TO_SD, ROWS
from shared.events import Event
from shared.kinds import KINDS, Shape, kinds_of
from shared.updates import Floats
from shared.words import EVERY_CHANNEL, Kind

RELEASE_S = 3.0
"""A jump within this time of the reading's moving again belongs to it."""
AFTER_S = 300.0
"""Power takes so long to settle after a frozen reading moved again."""
LOUD = 1.6
"""Noise without the departing rows, over the channel's own, that still is a rise."""
OUTLIER_SD = 6.5
"""Size up to which an excursion is one of the noise's own: 4.6 sd of a difference of two."""
OUTLIERS_LEAST, OUTLIERS_OF_ROWS = 8, 0.05
LEAST_LEFT = 8
"""Differences that must be left to judge by."""
WINDOWS = 12
KEPT_S = 600.0


@dataclass(slots=True)
class _Channel:
    """Departures and windows of late, and the noise-rise in question."""

    away: deque[tuple[float, float]] = field(default_factory=deque)
    since_s: float | None = None
    noisy: int | None = None
    """Id of the noise-rise that is going on."""
    own: float = 0.0


class PartOfRule(Rule):
    """Absorbs parts into wholes."""

    def __init__(self) -> None:
        self._channels: dict[str, _Channel] = {}
        """Those that ever departed or were noisy."""
        self._windows: deque[WindowsAt] = deque(maxlen=WINDOWS)

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        if isinstance(report, Departure):
            self._depart(report)
        elif isinstance(report, Sighting) and event is not None:
            spec = KINDS[report.kind]
            if spec.may_be_stillness or spec.shape is Shape.JUMP:
                _of_frozen(report, event, book)
            elif report.kind is Kind.NOISE_RISE:
                channel = self._channels.setdefault(report.channel, _Channel())
                own = report.facts.get("own", 0.0)
                channel.noisy, channel.own = event.id, own if isinstance(own, float) else 0.0
        elif isinstance(report, Cleared) and report.kind is Kind.NOISE_RISE:
            channel = self._channels.setdefault(report.channel, _Channel())
            channel.noisy = None

    def window(self, windows: WindowsAt, book: EventBook) -> None:
        self._windows.append(windows)
        for name, channel in sorted(self._channels.items()):
            if name not in windows:
                continue
            while channel.away and channel.away[0][1] < windows.end_s - KEPT_S:
                channel.away.popleft()
            if channel.noisy is not None:
                self._judge(name, channel, book)

    def _depart(self, report: Departure) -> None:
        channel = self._channels.setdefault(report.channel, _Channel())
        if report.away:
            channel.since_s = report.at_s - 2.0 * report.spacing_s
        elif channel.since_s is not None:
            channel.away.append((channel.since_s, report.at_s))
            channel.since_s = None

    def _judge(self, name: str, channel: _Channel, book: EventBook) -> None:
        """Whether departures alone make the noise-rise that is going on."""
        assert channel.noisy is not None
        event = book.events[channel.noisy]
        left: list[float] = []
        is_touched = False
        for windows in self._windows:
            window = windows.get(name)
            if window is None:
                continue
            if window.end_s <= event.start_s or window.rough <= LOUD * channel.own:
                continue
            size = _left(window, channel)
            is_touched = is_touched or size != window.rough
            if size is not None:
                left.append(size)
        # Once it is explained, only what would have raised it alone takes that back.
        is_explained = is_touched or event.absorbed_by is not None
        is_part = not left or (is_explained and not _is_rise(left, channel.own))
        if not is_part:
            book.absorb([event.id], None)
            _absorb_outliers(event, self._windows[-1][name], book)
        elif event.absorbed_by is None:
            whole = _whole(name, event, book)
            if whole is not None:
                book.absorb([event.id], whole.id)


def _is_rise(sizes: list[float], own: float) -> bool:
    """Whether these windows alone would have raised it: by their middle, and by their sum."""
    ordered = sorted(sizes)
    # What is left of a single window is a rough figure.
    middle = math.sqrt(ordered[len(ordered) // 2] * ordered[(len(ordered) - 1) // 2])
    above = math.fsum(math.log(max(size, 1e-9) / max(own, 1e-9)) - SLACK for size in sizes)
    return middle > LOUD * own and above > LEAST_LIMIT


def _absorb_outliers(noise: Event, window: ClosedWindow, book: EventBook) -> None:
    """Take in excursions since it rose that are as few and no larger than such noise makes them."""
    rows = ROWS * (window.end_s - noise.start_s) / max(window.end_s - window.start_s, 1e-9)
    for kind in kinds_of(Shape.JUMP):
        event = book.newest(noise.channel, kind) if KINDS[kind].comes_back else None
        if event is None or event.absorbed_by is not None or event.unit != noise.unit:
            continue
        is_few = event.count <= max(OUTLIERS_LEAST, OUTLIERS_OF_ROWS * rows)
        is_small = abs(event.value) <= OUTLIER_SD * noise.value
        if event.start_s >= noise.start_s and is_few and is_small:
            book.absorb([event.id], noise.id)


def _left(window: ClosedWindow, channel: _Channel) -> float | None:
    """Noise of a window without its departing rows; None where too few are left to tell."""
    time_s = window.windows.time_rows[window.index]
    kept = np.ones(len(time_s), dtype=bool)
    begin_s, end_s = float(time_s[0]), float(time_s[-1])
    spans = [span for span in channel.away if span[0] <= end_s and span[1] >= begin_s]
    if channel.since_s is not None:
        spans.append((channel.since_s, end_s))
    for from_s, to_s in spans:
        kept &= (time_s < from_s) | (time_s > to_s)
    if kept.all():
        return window.rough
    third = np.abs(np.diff(window.channel.signal_rows[window.index], 3))
    third = third[kept[3:] & kept[2:-1] & kept[1:-2] & kept[:-3]]
    if len(third) >= LEAST_LEFT:
        return _noise(third)
    # Many departures: differences from one kept row to the next, slopes of heat included.
    change = np.abs(np.diff(window.channel.signal_rows[window.index][kept]))
    if len(change) < LEAST_LEFT:
        return None
    return float(np.median(change)) * MEDIAN_TO_SD / math.sqrt(2.0)


def _noise(third: Floats) -> float:
    """sd from the smaller three quarters of third differences, as `table.windows` does."""
    count = max(round(len(third) * KEPT_DIFFERENCES / 29.0), 1)
    return float(np.partition(third, count - 1)[:count].mean()) * KEPT_TO_SD


def _whole(name: str, part: Event, book: EventBook) -> Event | None:
    """The newest excursion on the channel, or on all, since the part began."""
    jumps = kinds_of(Shape.JUMP, Shape.FLIP)
    found = [
        event
        for kind in (*kinds_of(Shape.JOINT), *jumps, *kinds_of(Shape.END))
        for channel in (name, EVERY_CHANNEL)
        if (event := book.newest(channel, kind)) is not None
        and event.absorbed_by is None
        and (event.end_s is None or event.end_s >= part.start_s)
    ]
    return found[0] if found else None


def _of_frozen(report: Sighting, event: Event, book: EventBook) -> None:
    frozen = book.newest(report.channel, Kind.FROZEN)
    if frozen is None or frozen.absorbed_by is not None or event.count > 1:
        return
    if KINDS[report.kind].shape is Shape.JUMP:
        is_part = frozen.end_s is not None and abs(report.start_s - frozen.end_s) <= RELEASE_S
    else:
        is_part = frozen.start_s <= report.at_s and (
            frozen.end_s is None or report.at_s <= frozen.end_s + AFTER_S
        )
    if is_part:
        book.absorb([event.id], frozen.id)
