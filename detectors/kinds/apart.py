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

import numpy as np
from numpy.typing import NDArray

from detectors.book import EventBook
from detectors.detector import Rule
from detectors.kinds.rest import OFF, ROOM_C_S, is_board
from detectors.reports import Cleared, Sighting
from detectors.table.closed import Together, WindowsAt
from detectors.table.gates import marked
from detectors.table.running import Carried
from shared.events import NotEvaluated
from shared.updates import Floats
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
_UNSURE = marked(Gate.STARTING, Gate.HALTED)


_FIRST = {
    "start_s": math.nan,
    "low_k": math.inf,
    "high_k": -math.inf,
    "low_c": math.inf,
    "warmed_k": 0.0,
    "heated_s": math.nan,
    "last_s": math.nan,
    "one_c": math.nan,
    "two_c": math.nan,
    "own_k": math.nan,
    "since_s": math.nan,
    "is_up": 0.0,
}
"""How two channels went together.

start_s, low_k, high_k  since when, and between which differences, they have kept together
low_c       level from which they warm; it rises as fast as a room may
warmed_k    how far they warmed since
heated_s    since when they have been heated while they kept together
last_s, one_c, two_c    the last look, and what they read then
own_k       their difference, once they follow each other
since_s     since when they are apart, or, while that is said, together again
"""


