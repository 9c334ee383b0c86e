"""A watch of its own for a check: departures as they begin, windows as they close."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from detectors.book import EventBook
from detectors.detector import Rule
from detectors.engine.watch import Watch
from detectors.reports import Departure, Report
from detectors.table.closed import ClosedWindow
from detectors.table.scale import is_end_shaped
from shared.chain import UNTOLD, Chain
from shared.converter import full_scale, ohms_of
from shared.events import Event, NotEvaluated
from shared.platinum import ohms
from shared.updates import Update, batch_of

CODE_ENDS = 2.0
"""Codes from either end of the converter that count as open or shorted."""
HIGHEST_RATIO = 4.0
"""R/R0 beyond any platinum element: 3.9 at 850 °C."""


@dataclass(frozen=True, slots=True)
class Break:
    """A reading left where heat could have it."""

    channel: str
    at_s: float


class Bench(Rule):
    """Judges a check's rows by the same detectors, limits and windows as the watch itself."""

    def __init__(self, chains: Mapping[str, Chain]) -> None:
        self._chains = dict(chains)
        self._watch = Watch(self._chains, [self])
        self.breaks: list[Break] = []
        """Departures so far, in order; a check may take them out."""
        self.windows: list[Mapping[str, ClosedWindow]] = []
        """Closed windows so far, in order; a check may take them out."""
        self._held: dict[str, float] = {}

    @property
    def now_s(self) -> float:
        """Time of the last update; NaN before the first."""
        return self._watch.now_s

    def chain(self, channel: str) -> Chain:
        return self._chains.get(channel, UNTOLD)

    def feed(self, update: Update) -> None:
        self._watch.feed(batch_of([update]))
        for key, value in update.values.items():
            if not isinstance(value, str):
                self._held[key] = value

    def ohms(self, channel: str) -> float:
        """Resistance that the converter reports now, Ω; NaN before it does."""
        code = self._held.get(f"{channel}.code")
        if code is not None:
            chain = self.chain(channel)
            return ohms_of(code, chain.reference_ohm, chain.bits)
        resistance_ohm = self._held.get(f"{channel}.resistance_ohm")
        if resistance_ohm is not None:
            return resistance_ohm
        celsius = self._held.get(f"{channel}.temperature_c")
        return math.nan if celsius is None else self._ohms_of_degrees(channel, celsius)

    def is_open(self, channel: str) -> bool:
        """Whether the input stands at the upper end of its codes, or far above any element."""
        code = self._held.get(f"{channel}.code")
        chain = self.chain(channel)
        if code is not None and chain.knows("bits"):
            return code >= full_scale(chain.bits) - CODE_ENDS
        if code is not None and code > 0.0 and is_end_shaped(code):
            return True
        return not self.ohms(channel) <= HIGHEST_RATIO * chain.r0_ohm

    def in_ohms(self, channel: str, value: float) -> float:
        """A value of a window, which is in Ω or in °C, as Ω."""
        keys = (f"{channel}.code", f"{channel}.resistance_ohm")
        has_ohms = any(key in self._held for key in keys)
        return value if has_ohms else self._ohms_of_degrees(channel, value)

    def _ohms_of_degrees(self, channel: str, celsius: float) -> float:
        """Back from the host's degrees by the facts it believes."""
        chain = self.chain(channel)
        believed = ohms(celsius, chain.believed_r0_ohm, chain.believed_curve)
        return believed * chain.reference_ohm / chain.believed_reference_ohm

    # -- what the watch calls --

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        if isinstance(report, Departure) and report.away:
            self.breaks.append(Break(report.channel, report.at_s))

    def window(self, windows: Mapping[str, ClosedWindow], book: EventBook) -> None:
        self.windows.append(windows)

    def not_evaluated(self) -> list[NotEvaluated]:
        return []
