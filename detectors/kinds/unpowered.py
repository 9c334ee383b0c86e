"""rise-unpowered: heat without power.

Quantity: K that a heater's reading rose after its power had been off for longer than its
after-heat: 60 s, or four times the learned dead time and lag, but at least 24 s. It must
rise in two windows of 32 rows on end, by 1 K or more each, by 4 K in all and faster than
0.03 K/s; a jump within a window is no rise.

What a hotter neighbour warms is no fault: while another channel is hotter, only a rise
faster than 0.15 K/s counts (a nozzle parked over a hot bed gains less; an assumption).

Where power was only ever 0 or one level (`heat.levels`), zeros below the target say nothing; at no
target, or above it, a heater has no reason to be on.

Blind without power, to slow rises beside something hotter, and below the target where power
is 0 or one level.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from detectors.book import EventBook
from detectors.detector import Rule
from detectors.heat.heatmodel import StepResponse
from detectors.heat.levels import OFF, Levels
from detectors.reports import Cleared, Sighting
from detectors.table.closed import ClosedWindow, Together, WindowsAt
from shared.events import NotEvaluated
from shared.words import Gate, Kind

WAIT_S = 60.0
LEAST_WAIT_S = 24.0
LAGS = 4.0
LEAST_STEP_K = 1.0
LEAST_RISE_K = 4.0
LEAST_RATE_C_S = 0.03
BESIDE_RATE_C_S = 0.15
HOTTER_K = 5.0
SMOOTH = 0.6
"""A window's steepest single change may be this part of its range at most: else it jumped."""


@dataclass(slots=True)
class _Heater:
    off_s: float = math.nan
    """Since when power has been off."""
    from_c: float = math.nan
    last: ClosedWindow | None = None
    rises: int = 0
    top_c: float = -math.inf
    is_up: bool = False
    before: ClosedWindow | None = None
    levels: Levels = field(default_factory=Levels)
    response: StepResponse = field(default_factory=StepResponse)


@dataclass(slots=True)
class UnpoweredRule(Rule):
    """Looks at every channel with power, with the others beside it."""

    _heaters: dict[str, _Heater] = field(default_factory=dict)
    _names: set[str] = field(default_factory=set)

    def window(self, windows: WindowsAt, book: EventBook) -> None:
        if len(windows) > len(self._names):
            self._names.update(windows)
        for name in windows.together.of(with_power):
            if name in windows:
                self._look(name, windows, book)

    def _look(self, name: str, windows: WindowsAt, book: EventBook) -> None:
        window = windows[name]
        power = window.power
        if power != power:
            return
        heater = self._heaters.get(name)
        if heater is None:
            heater = self._heaters[name] = _Heater()
        if heater.before is not None:
            heater.response.take(window, heater.before)
        heater.before = window
        heater.levels.take(window)
        if power > OFF:
            if heater.off_s == heater.off_s:
                self._powered(name, heater, window, book)
            return
        self._off(name, heater, window, windows, book)

    def _powered(self, name: str, heater: _Heater, window: ClosedWindow, book: EventBook) -> None:
        self._end(name, heater, window, book)
        heater.off_s = math.nan
        heater.last = None
        heater.rises = 0

    def _off(
        self,
        name: str,
        heater: _Heater,
        window: ClosedWindow,
        windows: Mapping[str, ClosedWindow],
        book: EventBook,
    ) -> None:
        if not heater.levels.is_graded and window.middle_c < window.target_c:
            self._powered(name, heater, window, book)
            return
        if heater.off_s != heater.off_s:
            heater.off_s = window.start_s
        last, heater.last = heater.last, window
        if last is None or window.joined or window.gate is Gate.STARTING:
            heater.rises = 0
            return
        rise = window.middle_c - last.middle_c
        if heater.is_up:
            heater.top_c = max(heater.top_c, window.middle_c)
            if rise <= 0.0 and window.middle_c < heater.top_c - LEAST_STEP_K:
                self._end(name, heater, window, book)
            return
        if not rise > 0.0 or window.end_s - heater.off_s < _wait_s(heater.response):
            heater.rises = 0
            return
        if heater.rises == 0:
            heater.from_c = last.middle_c
        span = 0.5 * (window.end_s + window.start_s - last.end_s - last.start_s)
        if rise < LEAST_STEP_K or rise / span < self._least_rate(name, window, windows):
            # Slow rises add up, from where they began; what falls begins anew.
            if rise / span < LEAST_RATE_C_S:
                heater.rises = 0
            return
        if not _is_even(window):
            heater.rises = 0
            return
        heater.rises += 1
        total = window.middle_c - heater.from_c
        if heater.rises >= 2 and total >= LEAST_RISE_K:
            self._raise(name, heater, window, total, rise / span, book)

    def _least_rate(
        self, name: str, window: ClosedWindow, windows: Mapping[str, ClosedWindow]
    ) -> float:
        beside = any(
            other.middle_c > window.middle_c + HOTTER_K
            for key, other in windows.items()
            if key != name
        )
        return BESIDE_RATE_C_S if beside else LEAST_RATE_C_S

    def _raise(
        self,
        name: str,
        heater: _Heater,
        window: ClosedWindow,
        total: float,
        rate: float,
        book: EventBook,
    ) -> None:
        heater.is_up, heater.top_c = True, window.middle_c
        off_for = window.end_s - heater.off_s
        book.sight(
            Sighting(
                row=window.last_row,
                at_s=window.end_s,
                channel=name,
                kind=Kind.RISE_UNPOWERED,
                start_s=window.start_s,
                end_s=None,
                value=total,
                unit="K",
                text=f"it rose {total:.1f} K though power has been off for {off_for:.0f} s",
                facts={"rate_c_s": rate, "off_s": off_for},
            ),
            window.gate,
        )

    def _end(self, name: str, heater: _Heater, window: ClosedWindow, book: EventBook) -> None:
        if heater.is_up:
            heater.is_up = False
            heater.rises = 0
            book.clear(
                Cleared(window.last_row, window.end_s, name, Kind.RISE_UNPOWERED, window.end_s)
            )

    def not_evaluated(self) -> list[NotEvaluated]:
        why = "no power is reported, so heat can't be held against it"
        return [
            NotEvaluated(kind=Kind.RISE_UNPOWERED, channel=name, why=why)
            for name in sorted(self._names - self._heaters.keys())
        ]


def with_power(together: Together) -> list[str]:
    return [name for name, run in together.channels.items() if run.has_power]


def _is_even(window: ClosedWindow) -> bool:
    """Whether the window's range was not made by one jump."""
    rows = window.channel.signal_rows[window.index].tolist()
    steepest: float = max(abs(after - before) for before, after in pairwise(rows))
    return steepest <= SMOOTH * (window.high - window.low)


def _wait_s(response: StepResponse) -> float:
    """Time after which no after-heat is left."""
    if math.isnan(response.dead_s):
        return WAIT_S
    return max(LAGS * (response.dead_s + response.lag_s), LEAST_WAIT_S)