class ApartRule(Rule):
    """Holds channels that follow each other against each other."""

    def __init__(self) -> None:
        self._names: list[str] = []
        self._pairs: list[tuple[int, int]] = []
        """Places of two channels, the first by name before the second."""
        self._carried = Carried(_FIRST)
        self._has_heater = self._is_hot = np.zeros(0, dtype=bool)
        """Channels that ever reported power or a target, and those of them that are on."""
        self._follows = False
        self._said: dict[str, tuple[str, str]] = {}
        """The pair behind each channel's event."""

    def window(self, windows: WindowsAt, book: EventBook) -> None:
        together, index = windows.together, windows.index
        self._grow(list(together.windows.channels))
        self._heat(together, index)
        if together.times.number[index] % EVERY or not self._pairs:
            return
        levels_c = np.full(len(self._names), math.nan)
        calm_c = together.of(_calm)[:, index]
        levels_c[: len(calm_c)] = calm_c
        self._compare(levels_c, windows, book)

    def _grow(self, names: list[str]) -> None:
        """Make room for channels that are new."""
        more = names[len(self._names) :]
        if not more:
            return
        before = len(self._names)
        self._names += more
        self._has_heater, self._is_hot = (
            np.concatenate((each, np.zeros(len(more), dtype=bool)))
            for each in (self._has_heater, self._is_hot)
        )
        for two in range(before, len(self._names)):
            for one in range(two):
                pair = (one, two) if self._names[one] < self._names[two] else (two, one)
                self._pairs.append(pair)
        self._carried.grow(len(self._pairs))

    def _heat(self, together: Together, index: int) -> None:
        """Learn who has a heater, and whose is on."""
        told, on = (each[:, index] for each in together.of(_heats))
        known = self._has_heater.sum()
        self._has_heater[: len(told)] |= told
        self._is_hot[: len(on)] = on
        if self._has_heater.sum() > known:
            # What was learnt before was learnt of other pairs.
            self._forget(self._carried["is_up"] == 0.0)

    def _forget(self, pairs: NDArray[np.bool_]) -> None:
        for name, first in _FIRST.items():
            self._carried[name][pairs] = first

    def _are_heated(self, one: NDArray[np.intp], two: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Whether what heats both of each pair, as far as that is known, is on."""
        has, hot = self._has_heater, self._is_hot
        if not has.any():
            return np.ones(len(one), dtype=bool)
        own_are_hot = (~has[one] | hot[one]) & (~has[two] | hot[two])
        found: NDArray[np.bool_] = np.where(has[one] | has[two], own_are_hot, hot.any())
        return found

    def _compare(self, levels_c: Floats, windows: WindowsAt, book: EventBook) -> None:
        """Hold every pair whose channels both stand still against what is known of it."""
        carried, at_s = self._carried, windows.end_s
        one, two = np.array(self._pairs).T
        one_c, two_c = levels_c[one], levels_c[two]
        was_up = carried["is_up"] > 0.0
        are_heaters = self._has_heater[one] & self._has_heater[two]
        looked_at = ~np.isnan(one_c + two_c) & (was_up | ~are_heaters)
        if not looked_at.any():
            return
        self._forget(looked_at & ~was_up & _parts(carried, one_c, two_c))
        for name, level in (("one_c", one_c), ("two_c", two_c)):
            carried[name] = np.where(looked_at, level, carried[name])
        off_k, knows = one_c - two_c, ~np.isnan(carried["own_k"])
        learns, judged = looked_at & ~knows, looked_at & knows
        if learns.any():
            _follow(carried, learns, at_s, off_k, one_c, self._are_heated(one, two))
            self._follows = self._follows or not np.isnan(carried["own_k"]).all()
        if not judged.any():
            return
        departed_k = off_k - carried["own_k"]
        limit = np.maximum(LIMIT_K, LIMIT_PART * np.abs(one_c))
        is_over = np.abs(departed_k) > np.where(was_up, BACK * limit, limit)
        turns, known_s = judged & (is_over != was_up), carried["since_s"]
        began_s = np.where(np.isnan(known_s), windows.start_s, known_s)
        carried["since_s"] = np.where(judged, np.where(turns, began_s, math.nan), known_s)
        ripe = np.flatnonzero(turns & (at_s - carried["since_s"] >= LASTING_S)).tolist()
        for at in sorted(ripe, key=self._named_pair):
            since_s = float(carried["since_s"][at])
            carried["since_s"][at], carried["is_up"][at] = math.nan, float(not was_up[at])
            if was_up[at]:
                self._return(self._named_pair(at), windows, since_s, book)
            else:
                self._depart(self._named_pair(at), windows, float(departed_k[at]), since_s, book)

    def _named_pair(self, at: int) -> tuple[str, str]:
        one, two = self._pairs[at]
        return self._names[one], self._names[two]

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
        up = [self._named_pair(at) for at in np.flatnonzero(self._carried["is_up"]).tolist()]
        apart = [sum(name in each for each in up) for name in pair]
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


def _parts(carried: Carried, one_c: Floats, two_c: Floats) -> NDArray[np.bool_]:
    """Whether one went far since the last look and the other stayed."""
    went = np.abs(one_c - carried["one_c"]), np.abs(two_c - carried["two_c"])
    less, more = np.minimum(*went), np.maximum(*went)
    found: NDArray[np.bool_] = (more >= RANGE_K) & (less < STAYED * more)
    return found


def _follow(
    carried: Carried,
    learns: NDArray[np.bool_],
    at_s: float,
    off_k: Floats,
    level_c: Floats,
    are_heated: NDArray[np.bool_],
) -> None:
    """Learn whether pairs follow each other: those that `learns` names."""
    low_k, high_k = np.minimum(off_k, carried["low_k"]), np.maximum(off_k, carried["high_k"])
    anew = (high_k - low_k > FOLLOW_K) | np.isnan(carried["start_s"])
    roomy_c = carried["low_c"] + ROOM_C_S * (at_s - carried["last_s"])
    low_c = np.where(anew, level_c, np.fmin(level_c, roomy_c))
    low_k, high_k = np.where(anew, off_k, low_k), np.where(anew, off_k, high_k)
    warmed_k = np.maximum(np.where(anew, 0.0, carried["warmed_k"]), level_c - low_c)
    heated_s = np.where(anew | np.isnan(carried["heated_s"]), at_s, carried["heated_s"])
    heated_s = np.where(are_heated, heated_s, math.nan)
    follows = (warmed_k >= RANGE_K) & (at_s - heated_s >= FOLLOWED_S)
    found = {
        "start_s": np.where(anew, at_s, carried["start_s"]),
        "low_k": low_k,
        "high_k": high_k,
        "low_c": low_c,
        "warmed_k": warmed_k,
        "heated_s": heated_s,
        "last_s": np.full(len(off_k), at_s),
        "own_k": np.where(follows, 0.5 * (low_k + high_k), math.nan),
    }
    for name, values in found.items():
        carried[name] = np.where(learns, values, carried[name])


def _calm(together: Together) -> Floats:
    """What channels read in windows in which they stand still, °C, NaN in others; (n, m)."""
    figures, windows = together.windows.figures, together.windows
    calm = figures.present & ~figures.joined & (np.abs(figures.celsius_slope) < CALM_C_S)
    calm &= ~_UNSURE[together.codes]
    calm &= ~np.array([[is_board(name)] for name in windows.channels], dtype=bool)
    found: Floats = np.where(calm, figures.middle_c, math.nan)
    return found


def _heats(together: Together) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Where each channel's power or target is told, and where it is on; shape (n, m)."""
    figures = together.windows.figures
    told = ~np.isnan(figures.power) | ~np.isnan(figures.target_c)
    on = (figures.power_high > OFF) | (figures.power > OFF) | (figures.target_c > 0.0)
    return told, on
