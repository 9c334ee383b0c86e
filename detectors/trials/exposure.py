"""What a log was exposed to, and when faults came: the raw material of trials.

A rule that only listens (`Watch(chains, [ledger])`). It counts time by what each channel
was doing, metres of motion and heat-ups, window by window, and notes every single
occurrence, since one event may join hundreds. Windows and reports come in log order
however the log was cut, and so does this.

A window's time is what its rows account for: silence longer than usual is no exposure.
The last rows of a log, less than one window, are not counted.
"""

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from detectors.book import EventBook
from detectors.detector import Rule
from detectors.reports import Report, Sighting
from detectors.table.closed import Together, WindowsAt
from detectors.table.windows import ROWS, Windows
from shared.events import Event
from shared.updates import Floats
from shared.words import EVERY_CHANNEL, Gate, Kind

LONGEST_SPAN_S = 60.0
"""Windows alike are joined up to this; a trial that starts within one takes its share."""
LEAST_PAUSE_S, PAUSE_IN_ROWS = 2.0, 8.0
"""A row stands for no more time than this, and this many usual ones: the rest is silence."""
HEAT_UP_C = 15.0
"""A heat-up begins at least this far below its target: less is regulation."""
SPEED_KEY = "motion.speed_mm_s"
POSITION_KEYS = ("motion.x_mm", "motion.y_mm", "motion.z_mm")


class Span(NamedTuple):
    """A stretch in which a channel did one thing."""

    start_s: float
    end_s: float
    gate: Gate | None
    """None on the channel that means all of them."""
    moving: bool | None
    """Whether the carriage moved; None where motion is not reported."""
    seconds: float
    """Time that rows account for, at most `end_s` − `start_s`."""
    metres: float


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One fault, once."""

    channel: str
    kind: Kind
    at_s: float
    is_up: bool | None = None
    """Whether the reading left toward open; None where that is not told."""


@dataclass(frozen=True, slots=True)
class Usage:
    """Exposure and faults of one log, each in order of time."""

    spans: Mapping[str, tuple[Span, ...]]
    heat_ups_s: Mapping[str, tuple[float, ...]]
    """When each channel's heat-ups began."""
    occurrences: tuple[Occurrence, ...]

    def span_at(self, channel: str, at_s: float) -> Span | None:
        """The channel's span that holds a time; the last one for what came after it."""
        spans = self.spans.get(channel, ())
        place = bisect_right(spans, at_s, key=lambda span: span.end_s)
        return spans[min(place, len(spans) - 1)] if spans else None


_Account = tuple[float, float, bool | None, float, float]
"""A window's start and end, whether anything moved, seconds and metres."""


@dataclass(slots=True)
class _Seen:
    event: int
    occurrence: Occurrence


