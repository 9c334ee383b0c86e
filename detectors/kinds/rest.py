"""offset-cold: sensors that should agree at room temperature don't.

Quantity: K from the median of the other channels, once the machine is at rest, whatever its
size. Rest is every heater off, by its power or, where that is not reported, by its target,
and every channel flat: with the time constant that its fall shows, 20 minutes at least
(`kinds.settling`), no more is left to cool than the difference is beyond the limit, and
no more than 1 K or 10 % of it. A heater that was on must be off for 100 s; where none was
seen on since the log began, 45 s and three windows will do. What the others read must be
below 45 °C. A room that warms moves all of them alike: only what a
channel moves more than the calmest one counts then, up to 6 K an hour; but what falls
together may well be a machine that cools, unless it has been off for an hour.

Limit: 3 K. Two platinum sensors of class B may differ by 0.9 K at 25 °C (IEC 60751), the
usual two-wire lead adds 1.5 K, and what sits beside what makes the rest; leads that the
chain's facts declare are allowed for. With three channels or more the one farthest from the
others is named where these agree, or the others where only it reads what a room can be;
with two, the one that is farther from the controller's own board or from a room's 15 to
30 °C, else `*`. A board runs some K warm by itself (common practice): it is named only
beyond 15 K, and need not be settled for the others to be compared.

A channel at its rail, flagged or frozen is left out: that event says it. The limit leaves no
false alarm to chance: noise enters as the error of the slope, and three windows' means of
0.1 K of noise differ by hundredths.

Blind without heaters that report power or target, since rest cannot be told then, while less
than two channels stand at rest, and while any of them still moves.
"""

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from detectors.book import EventBook
from detectors.detector import Rule
from detectors.kinds.settling import Level
from detectors.reports import Cleared, Sighting
from detectors.table.closed import Together, WindowsAt
from detectors.table.gates import CODES
from shared.chain import Chain
from shared.chainstate import LEADS
from shared.events import NotEvaluated
from shared.kinds import Shape, kinds_of
from shared.leads import path_ohm, share_read
from shared.words import EVERY_CHANNEL, Gate, Kind

OFF = 0.01
REST_S = 100.0
UNHEATED_S = 45.0
"""Where no heater was seen on: longer than a lag that could hide that one just was."""
WARM_C = 45.0
LEFT_K = 1.0
LEFT_SURELY_K, LEFT_PART = 1.0, 0.1
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
BOARD_WORDS = (
    "board",
    "controller",
    "driver",
    "mainboard",
    "cpu",
    "microcontroller",
    "electronics",
    "host",
)
ROOM_C = (15.0, 30.0)
OHM_PER_K = 0.00385
"""Mean slope of platinum between 0 and 100 °C, 1/K (IEC 60751)."""
GAP_S, GAP_SPANS = 30.0, 3.0
"""A window so much longer than the one before hides what happened in it."""
COMPARE_EVERY, OFTEN_FIRST = 2, 12
"""Windows; each one is compared at first."""


class _Heats(NamedTuple):
    """By window: whether any heat is on, any is told of, and any channel is starting."""

    are_on: list[bool]
    are_told: list[bool]
    are_unknown: list[bool]


def _heats(together: Together) -> _Heats:
    figures = together.windows.figures
    power, target_c = figures.power, figures.target_c
    marks = (
        (power > OFF) | (target_c > 0.0),
        ~np.isnan(power) | ~np.isnan(target_c),
        (together.codes == CODES[Gate.STARTING]) & figures.present,
    )
    return _Heats(*(np.logical_or.reduce(mark, axis=0).tolist() for mark in marks))


