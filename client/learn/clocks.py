"""Host clocks: numbers, or dates as text, that run with own time in every message."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from client.learn.found import is_motion
from client.learn.series import Series
from client.learn.sources import Source
from client.learn.tree import Place, leaves, text_of
from client.learn.vocabulary import CLOCK_WORDS, QUANTITY_WORDS
from client.values import clock as clock_of

SLOPES = {1.0: "s", 1e3: "ms", 1e6: "us", 1e9: "ns"}
"""Host time per second of own time, and the unit it means."""
NAMES = {"s": "seconds", "ms": "milliseconds", "us": "microseconds", "ns": "nanoseconds"}
_EPOCHS = {1e9: "s", 1e12: "ms", 1e15: "us", 1e18: "ns"}
_SAME_RUN_S = 600.0
"""Sources heard within one listening say times that are no further apart."""


@dataclass(frozen=True, slots=True)
class Clock:
    """Where a source says host time, in what unit, why it is thought so, and a moment it said."""

    place: Place
    unit: str
    why: str
    said: float = 0.0
    is_uptime: bool = False
    """Whether its name says that it is an uptime as well."""


def clock_in(source: Source, timed: bool) -> Clock | None:
    """The likeliest clock of a source's messages. `timed`: whether own times mean anything."""
    total = len(source.heard)
    series: dict[Place, Series] = {}
    for own_s, message in source.heard:
        for place, value in leaves(message, {}):
            if place and place[0] not in ("jsonrpc", "id", "method"):
                series.setdefault(place, Series(place)).add(own_s, value)
    best: tuple[float, Clock] | None = None
    for one in series.values():
        if len(one.values) < 0.95 * total:
            continue
        found = None if _is_coordinate(one, series) else _judged(one, timed)
        if found is not None and (best is None or found[0] > best[0]):
            best = found
    return best[1] if best else None


def _is_coordinate(one: Series, others: Mapping[Place, Series]) -> bool:
    """Whether its name says so; an axis may go at one millimetre a second."""
    return is_motion(one, others) and not one.last_words & CLOCK_WORDS


def clock_like(source: Source, known: Clock) -> Clock | None:
    """Where another source says the time that a known clock says, at most hours apart."""
    convert = clock_of(known.unit)
    found: tuple[float, Clock] | None = None
    for place, value in leaves(source.heard[0][1], {}):
        moment = convert(value) if place else None
        if moment is None or abs(moment - known.said) > _SAME_RUN_S:
            continue
        named = text_of(place[-1]) == text_of(known.place[-1])
        # A small number near a small clock proves nothing; a time since 1970 does.
        if not named and known.said < 1e8:
            continue
        score = 2.0 * named - 0.1 * len(place) - abs(moment - known.said) / _SAME_RUN_S
        if found is None or score > found[0]:
            found = (score, Clock(place, known.unit, "says the same time", known.said))
    return None if found is None else found[1]


def _judged(one: Series, timed: bool) -> tuple[float, Clock] | None:
    named = bool(one.last_words & CLOCK_WORDS)
    is_uptime = _is_uptime(one)
    depth = 0.1 * len(one.place)
    if one.is_text:
        convert = clock_of("iso")
        moments = [convert(value) for value in one.values]
        if any(moment is None for moment in moments):
            return None
        said = moments[0] or 0.0
        return 3.0 - depth, Clock(one.place, "iso", "date and time as text", said)
    if not one.is_number or one.is_text_number or any(isinstance(v, bool) for v in one.values):
        return None
    score = 1.0 * named - depth - 2.0 * is_uptime
    if len(one.values) < 4:
        unit = epoch_unit(one.high)
        if not named or is_uptime or len(one.place) > 3:
            return None
        return score, _at(one, unit or "s", "by its name")
    falls = float(np.mean(np.diff(one.numbers) < 0.0))
    # Several messages may tell of one moment; without times of ours only freshness speaks.
    if falls > 0.02 or one.distinct < (0.1 if timed else 0.5) * len(one.values):
        return None
    if timed and one.rate is not None:
        for slope, unit in SLOPES.items():
            if one.runs_at(slope):
                why = f"counts {NAMES[unit]}, as our own clock does"
                return score + 2.0, _at(one, unit, why)
        return None
    if not named and epoch_unit(one.high) is None:
        return None
    return score, _at(one, epoch_unit(one.high) or "s", "rises, by its name a clock")


def _at(one: Series, unit: str, why: str) -> Clock:
    said = clock_of(unit)(one.values[0]) or 0.0
    return Clock(one.place, unit, why, said, _is_uptime(one))


def _is_uptime(one: Series) -> bool:
    return any(QUANTITY_WORDS.get(word) == "uptime_s" for word in one.all_words)


def epoch_unit(value: float) -> str | None:
    """Unit in which a number is a time since 1970 in this century, if it is one."""
    for size, unit in _EPOCHS.items():
        if size <= value < 4.2 * size:
            return unit
    return None
