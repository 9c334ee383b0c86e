"""offset-cold: sensors that should agree at room temperature don't.

Quantity: K from the median of the other channels, once the machine is at rest. Rest is
every heater off for 100 s on end, all channels below 45 °C, and each so flat that with a
time constant of 20 minutes (a thick bed; an assumption) no more than 1 K is left to cool. A
room that warms moves all of them alike: only what a channel moves otherwise than the middle
one counts then, up to 6 K an hour; but what falls together may well be a machine that cools,
unless it has been off for an hour.

Limit: 3 K. Two platinum sensors of class B may differ by 0.9 K at 25 °C (IEC 60751), the
usual two-wire lead adds 1.5 K, and what sits beside what makes the rest; leads that the
chain's facts declare are allowed for. With three channels or more the one farthest from the
others is named; with two, the one that is farther from the controller's own board or from a
room's 15 to 30 °C, else `*`. A board runs some K warm by itself (common practice): it is
named only beyond 15 K.

Blind without heaters that report power, since rest cannot be told then, and while less
than two channels stand at rest.
"""

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field

from detectors.book import EventBook
from detectors.closed import ClosedWindow
from detectors.reports import Cleared, Report, Sighting
from shared.chain import Chain
from shared.events import Event, NotEvaluated
from shared.leads import path_ohm, share_read
from shared.words import EVERY_CHANNEL, Gate, Kind

OFF = 0.01
REST_S = 100.0
WARM_C = 45.0
LEFT_K = 1.0
SLOWEST_S = 1200.0
ROOM_C_S = 6.0 / 3600.0
"""How fast a room warms or cools at most (an assumption)."""
COOLED_S = 3600.0
LIMIT_K = 3.0
USUAL_LEAD_K = 1.5
BACK_K = 0.5
"""Deadband: the difference must fall this far below the limit to end the event."""
BOARD_LIMIT_K = 15.0
BOARD_WARM_K = 6.0
"""What a board's own heat usually adds."""
BOARD_WORDS = ("board", "controller", "driver", "mainboard", "cpu", "host")
ROOM_C = (15.0, 30.0)
OHM_PER_K = 0.00385
"""Mean slope of platinum between 0 and 100 °C, 1/K (IEC 60751)."""
KEPT_S = 240.0
COMPARE_EVERY = 2
"""Windows."""


@dataclass(slots=True)
class _Level:
    """One channel's last windows: middle and time."""

    middles: deque[tuple[float, float]] = field(default_factory=deque)

    def add(self, at_s: float, middle_c: float) -> None:
        self.middles.append((at_s, middle_c))
        while self.middles[0][0] < at_s - KEPT_S:
            self.middles.popleft()

    def mean(self) -> float:
        return math.fsum(c for _, c in self.middles) / len(self.middles)

    def slope(self) -> tuple[float, float]:
        """K/s and its standard error; NaN where three windows are not there yet."""
        n = len(self.middles)
        if n < 3:
            return math.nan, math.nan
        middle_s = math.fsum(s for s, _ in self.middles) / n
        spread = math.fsum((s - middle_s) ** 2 for s, _ in self.middles)
        if spread <= 0.0:
            return math.nan, math.nan
        mean = self.mean()
        slope = math.fsum((s - middle_s) * (c - mean) for s, c in self.middles) / spread
        rest = math.fsum((c - mean - slope * (s - middle_s)) ** 2 for s, c in self.middles)
        return slope, math.sqrt(rest / (n - 2) / spread)


def _is_flat(slope: float, error: float, common: float) -> bool:
    """Whether what is left to cool or warm, beside what all do, is less than `LEFT_K`."""
    return abs(slope - common) * SLOWEST_S < LEFT_K + 2.0 * error * SLOWEST_S


