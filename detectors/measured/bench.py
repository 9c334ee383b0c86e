"""A watch of its own for a check: departures as they begin, windows as they close."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from detectors.book import EventBook
from detectors.detector import ClosedWindow
from detectors.reports import Departure, Report
from detectors.watch import Watch
from shared.chain import ASSUMED, Chain
from shared.converter import ohms_of
from shared.events import Event, NotEvaluated
from shared.health import ChannelHealth
from shared.platinum import ohms
from shared.updates import Update, batch_of

CODE_ENDS = 2.0
"""Codes from either end of the converter that count as open or shorted."""


@dataclass(frozen=True, slots=True)
class Break:
    """A reading left where heat could have it."""

    channel: str
    at_s: float


class Bench:
    """Judges a check's rows by the same detectors, limits and windows as the watch itself."""

    def __init__(self, chains: Mapping[str, Chain]) -> None:
        self._chains = dict(chains)
        self._watch = Watch(self._chains, [self])
        self.breaks: list[Break] = []
        """Departures so far, in order; a check may take them out."""
        self.windows: list[Mapping[str, ClosedWindow]] = []
        """Closed windows so far, in order; a check may take them out."""
        self.health: dict[str, ChannelHealth] = {}

    @property
    def now_s(self) -> float:
        """Time of the last update; NaN before the first."""
        return self._watch.now_s

    def chain(self, channel: str) -> Chain:
        return self._chains.get(channel, ASSUMED)

    @property
    def channels(self) -> tuple[str, ...]:
        """Channels heard so far."""
        return tuple(self.health)

    def feed(self, update: Update) -> None:
        self._watch.feed(batch_of([update]))
        self.health = {one.channel: one for one in self._watch.health()}

    def ohms(self, channel: str) -> float:
        """Resistance that the converter reports now, Ω; NaN before it does."""
        health = self.health.get(channel)
        chain = self.chain(channel)
        if health is None:
            return math.nan
        if health.code is not None:
            return ohms_of(health.code, chain.reference_ohm, chain.bits)
        if health.resistance_ohm is not None:
            return health.resistance_ohm
        return math.nan if health.temperature_c is None else self._by_degrees(channel, health)

    def is_open(self, channel: str) -> bool:
        """Whether the input stands at the upper end of its codes, or far above any element."""
        health = self.health.get(channel)
        if health is not None and health.code is not None:
            return health.code >= 2.0 ** self.chain(channel).bits - CODE_ENDS
        return self.ohms(channel) > 4.0 * self.chain(channel).r0_ohm

    def in_ohms(self, channel: str, value: float) -> float:
        """A value of a window, which is in Ω or in °C, as Ω."""
        health = self.health.get(channel)
        has_ohms = health is not None and (
            health.code is not None or health.resistance_ohm is not None
        )
        return value if has_ohms else self._ohms_of_degrees(channel, value)

    def _by_degrees(self, channel: str, health: ChannelHealth) -> float:
        assert health.temperature_c is not None
        return self._ohms_of_degrees(channel, health.temperature_c)

    def _ohms_of_degrees(self, channel: str, celsius: float) -> float:
        """Back from the host's degrees by the facts it believes."""
        chain = self.chain(channel)
        believed = ohms(celsius, chain.believed_r0_ohm, chain.believed_curve)
        return believed * chain.reference_ohm / chain.believed_reference_ohm

    # -- what the watch calls --

    def advance(self, time_s: float, book: EventBook) -> None:
        """No deadlines."""

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        if isinstance(report, Departure) and report.away:
            self.breaks.append(Break(report.channel, report.at_s))

    def window(self, windows: Mapping[str, ClosedWindow], book: EventBook) -> None:
        self.windows.append(windows)

    def finish(self, book: EventBook) -> None:
        """Nothing is held back."""

    def not_evaluated(self) -> list[NotEvaluated]:
        return []
