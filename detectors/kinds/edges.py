"""interference of a heater: noise that begins as it is switched on and ends as it is switched off.

Quantity: the chance that both change points fall together. Noise (`noise-rise`) that has ended is
held against the times at which each heater's power began and ended: edges fall near a moment by
chance in proportion to how many there are, on and off apart, and to the windows that count as near.
With both near, and a chance below 0.001 over all heaters, it is tied to that heater's power, though
it was so but once.

Blind to noise that goes on, where power is not told, and to heaters that are switched all the time.
"""

from collections import defaultdict, deque
from collections.abc import Mapping
from dataclasses import dataclass, field

from detectors.book import EventBook
from detectors.detector import Rule
from detectors.heat.levels import OFF
from detectors.kinds.unpowered import with_power
from detectors.reports import Cleared, Report, Sighting
from detectors.table.closed import WindowsAt
from shared.events import Event
from shared.words import Kind

NEAR_WINDOWS = 2.5
SIGNIFICANT = 1e-3
MOST_EDGES = 256


@dataclass(slots=True)
class _Heater:
    """Times at which power began, and ended."""

    on_s: deque[float] = field(default_factory=lambda: deque(maxlen=MOST_EDGES))
    off_s: deque[float] = field(default_factory=lambda: deque(maxlen=MOST_EDGES))
    is_on: bool | None = None

    def take(self, is_on: bool, at_s: float) -> None:
        if self.is_on is not None and is_on is not self.is_on:
            (self.on_s if is_on else self.off_s).append(at_s)
        self.is_on = is_on


@dataclass(slots=True)
class EdgeRule(Rule):
    """Holds noise that is over against the edges of heaters."""

    _heaters: dict[str, _Heater] = field(default_factory=lambda: defaultdict(_Heater))
    _first_s: float | None = None
    _last_s: float = 0.0
    _window_s: float = 0.0

    def window(self, windows: WindowsAt, book: EventBook) -> None:
        self._first_s = windows.start_s if self._first_s is None else self._first_s
        self._last_s, self._window_s = windows.end_s, windows.end_s - windows.start_s
        together, index = windows.together, windows.index
        for name in together.of(with_power):
            power = together.channels[name].column("power_high")[index]
            if power == power:
                self._heaters[name].take(power > OFF, windows.start_s)

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        if not isinstance(report, Cleared) or event is None or event.kind is not Kind.NOISE_RISE:
            return
        begun_s, ended_s = event.start_s, event.end_s
        known = book.newest(event.channel, Kind.INTERFERENCE)
        if ended_s is None or event.count > 1 or (known is not None and known.end_s is None):
            return
        chances = {name: self._chance(one, begun_s, ended_s) for name, one in self._heaters.items()}
        name = min(chances, key=lambda each: (chances[each], each), default="")
        if not name or chances[name] * len(chances) > SIGNIFICANT:
            return
        book.sight(
            Sighting(
                row=report.row,
                at_s=report.at_s,
                channel=event.channel,
                kind=Kind.INTERFERENCE,
                start_s=begun_s,
                end_s=ended_s,
                value=event.value,
                unit=event.unit,
                text=f"its noise begins as the heater of {name} is switched on, and ends with it",
                tied_to=f"{name}.power",
                facts={"p": chances[name] * len(chances), "of": "noise"},
            )
        )

    def _chance(self, heater: _Heater, begun_s: float, ended_s: float) -> float:
        """That an edge of each sort lies so near by chance; 1 where none does."""
        near_s = NEAR_WINDOWS * self._window_s
        span_s = max(self._last_s - (self._first_s or 0.0), near_s)
        chance = 1.0
        for edges, at_s in ((heater.on_s, begun_s), (heater.off_s, ended_s)):
            if not any(abs(edge_s - at_s) <= near_s for edge_s in edges):
                return 1.0
            chance *= min(len(edges) * 2.0 * near_s / span_s, 1.0)
        return chance
