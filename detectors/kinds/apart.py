"""drift: a sensor slowly departs from another that it used to follow.

Quantity: K, the change of the difference between two channels. Two channels follow each
other once they have warmed together by 15 K or more, within 3 K of each other, over ten minutes:
two sensors of one block, one bed, one chamber. Nozzle and bed never do. A channel is a heater's
if it reports power or a target. Two heaters' sensors are never paired; one is paired with
another sensor only if that follows for ten minutes while the heater is on, since whatever stands
unheated follows the room; and two others only while some heater is on, where any reports. What
a room warms, up to 6 K an hour, and what cools together is no following. Two that followed and
of which one then moves by 15 K while the other moves less than half of that do so no more:
nothing drifts so fast. Only calm windows count (both slower than 0.02 K/s, so that lag makes no
difference; neither starting nor halted), every eighth of them: what is slow needs no more.

Limit: 4 K, and 2 % of the level, beside the middle of the differences in which they followed,
for 10 minutes on end. Two class B sensors may part by 1.5 K between 25 and 250 °C (IEC 60751),
and places of one block by as much with the fan: the limit is twice that. Chance has no part in
it: the mean of a window's noise is tenths of a kelvin at most, and ten minutes must agree.

Named is the channel without a target: the other is held where it reads right by its loop. If
both or neither has one, it is the one that departs from more channels, else the first by name;
`other` in the facts is its partner. Which of two is wrong, a third or the power must tell.

Blind until two channels have followed each other, to both drifting alike, to two heaters'
sensors, and to a controller's own board, which has heat of its own.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from detectors.book import EventBook
from detectors.closed import Together, WindowsAt
from detectors.detector import Rule
from detectors.kinds.rest import OFF, ROOM_C_S, is_board
from detectors.reports import Cleared, Sighting
from shared.events import NotEvaluated
from shared.words import EVERY_CHANNEL, Gate, Kind

EVERY = 8
"""Windows."""
CALM_C_S = 0.02
FOLLOW_K = 3.0
RANGE_K = 15.0
FOLLOWED_S = 600.0
STAYED = 0.5
LIMIT_K, LIMIT_PART = 4.0, 0.02
BACK = 0.5
"""Part of the limit below which they agree again."""
LASTING_S = 600.0
_UNSURE = (Gate.STARTING, Gate.HALTED)


@dataclass(slots=True)
class _Pair:
    """How two channels went together; `own_k` is their difference once they follow."""

    start_s: float = math.nan
    low_k: float = math.inf
    high_k: float = -math.inf
    low_c: float = math.inf
    """Level from which they warm; it rises as fast as a room may."""
    warmed_k: float = 0.0
    heated_s: float = math.nan
    """Since when they have been heated while they kept together."""
    last_s: float = math.nan
    last_c: tuple[float, float] = (math.nan, math.nan)
    own_k: float = math.nan
    since_s: float = math.nan
    """Since when they are apart, or, while that is said, together again."""
    is_up: bool = False

    def follow(self, at_s: float, off_k: float, level_c: float, is_heated: bool) -> None:
        """Learn whether they follow each other."""
        low_k = off_k if off_k < self.low_k else self.low_k
        high_k = off_k if off_k > self.high_k else self.high_k
        if high_k - low_k > FOLLOW_K or self.start_s != self.start_s:
            low_k = high_k = off_k
            self.start_s, self.low_c, self.warmed_k = at_s, level_c, 0.0
            self.heated_s = math.nan
        else:
            roomy_c = self.low_c + ROOM_C_S * (at_s - self.last_s)
            self.low_c = level_c if level_c < roomy_c else roomy_c
        self.low_k, self.high_k, self.last_s = low_k, high_k, at_s
        warmed_k = level_c - self.low_c
        if warmed_k > self.warmed_k:
            self.warmed_k = warmed_k
        if not is_heated:
            self.heated_s = math.nan
            return
        if self.heated_s != self.heated_s:
            self.heated_s = at_s
        if self.warmed_k >= RANGE_K and at_s - self.heated_s >= FOLLOWED_S:
            self.own_k = 0.5 * (low_k + high_k)

    def parts(self, one_c: float, two_c: float) -> bool:
        """Whether one went far since the last look and the other stayed."""
        less, more = abs(one_c - self.last_c[0]), abs(two_c - self.last_c[1])
        if less > more:
            less, more = more, less
        return more >= RANGE_K and less < STAYED * more


class ApartRule(Rule):
    """Holds channels that follow each other against each other."""

    def __init__(self) -> None:
        self._pairs: dict[tuple[str, str], _Pair] = {}
        self._heaters: set[str] = set()
        """Channels that ever reported power or a target."""
        self._hot: set[str] = set()
        """Those of them that are on."""
        self._follows = False
        self._said: dict[str, tuple[str, str]] = {}
        """The pair behind each channel's event."""

    def window(self, windows: WindowsAt, book: EventBook) -> None:
        self._heat(windows)
        if windows.together.times.number[windows.index] % EVERY:
            return
        levels = {
            name: c for name, c in windows.together.of(_calm)[windows.index] if name in windows
        }
        for pair in combinations(sorted(levels), 2):
            self._compare(pair, levels, windows, book)

    def _heat(self, windows: WindowsAt) -> None:
        """Learn who has a heater, and whose is on."""
        known = len(self._heaters)
        for name, told, on in windows.together.of(_heats):
            if told[windows.index]:
                self._heaters.add(name)
            (self._hot.add if on[windows.index] else self._hot.discard)(name)
        if len(self._heaters) > known:
            # What was learnt before was learnt of other pairs.
            self._pairs = {names: pair for names, pair in self._pairs.items() if pair.is_up}

    def _is_heated(self, pair: tuple[str, str]) -> bool:
        """Whether what heats both, as far as that is known, is on."""
        if not self._heaters:
            return True
        own = self._heaters.intersection(pair)
        return own <= self._hot if own else bool(self._hot)

    def _compare(
        self,
        pair: tuple[str, str],
        levels: Mapping[str, float],
        windows: WindowsAt,
        book: EventBook,
    ) -> None:
        known = self._pairs.get(pair)
        if self._heaters and self._heaters.issuperset(pair) and not (known and known.is_up):
            return
        one_c, two_c = levels[pair[0]], levels[pair[1]]
        off_k, at_s = one_c - two_c, windows.end_s
        if known is None or (not known.is_up and known.parts(one_c, two_c)):
            known = self._pairs[pair] = _Pair()
        known.last_c = one_c, two_c
        if known.own_k != known.own_k:
            known.follow(at_s, off_k, one_c, self._is_heated(pair))
            self._follows = self._follows or known.own_k == known.own_k
            return
        departed_k = off_k - known.own_k
        limit = max(LIMIT_K, LIMIT_PART * abs(one_c))
        is_over = abs(departed_k) > (BACK * limit if known.is_up else limit)
        if is_over is known.is_up:
            known.since_s = math.nan
            return
        if known.since_s != known.since_s:
            known.since_s = windows.start_s
        if at_s - known.since_s < LASTING_S:
            return
        since_s, known.since_s, known.is_up = known.since_s, math.nan, not known.is_up
        if known.is_up:
            self._depart(pair, windows, departed_k, since_s, book)
        else:
            self._return(pair, windows, since_s, book)

    def _depart(
        self,
        pair: tuple[str, str],
        windows: WindowsAt,
        departed_k: float,
        since_s: float,
        book: EventBook,
    ) -> None:
        name = self._named(pair, windows)
        other = pair[1] if name == pair[0] else pair[0]
        value = departed_k if name == pair[0] else -departed_k
        open_ = book.newest(name, Kind.DRIFT)
        if name in self._said or (open_ is not None and open_.end_s is None):
            # Its power, or another partner, has said it.
            return
        self._said[name] = pair
        window = windows[name]
        way = "above" if value > 0.0 else "below"
        book.sight(
            Sighting(
                row=window.last_row,
                at_s=window.end_s,
                channel=name,
                kind=Kind.DRIFT,
                start_s=since_s,
                end_s=None,
                value=value,
                unit="K",
                text=f"it used to follow {other} and now reads {abs(value):.1f} K {way} that",
                reads_low=value < 0.0 and window.target_c == window.target_c,
                facts={"other": other, "departed_c": value},
            )
        )

    def _named(self, pair: tuple[str, str], windows: WindowsAt) -> str:
        has_target = [windows[name].target_c == windows[name].target_c for name in pair]
        if has_target[0] is not has_target[1]:
            return pair[has_target.index(False)]
        apart = [sum(p.is_up for key, p in self._pairs.items() if name in key) for name in pair]
        return pair[1] if apart[1] > apart[0] else pair[0]

    def _return(
        self, pair: tuple[str, str], windows: WindowsAt, since_s: float, book: EventBook
    ) -> None:
        for name in pair:
            if self._said.get(name) == pair:
                del self._said[name]
                book.clear(Cleared(windows.last_row, windows.end_s, name, Kind.DRIFT, since_s))

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._follows:
            return []
        why = (
            f"no two channels kept within {FOLLOW_K:g} K while they warmed by {RANGE_K:g} K, "
            "so none is held against another"
        )
        return [NotEvaluated(kind=Kind.DRIFT, channel=EVERY_CHANNEL, why=why)]


def _calm(together: Together) -> list[list[tuple[str, float]]]:
    """Channels that stand still in a window, and what they read, by window."""
    found: list[list[tuple[str, float]]] = [[] for _ in range(len(together.windows))]
    looked_at = np.array([number % EVERY == 0 for number in together.times.number], dtype=bool)
    for name, run in together.channels.items():
        if is_board(name):
            continue
        channel, middle_c = run.channel, run.column("middle_c")
        calm = looked_at & ~channel.joined & (np.abs(channel.celsius_slope) < CALM_C_S)
        for index in np.flatnonzero(calm).tolist():
            if run.gates[index] not in _UNSURE:
                found[index].append((name, middle_c[index]))
    return found


def _heats(together: Together) -> list[tuple[str, list[bool], list[bool]]]:
    """Channels with a power or a target: where it is told, and where it is on."""
    found = []
    for name, run in together.channels.items():
        channel = run.channel
        told = ~np.isnan(channel.power) | ~np.isnan(channel.target_c)
        on = (channel.power_high > OFF) | (channel.power > OFF) | (channel.target_c > 0.0)
        if told.any() or on.any():
            found.append((name, told.tolist(), on.tolist()))
    return found