class RestRule(Rule):
    """Compares channels while the machine is at rest."""

    def __init__(self, chains: Mapping[str, Chain]) -> None:
        self._chains = chains
        self.resting: dict[str, float] = {}
        """Mean °C of each channel while the machine stands at rest by this rule; else empty."""
        self._since_s = math.nan
        self._levels: dict[str, Level] = {}
        self._up: dict[str, float] = {}
        self._knows_heat = False
        self._was_heated = False
        self._has_rested = False
        self._row = 0
        self._rested = -1
        self._span_s = math.nan

    def window(self, windows: WindowsAt, book: EventBook) -> None:
        start_s, end_s, self._row = windows.start_s, windows.end_s, windows.last_row
        heats = windows.together.of(_heats)
        heated, unknown = heats.are_on[windows.index], heats.are_unknown[windows.index]
        self._knows_heat = self._knows_heat or heats.are_told[windows.index]
        if end_s - start_s > GAP_SPANS * self._span_s + GAP_S:
            heated = True
        self._span_s = end_s - start_s
        self._was_heated = self._was_heated or heated
        if heated or unknown or not self._knows_heat:
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
                level = self._levels[name] = Level()
            level.add(window)
        self._rested += 1
        least_s = REST_S if self._was_heated else UNHEATED_S
        is_turn = self._rested < OFTEN_FIRST or self._rested % COMPARE_EVERY == 0
        if end_s - self._since_s >= least_s and is_turn:
            self._compare(end_s, book)

    def _leave(self, time_s: float, book: EventBook) -> None:
        """Heat is on: what was found ends here as far as anyone can tell."""
        for name in sorted(self._up):
            book.clear(Cleared(self._row, time_s, name, Kind.OFFSET_COLD, time_s))
        self._up.clear()
        self.resting = {}
        for level in self._levels.values():
            level.clear()
        self._since_s = math.nan
        self._rested = -1

    def _compare(self, end_s: float, book: EventBook) -> None:
        """Name what is off by more than heat that is left can make."""
        levels = {
            name: level
            for name, level in sorted(self._levels.items())
            if level.points and not _is_said_otherwise(name, book)
        }
        slopes = [level.slope()[0] for name, level in levels.items() if not is_board(name)]
        common = self._common(slopes, end_s)
        flat = {name: x.mean() for name, x in levels.items() if x.is_flat(common, LEFT_K)}
        others = {name: level.mean() for name, level in levels.items() if not is_board(name)}
        boards = {name: c for name, c in flat.items() if is_board(name)}
        found = self._odd_ones(others, boards)
        is_flat = len(flat) >= 2 and flat.keys() >= others.keys()
        is_warm = any(others_c >= WARM_C for _, others_c in found.values())
        is_warm = is_warm or (not found and any(c >= WARM_C for c in others.values()))
        self.resting = flat if is_flat and not is_warm else {}
        left_k = max((levels[name].left_k(common) for name in others), default=math.nan)
        for name, (off_k, others_c) in found.items():
            if name in self._up or is_warm:
                continue
            if left_k < self._most_left_k(name, off_k):
                self._up[name] = off_k
                self._sight(name, off_k, others_c, end_s, book)
        self._has_rested = self._has_rested or bool(self.resting) or bool(self._up)
        for name in sorted(self._up.keys() - found.keys() if self.resting else ()):
            del self._up[name]
            book.clear(Cleared(self._row, end_s, name, Kind.OFFSET_COLD, end_s))

    def _most_left_k(self, name: str, off_k: float) -> float:
        """How much heat may be left in any channel for this difference to be the sensor's."""
        limit = BOARD_LIMIT_K if is_board(name) else LIMIT_K
        return min(
            abs(off_k) - self._limit(name, limit), max(LEFT_SURELY_K, LEFT_PART * abs(off_k))
        )

    def _common(self, slopes: list[float], end_s: float) -> float:
        """What all channels do together, K/s, where a room may do that; else 0.

        That of the one that does least of it: the others may have heat of their own left.
        """
        if len(slopes) < 2 or any(slope != slope for slope in slopes):
            return 0.0
        lowest, highest = min(slopes), max(slopes)
        if highest < 0.0 and end_s - self._since_s >= COOLED_S:
            return max(highest, -ROOM_C_S)
        return min(max(lowest, 0.0), ROOM_C_S)

    def _limit(self, name: str, limit: float = LIMIT_K) -> float:
        chain = self._chains.get(name)
        if chain is not None and chain.knows(*LEADS):
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
        if len(left) == 2:
            second = self._of_two(left, boards)
            left = {name: c for name, c in left.items() if name not in second}
            found |= second
        found = _rather_the_others(found, left)
        if len(found) >= 2 and EVERY_CHANNEL not in found:
            # Each was held against others that are odd themselves.
            left = {name: c for name, c in others.items() if name not in found}
            true_c = _median(list(left.values()))
            found = {name: (others[name] - true_c, true_c) for name in found}
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
            names = " and ".join(name for name in sorted(self._levels) if not is_board(name))
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

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._has_rested:
            return []
        why = "no heater reports power or target, so rest can't be told"
        if self._knows_heat:
            why = (
                "two channels never stood settled and unheated for "
                f"{REST_S:.0f} s, or {UNHEATED_S:.0f} s and three windows before the first heat"
            )
        return [NotEvaluated(kind=Kind.OFFSET_COLD, channel=EVERY_CHANNEL, why=why)]


def _is_said_otherwise(name: str, book: EventBook) -> bool:
    """Whether what is wrong with a reading has another name."""
    kinds = kinds_of(Shape.END, Shape.FLAG, Shape.STILL)
    events = (book.newest(name, kind) for kind in kinds)
    return any(event is not None and event.end_s is None for event in events)


def _rather_the_others(
    found: dict[str, tuple[float, float]], left: dict[str, float]
) -> dict[str, tuple[float, float]]:
    """Turn the tables where only the odd one reads what a room can be, and the others agree."""
    if len(found) != 1 or len(left) < 2:
        return found
    ((_, (off_k, others_c)),) = found.items()
    odd_c = others_c + off_k
    if _oddness(odd_c, math.nan) + LIMIT_K < _oddness(others_c, math.nan):
        return {name: (c - odd_c, odd_c) for name, c in left.items()}
    return found


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
