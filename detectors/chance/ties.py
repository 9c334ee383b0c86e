"""What events are tied to: exact rate tests over the states a machine was in.

Events are rows of a log; each question splits the rows into two states, such as carriage
moving or still, x beyond a place, a fan above a speed. Given all events, those in a state
are binomial with its share of the time (exact conditional test, `chance.rates`); p is
multiplied by the number of questions asked (Bonferroni).
Events in a burst are not independent, so they are thinned first, and the state must come
and go: quiet stretches outside it in which events were due have to lie between those inside.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from detectors.chance.rates import binomial_upper
from shared.updates import Floats

MOTION = "motion"
SPEED_KEY = "motion.speed_mm_s"
POSITION_KEYS = ("motion.x_mm", "motion.y_mm", "motion.z_mm")
SIGNIFICANT = 1e-3
LEAST_EVENTS = 5
LEAST_TO_ASK, GROWTH = 6, 1.25
"""Asked from so many events on, and again when there are this many times more."""
LEAST_RATIO = 2.0
APART_S = 1.0
APART_SLOW_S = 10.0
"""Events closer than this count once, for states that change fast or slowly."""
LONGEST_ROW_S = 2.0
"""A row stands for no more time than this."""
EDGE = 0.3
DUE = 2.0
DUE_ALONE = 6.0
"""Events due in a quiet stretch for it to count, and where one stretch is enough."""
QUIET_PART = 0.34
QUIETS, MOTION_QUIETS = 2, 1
FAVOUR = 1e-3
"""Motion itself explains; a state within it must be this much less likely by chance."""

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Tie:
    """`events` of `all_events` fell in a state that took `share` of the time."""

    key: str
    words: str
    events: int
    all_events: int
    share: float
    time_s: float
    all_time_s: float
    p: float
    """Corrected for the number of questions asked."""

    @property
    def rate_per_min(self) -> float:
        return 60.0 * self.events / self.time_s

    @property
    def ratio(self) -> float:
        """Rate in the state over that outside, an event outside taken for at least half."""
        outside = max(self.all_events - self.events, 0.5) / (self.all_time_s - self.time_s)
        return self.events / self.time_s / outside


@dataclass(frozen=True, slots=True)
class _Question:
    key: str
    words: str
    inside: Bools
    among: Bools
    apart_s: float
    quiets: int


def strongest_tie(
    time_s: Floats,
    columns: Mapping[str, Floats],
    events_s: list[float],
    troubled: Collection[str] = (),
) -> Tie | None:
    """The state that events are tied to beyond chance, if there is one.

    `time_s`, columns: shape (n,), rows in order; `columns` holds motion, fan and power
    keys. The power of `troubled` channels is not asked for: their faults move it, and not
    the other way round.
    """
    if len(time_s) < 2:
        return None
    spent = np.minimum(np.diff(time_s, prepend=time_s[0]), LONGEST_ROW_S)
    rows = np.sort(np.minimum(np.searchsorted(time_s, np.array(events_s)), len(time_s) - 1))
    fast, slow = (rows[thinned(time_s[rows], apart)] for apart in (APART_S, APART_SLOW_S))
    questions = list(_questions(columns, troubled, fast))
    found: list[Tie] = []
    for question in questions:
        counted = fast if question.apart_s == APART_S else slow
        tie = _ask(question, counted, spent, len(questions))
        if tie is not None:
            found.append(tie)
    if not found:
        return None
    best = min(found, key=lambda tie: tie.p)
    motion = next((tie for tie in found if tie.key == MOTION), None)
    if motion is not None and best.p > FAVOUR * motion.p:
        return motion
    return best


def thinned(times_s: Floats, apart_s: float) -> NDArray[np.intp]:
    """Which of rising times to count, so that none follows another within `apart_s`."""
    kept: list[int] = []
    for index, at_s in enumerate(times_s.tolist()):
        if not kept or at_s - times_s[kept[-1]] >= apart_s:
            kept.append(index)
    return np.array(kept, dtype=np.intp)


def _ask(
    question: _Question, events: NDArray[np.intp], spent: Floats, questions: int
) -> Tie | None:
    among = question.among
    events = events[among[events]]
    inside = question.inside & among
    n, k = len(events), int(inside[events].sum())
    all_time, time = float(spent[among].sum()), float(spent[inside].sum())
    if k < LEAST_EVENTS or not 0.0 < time < all_time:
        return None
    p = binomial_upper(k, n, time / all_time) * questions
    tie = Tie(question.key, question.words, k, n, time / all_time, time, all_time, p)
    if p > SIGNIFICANT or tie.ratio < LEAST_RATIO:
        return None
    needed = DUE if question.quiets > 1 else DUE_ALONE
    if _quiet_stretches(inside, events, spent * among, k / time, needed) < question.quiets:
        return None
    return tie


def _quiet_stretches(
    inside: Bools, events: NDArray[np.intp], spent: Floats, rate: float, needed: float
) -> int:
    """Stretches outside in which events were due and hardly any came, between those inside."""
    borders = np.flatnonzero(np.diff(inside)) + 1
    starts = np.concatenate(([0], borders))
    stops = np.concatenate((borders, [len(inside)]))
    total = np.concatenate(([0.0], np.cumsum(spent)))
    at = np.searchsorted(events, starts), np.searchsorted(events, stops)
    counts = (at[1] - at[0]).tolist()
    times = (total[stops] - total[starts]).tolist()
    quiets, due, came = 0, 0.0, 0
    for is_inside, count, time in zip(inside[starts].tolist(), counts, times, strict=True):
        if not is_inside:
            due += time * rate
            came += count
        elif count and due >= needed:
            quiets += came <= QUIET_PART * due
            due, came = 0.0, 0
    return quiets + (due >= needed and came <= QUIET_PART * due)


def _questions(
    columns: Mapping[str, Floats], troubled: Collection[str], events: NDArray[np.intp]
) -> Iterator[_Question]:
    moving = _moving(columns)
    every = np.ones(len(next(iter(columns.values()), np.empty(0))), dtype=bool)
    among = every
    if moving is not None:
        yield _Question(MOTION, "while the carriage moves", moving, every, APART_S, MOTION_QUIETS)
        if moving.any():
            among = moving
        for key in (*POSITION_KEYS, SPEED_KEY):
            if key in columns:
                yield from _splits(key, columns[key], among, events)
    for key, column in columns.items():
        channel, _, quantity = key.rpartition(".")
        if quantity == "speed":
            yield from _levels(key, column, every)
        elif quantity == "power" and channel not in troubled:
            yield from _levels(key, column, every)
            changed = np.abs(np.diff(column, prepend=column[0])) >= EDGE
            near = changed | np.concatenate(([False], changed[:-1]))
            yield _Question(key, f"when {key} switches", near, every, APART_S, QUIETS)


def _moving(columns: Mapping[str, Floats]) -> Bools | None:
    speed = columns.get(SPEED_KEY)
    if speed is not None:
        return speed > 0.0
    moves = None
    for key in POSITION_KEYS:
        if key in columns:
            column = columns[key]
            changed = np.abs(np.diff(column, prepend=column[0])) > 0.0
            moves = changed if moves is None else moves | changed
    return moves


def _splits(
    key: str, column: Floats, among: Bools, events: NDArray[np.intp]
) -> Iterator[_Question]:
    """Beyond the place of the outermost event, or of the next few, both ways.

    The place is the events' own, so that it fits them; and yet nothing is gained by chance:
    that at most j of n events lie beyond where the next one lies has just the binomial's
    chance, whatever that place is (order statistics of uniform values).
    """
    at = column[events[among[events]]]
    at = np.sort(at[~np.isnan(at)])
    n = len(at)
    if n < LEAST_EVENTS:
        return
    is_speed = key == SPEED_KEY
    for left_out in sorted({0, n // 10, n // 4, n // 2}):
        place = float(at[left_out])
        inside = column >= place
        yield _Question(key, f"while {key} is above {place:.4g}", inside, among, APART_S, QUIETS)
        if not is_speed:
            place = float(at[n - 1 - left_out])
            inside = column <= place
            yield _Question(
                key, f"while {key} is below {place:.4g}", inside, among, APART_S, QUIETS
            )


def _levels(key: str, column: Floats, among: Bools) -> Iterator[_Question]:
    """Above each of a few levels."""
    values = column[~np.isnan(column)]
    if not len(values):
        return
    places = np.unique(np.quantile(values, np.arange(5) / 5.0, method="lower"))
    for place in places.tolist():
        inside = column > place
        yield _Question(
            key, f"while {key} is above {place:.2g}", inside, among, APART_SLOW_S, QUIETS
        )