@dataclass(slots=True)
class Ledger(Rule):
    """Listens to a watch; `usage` may be asked at any time."""

    _spans: dict[str, list[Span]] = field(default_factory=dict)
    _heat_ups: dict[str, list[float]] = field(default_factory=dict)
    _gates: dict[str, Gate] = field(default_factory=dict)
    _counts: dict[int, int] = field(default_factory=dict)
    _seen: list[_Seen] = field(default_factory=list)
    _last_end_s: float = math.nan
    _last_place: tuple[float, ...] = ()
    _together: Together | None = None
    _accounts: Iterator[_Account] = field(default_factory=lambda: iter(()))
    """Of the windows of `_together` that are still to come."""

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        """Note an occurrence where the event was raised or counted up."""
        if not isinstance(report, Sighting) or event is None:
            return
        if event.count > self._counts.get(event.id, 0):
            self._counts[event.id] = event.count
            jump = report.facts.get("delta_ohm", report.facts.get("delta_c"))
            is_up = jump > 0.0 if isinstance(jump, float) else None
            occurrence = Occurrence(event.channel, event.kind, report.start_s, is_up)
            self._seen.append(_Seen(event.id, occurrence))

    def window(self, windows: WindowsAt, book: EventBook) -> None:
        """Account for one window of all channels."""
        index, together = windows.index, windows.together
        if self._together is not together:
            self._together = together
            self._accounts = self._account(together.windows, index)
        start_s, end_s, moving, seconds, metres = next(self._accounts)
        for channel in windows:
            gate = together.channels[channel].gates[index]
            self._add(channel, Span(start_s, end_s, gate, moving, seconds, metres))
            if gate is not self._gates.get(channel):
                self._gates[channel] = gate
                window = windows[channel]
                if gate is Gate.HEATING and window.target_c - window.middle_c >= HEAT_UP_C:
                    self._heat_ups.setdefault(channel, []).append(window.start_s)
        self._add(EVERY_CHANNEL, Span(start_s, end_s, None, moving, seconds, metres))

    def usage(self, events: Iterable[Event]) -> Usage:
        """What was gathered; `events` are the watch's, as they now stand.

        What another event explains is left out: it is counted there. Events that rules
        made themselves are spread evenly over their time, since only their count is known.
        """
        by_id = {event.id: event for event in events}
        found = [
            seen.occurrence
            for seen in self._seen
            if (event := by_id.get(seen.event)) is not None and event.absorbed_by is None
        ]
        for event in by_id.values():
            if event.id not in self._counts and event.absorbed_by is None:
                found += _spread(event)
        found.sort(key=lambda one: (one.at_s, one.channel, one.kind))
        return Usage(
            {channel: tuple(spans) for channel, spans in self._spans.items()},
            {channel: tuple(times) for channel, times in self._heat_ups.items()},
            tuple(found),
        )

    # -- one window --

    def _add(self, channel: str, span: Span) -> None:
        spans = self._spans.setdefault(channel, [])
        if spans:
            start_s, end_s, gate, moving, seconds, metres = span
            last_start_s, last_end_s, last_gate, last_moving, last_seconds, last_metres = spans[-1]
            alike = last_gate is gate and last_moving is moving and last_end_s == start_s
            if alike and end_s - last_start_s <= LONGEST_SPAN_S:
                spans[-1] = Span(
                    last_start_s, end_s, gate, moving, last_seconds + seconds, last_metres + metres
                )
                return
        spans.append(span)

    def _account(self, windows: Windows, first: int) -> Iterator[_Account]:
        """What the windows from `first` on stand for: those before it have no channel yet."""
        time_s = windows.time_rows[first:]
        end_s = time_s[:, -1]
        begun_s = time_s[0, 0] if math.isnan(self._last_end_s) else self._last_end_s
        start_s = np.concatenate([[begun_s], end_s[:-1]])
        # One row a window stays the same whichever way its rows came.
        spent = np.diff(time_s, axis=1, prepend=start_s[:, None])
        usual = np.sort(spent[:, 1:], axis=1)[:, (ROWS - 1) // 2]
        spent = np.minimum(spent, np.maximum(LEAST_PAUSE_S, PAUSE_IN_ROWS * usual)[:, None])
        metres, moving = self._motion(windows, first, spent)
        self._last_end_s = float(end_s[-1])
        columns = (start_s, end_s, spent.sum(axis=1), metres)
        starts, ends, seconds, ways = (column.tolist() for column in columns)
        return zip(starts, ends, moving, seconds, ways, strict=True)

    def _motion(
        self, windows: Windows, first: int, spent: Floats
    ) -> tuple[Floats, list[bool | None]]:
        """Metres in each window, and whether anything moved; by speed, else by places."""
        rows = {key: column[first:] for key, column in windows.context_rows.items()}
        speed = rows.get(SPEED_KEY)
        if speed is not None:
            metres = np.nansum(speed * spent, axis=1) / 1000.0
            moved = (speed > 0.0).any(axis=1).astype(object)
            moved[np.isnan(speed).all(axis=1)] = None
            return metres, moved.tolist()
        keys = [key for key in POSITION_KEYS if key in rows]
        if not keys:
            return np.zeros(len(spent)), [None] * len(spent)
        places = np.stack([rows[key].ravel() for key in keys], axis=1)
        before = self._last_place if len(self._last_place) == len(keys) else tuple(places[0])
        self._last_place = tuple(places[-1].tolist())
        steps = np.diff(np.concatenate([np.array([before]), places]), axis=0)
        way = np.sqrt((steps * steps).sum(axis=1)).reshape(spent.shape)
        metres = np.nansum(way, axis=1) / 1000.0
        return metres, (metres > 0.0).tolist()


def joined(parts: Sequence[Usage]) -> Usage:
    """Usages of stretches that follow each other in one log, as one."""
    spans: dict[str, tuple[Span, ...]] = {}
    heat_ups: dict[str, tuple[float, ...]] = {}
    for part in parts:
        for channel, found in part.spans.items():
            spans[channel] = spans.get(channel, ()) + found
        for channel, times in part.heat_ups_s.items():
            heat_ups[channel] = heat_ups.get(channel, ()) + times
    return Usage(spans, heat_ups, tuple(one for part in parts for one in part.occurrences))


def without(usage: Usage, pauses: Sequence[tuple[float, float]]) -> Usage:
    """The usage less some stretches, from…until: faults that somebody provoked prove nothing."""
    if not pauses:
        return usage
    return Usage(
        {
            channel: tuple(part for span in spans for part in _outside(span, pauses))
            for channel, spans in usage.spans.items()
        },
        {
            channel: tuple(at_s for at_s in times if not is_within(at_s, pauses))
            for channel, times in usage.heat_ups_s.items()
        },
        tuple(one for one in usage.occurrences if not is_within(one.at_s, pauses)),
    )


def is_within(at_s: float, pauses: Iterable[tuple[float, float]]) -> bool:
    return any(from_s <= at_s <= until_s for from_s, until_s in pauses)


def _outside(span: Span, pauses: Sequence[tuple[float, float]]) -> list[Span]:
    """Parts of a span outside of the pauses, its time and way shared out evenly."""
    parts = [(span.start_s, span.end_s)]
    for from_s, until_s in pauses:
        parts = [
            piece
            for start_s, end_s in parts
            for piece in ((start_s, min(end_s, from_s)), (max(start_s, until_s), end_s))
            if piece[1] > piece[0]
        ]
    whole = span.end_s - span.start_s
    return [
        Span(
            start_s,
            end_s,
            span.gate,
            span.moving,
            span.seconds * (end_s - start_s) / whole,
            span.metres * (end_s - start_s) / whole,
        )
        for start_s, end_s in parts
    ]


def _spread(event: Event) -> list[Occurrence]:
    end_s = event.start_s if event.end_s is None else event.end_s
    part_s = (end_s - event.start_s) / max(event.count, 1)
    return [
        Occurrence(event.channel, event.kind, event.start_s + part_s * index)
        for index in range(event.count)
    ]