class RestRule:
    """Compares channels while the machine is at rest."""

    def __init__(self, chains: Mapping[str, Chain]) -> None:
        self._chains = chains
        self.resting: dict[str, float] = {}
        """Mean °C of each channel while the machine stands at rest by this rule; else empty."""
        self._since_s = math.nan
        self._levels: dict[str, _Level] = {}
        self._up: dict[str, float] = {}
        self._has_power = False
        self._has_rested = False
        self._row = 0
        self._rested = -1

    def advance(self, time_s: float, book: EventBook) -> None:
        """No deadlines."""

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        """Other reports do not matter."""

    def window(self, windows: Mapping[str, ClosedWindow], book: EventBook) -> None:
        powered, start_s, end_s = False, math.nan, math.nan
        for window in windows.values():
            power = window.power
            start_s, end_s, self._row = window.start_s, window.end_s, window.last_row
            if power == power:
                self._has_power = True
                powered = powered or power > OFF or window.target_c > 0.0
            powered = powered or window.gate is Gate.STARTING
        if powered or not self._has_power:
            if self._since_s == self._since_s:
                self._leave(start_s, book)
            return
        if self._since_s != self._since_s:
            self._since_s = start_s
        for name, window in windows.items():
            if window.joined or window.middle_c != window.middle_c:
                continue
            level = self._levels.get(name)
            if level is None:
                level = self._levels[name] = _Level()
            level.add(0.5 * (window.start_s + window.end_s), window.middle_c)
        self._rested += 1
        if end_s - self._since_s >= REST_S and self._rested % COMPARE_EVERY == 0:
            self._compare(end_s, book)

    def _leave(self, time_s: float, book: EventBook) -> None:
        """Heat is on: what was found ends here as far as anyone can tell."""
        for name in sorted(self._up):
            book.clear(Cleared(self._row, time_s, name, Kind.OFFSET_COLD, time_s))
        self._up.clear()
        self.resting = {}
        self._levels.clear()
        self._since_s = math.nan
        self._rested = -1

    def _compare(self, end_s: float, book: EventBook) -> None:
        slopes = {name: level.slope() for name, level in sorted(self._levels.items())}
        common = self._common([slope for slope, _ in slopes.values()], end_s)
        resting = {
            name: self._levels[name].mean()
            for name, (slope, error) in slopes.items()
            if _is_flat(slope, error, common) and self._levels[name].mean() < WARM_C
        }
        if len(resting) < 2 or len(resting) < len(self._levels):
            # Something still cools: its neighbours are not at room temperature either.
            self.resting = {}
            return
        self._has_rested = True
        self.resting = resting
        boards = {name: c for name, c in resting.items() if is_board(name)}
        others = {name: c for name, c in resting.items() if name not in boards}
        found = self._odd_ones(others, boards)
        for name, (off_k, others_c) in found.items():
            if name not in self._up:
                self._up[name] = off_k
                self._sight(name, off_k, others_c, end_s, book)
        for name in sorted(self._up.keys() - found.keys()):
            del self._up[name]
            book.clear(Cleared(self._row, end_s, name, Kind.OFFSET_COLD, end_s))

    def _common(self, slopes: list[float], end_s: float) -> float:
        """What all channels do together, K/s, where a room may do that; else 0."""
        if len(slopes) < 2 or any(slope != slope for slope in slopes):
            return 0.0
        middle = _median(slopes)
        if middle < 0.0 and end_s - self._since_s < COOLED_S:
            return 0.0
        return min(max(middle, -ROOM_C_S), ROOM_C_S)

    def _limit(self, name: str, limit: float = LIMIT_K) -> float:
        chain = self._chains.get(name)
        if chain is not None:
            limit += max(_lead_k(chain) - USUAL_LEAD_K, 0.0)
        return limit - BACK_K if name in self._up or EVERY_CHANNEL in self._up else limit

    def _odd_ones(
        self, others: dict[str, float], boards: dict[str, float]
    ) -> dict[str, tuple[float, float]]:
        """Channels that are off: by how much, and what the others say."""
        found: dict[str, tuple[float, float]] = {}
        left = dict(others)
        while len(left) >= 3:
            off = {name: c - _median([*_without(left, name)]) for name, c in left.items()}
            name = max(off, key=lambda key: abs(off[key]))
            if abs(off[name]) <= self._limit(name):
                break
            found[name] = off[name], left[name] - off[name]
            del left[name]
        if len(left) == 2 and not found:
            found |= self._of_two(left, boards)
        reference = _median(list(left.values())) if left else math.nan
        for name, c in boards.items():
            if abs(c - reference) > self._limit(name, BOARD_LIMIT_K) and len(left) > 1:
                found[name] = c - reference, reference
        return found

    def _of_two(
        self, pair: dict[str, float], boards: dict[str, float]
    ) -> dict[str, tuple[float, float]]:
        (one, one_c), (two, two_c) = pair.items()
        if abs(one_c - two_c) <= max(self._limit(one), self._limit(two)):
            return {}
        board_c = min(boards.values()) - BOARD_WARM_K / 2.0 if boards else math.nan
        odd_one, odd_two = _oddness(one_c, board_c), _oddness(two_c, board_c)
        if abs(odd_one - odd_two) < LIMIT_K - BACK_K:
            return {EVERY_CHANNEL: (one_c - two_c, two_c)}
        if odd_one > odd_two:
            return {one: (one_c - two_c, two_c)}
        return {two: (two_c - one_c, one_c)}

    def _sight(
        self, name: str, off_k: float, others_c: float, end_s: float, book: EventBook
    ) -> None:
        chain = self._chains.get(name)
        r0_ohm = chain.r0_ohm if chain is not None else 100.0
        off_ohm = off_k * OHM_PER_K * r0_ohm
        seen_ohm = r0_ohm * (1.0 + OHM_PER_K * (others_c + off_k))
        true_ohm = r0_ohm * (1.0 + OHM_PER_K * others_c)
        way = "above" if off_k > 0.0 else "below"
        text = f"at rest it reads {abs(off_k):.1f} K {way} the other channels' {others_c:.1f} °C"
        if name == EVERY_CHANNEL:
            names = " and ".join(self._levels)
            text = f"at rest {names} are {abs(off_k):.1f} K apart"
        book.sight(
            Sighting(
                row=self._row,
                at_s=end_s,
                channel=name,
                kind=Kind.OFFSET_COLD,
                start_s=self._since_s,
                end_s=None,
                value=off_k,
                unit="K",
                text=text,
                facts={
                    "offset_c": off_k,
                    "offset_ohm": off_ohm,
                    "others_c": others_c,
                    "implied_lead_ohm": off_ohm,
                    "implied_gain": seen_ohm / true_ohm,
                },
            ),
            Gate.COLD,
        )

    def finish(self, book: EventBook) -> None:
        """Nothing is held back."""

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._has_rested:
            return []
        why = "no heater reports power, so rest can't be told"
        if self._has_power:
            why = f"the machine never stood cold and unheated for {REST_S:.0f} s"
        return [NotEvaluated(kind=Kind.OFFSET_COLD, channel=EVERY_CHANNEL, why=why)]


def is_board(name: str) -> bool:
    """Whether a channel's name says that it is a controller's own sensor."""
    return any(word in name.lower() for word in BOARD_WORDS)


def _lead_k(chain: Chain) -> float:
    """What the leads of a chain add by its facts, K."""
    share, _ = share_read(chain)
    return share * path_ohm(chain) / (OHM_PER_K * chain.r0_ohm) if math.isfinite(share) else 0.0


def _without(values: Mapping[str, float], name: str) -> list[float]:
    return [value for key, value in values.items() if key != name]


def _median(values: list[float]) -> float:
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else 0.5 * (ordered[half - 1] + ordered[half])


def _oddness(celsius: float, board_c: float) -> float:
    """How far a reading is from what a room can be, K."""
    outside = max(ROOM_C[0] - celsius, celsius - ROOM_C[1], 0.0)
    return outside if board_c != board_c else max(outside, abs(celsius - board_c))
