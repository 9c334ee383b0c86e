"""startup-transient: implausible readings that settle by themselves after a restart.

Quantity: seconds until a channel was settled. What is electrical and begins in the
first 60 s after the controller or the host started is held to be the start's, and is
explained by this event, once the channel has been clean for 10 s and reads what heat could
have made of the reading before the start; where there was no before, what a room or a heater
may be. What has not settled 90 s after the start, or is still there when the log ends, becomes
what it is; so does what shows while the machine is stopped: what the host stops it for is no
harmless start.

The trade allows half a minute to a minute for it (common practice); the rest is margin.

Blind where neither an uptime nor the host's state is reported.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from detectors.book import EventBook
from detectors.detector import Rule
from detectors.reports import Cleared, Departure, Report, Sighting, Started
from detectors.table.closed import WindowsAt
from detectors.table.gates import STARTING_S
from shared.events import Event
from shared.kinds import KINDS
from shared.words import Kind

CLEAN_S = 10.0
BACK_K, FALL_K_S, OVERSHOOT_K = 10.0, 2.0, 30.0
"""A reading is back within so much of what it was, of what it may have lost since (a small hot
block under a fan; an assumption), and of its target with some overshoot."""
COLDEST_C, HOTTEST_COLD_C = -20.0, 80.0
"""Where one may be that nothing is known of: from a cold shed to a machine that was hot lately."""
GIVE_UP_S = 90.0


@dataclass(slots=True)
class _Trouble:
    """What one channel has shown since the start."""

    event: int
    first_s: float
    last_s: float
    booked: list[int] = field(default_factory=list)
    active: set[Kind] = field(default_factory=set)


class StartupRule(Rule):
    """Books one event a channel and start, and settles or gives up by deadline."""

    def __init__(self) -> None:
        self._started_s = -GIVE_UP_S
        self._has_started = False
        self._open: dict[str, _Trouble] = {}
        self._explained: dict[int, int] = {}
        self._away: set[str] = set()
        self._is_halted = False
        self._windows: WindowsAt | None = None
        """The last that closed."""
        self._before: dict[str, float] = {}
        """What each channel read before the start, °C."""

    def advance(self, time_s: float, book: EventBook) -> None:
        if not self._open:
            return
        give_up_s = self._started_s + GIVE_UP_S
        for channel in sorted(self._open):
            trouble = self._open[channel]
            settled_s = trouble.last_s + CLEAN_S
            is_quiet = not trouble.active and channel not in self._away
            if is_quiet and self._is_right(channel, time_s) and settled_s <= min(time_s, give_up_s):
                self._settle(channel, trouble, book)
            elif give_up_s <= time_s:
                self._give_back(channel, trouble, give_up_s, book)

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        if isinstance(report, Started):
            self._has_started = True
            if report.since_s > self._started_s:
                self._started_s = report.since_s
                names = () if self._windows is None else tuple(self._windows)
                self._before = {name: self._level(name)[0] for name in names}
        elif isinstance(report, Departure):
            self._depart(report)
        elif isinstance(report, Sighting):
            if report.kind is Kind.HALT:
                self._is_halted = True
                self._give_all_back(report.at_s, book)
            elif event is not None and KINDS[report.kind].may_settle and not self._is_halted:
                self._sighted(report, event, book)
        elif report.kind is Kind.HALT:
            self._is_halted = False
        elif KINDS[report.kind].may_settle and report.channel in self._open:
            trouble = self._open[report.channel]
            trouble.active.discard(report.kind)
            trouble.last_s = max(trouble.last_s, report.at_s)

    def window(self, windows: WindowsAt, book: EventBook) -> None:
        self._windows = windows

    def _level(self, channel: str) -> tuple[float, float]:
        """A channel's reading and target in its last window, °C; NaN before there is one."""
        windows = self._windows
        if windows is None or channel not in windows:
            return math.nan, math.nan
        run = windows.together.channels[channel]
        return run.column("middle_c")[windows.index], run.column("target_c")[windows.index]

    def _is_right(self, channel: str, time_s: float) -> bool:
        """Whether a quiet channel reads what it may; where no degrees are told, any."""
        celsius, target_c = self._level(channel)
        before_c = self._before.get(channel, math.nan)
        lost_k = FALL_K_S * max(time_s - self._started_s, 0.0)
        least = COLDEST_C if math.isnan(before_c) else before_c - lost_k - BACK_K
        most = HOTTEST_COLD_C if math.isnan(before_c) else before_c + BACK_K
        if target_c > 0.0:
            most = max(most, target_c + OVERSHOOT_K)
        return not (celsius < least or celsius > most)

    def finish(self, book: EventBook) -> None:
        for channel in sorted(self._open):
            trouble = self._open[channel]
            self._give_back(channel, trouble, trouble.last_s, book)

    def _depart(self, report: Departure) -> None:
        if report.away:
            self._away.add(report.channel)
        else:
            self._away.discard(report.channel)
        trouble = self._open.get(report.channel)
        if trouble is not None:
            trouble.last_s = max(trouble.last_s, report.at_s)

    def _sighted(self, report: Sighting, event: Event, book: EventBook) -> None:
        is_in_start = 0.0 <= report.start_s - self._started_s < STARTING_S
        seen = self._explained.get(event.id, 0)
        is_new = event.count > seen
        if not is_in_start or report.at_s - self._started_s > GIVE_UP_S:
            if is_new and seen:
                # It comes at other times too, so the start does not explain it.
                book.absorb([event.id], None)
            return
        if is_new:
            self._explained[event.id] = seen + 1
        if seen + is_new < event.count:
            return
        trouble = self._open.get(report.channel)
        if trouble is None:
            id_ = book.sight(self._sighting(report)).id
            trouble = self._open[report.channel] = _Trouble(id_, report.start_s, report.at_s)
        trouble.first_s = min(trouble.first_s, report.start_s)
        trouble.last_s = max(trouble.last_s, report.at_s)
        if event.id not in trouble.booked:
            trouble.booked.append(event.id)
        if report.end_s is None:
            trouble.active.add(report.kind)
        book.absorb([event.id], trouble.event)

    def _sighting(self, report: Sighting) -> Sighting:
        return Sighting(
            row=report.row,
            at_s=report.at_s,
            channel=report.channel,
            kind=Kind.STARTUP_TRANSIENT,
            start_s=report.start_s,
            end_s=None,
            value=0.0,
            unit="s",
            text=f"implausible just after a start ({report.text}): may settle by itself",
            facts={"after_start_s": report.start_s - self._started_s},
        )

    def _settle(self, channel: str, trouble: _Trouble, book: EventBook) -> None:
        del self._open[channel]
        settled_s = trouble.last_s - self._started_s
        book.clear(
            Cleared(
                row=0,
                at_s=trouble.last_s + CLEAN_S,
                channel=channel,
                kind=Kind.STARTUP_TRANSIENT,
                end_s=trouble.last_s,
                value=settled_s,
                text=f"implausible after a start, settled by itself {settled_s:.0f} s after it",
                facts={"settled_s": settled_s},
            )
        )

    def _give_all_back(self, at_s: float, book: EventBook) -> None:
        for channel in sorted(self._open):
            self._give_back(channel, self._open[channel], at_s, book)

    def _give_back(self, channel: str, trouble: _Trouble, at_s: float, book: EventBook) -> None:
        del self._open[channel]
        book.absorb(trouble.booked, None)
        book.clear(Cleared(0, at_s, channel, Kind.STARTUP_TRANSIENT, at_s))
        book.absorb([trouble.event], trouble.booked[0])
