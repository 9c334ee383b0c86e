"""What runs as time does: the host's clock, and how long its controller has been up."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from client.jsonrpc import ENVELOPE
from client.learn import units
from client.learn.found import Mapped, is_motion
from client.learn.series import LEAST_TICKS, Series
from client.learn.sources import Source
from client.learn.tree import Keyed, Place, leaves, text_of
from client.learn.vocabulary import CLOCK_WORDS, TIME_WORDS, quantities_of
from client.units import UNITS
from client.values import clock as clock_of

NAMES = {"s": "seconds", "ms": "milliseconds", "us": "microseconds", "ns": "nanoseconds"}
PACES = {round(1.0 / UNITS[unit][0]): unit for unit in NAMES}
"""Host time per second of own time, and the unit it means."""
_EPOCHS = {1e9: "s", 1e12: "ms", 1e15: "us", 1e18: "ns"}
_SAME_RUN_S = 600.0
"""Sources heard within one listening say times that are no further apart."""
_NEARLY = 0.1
"""Of few values no better pace is asked."""
_AS_DEGREES = 450.0
"""What is no larger may be a heater's degrees, and a bed may rise by one a second. A clock that ran
for minutes only and has no name is no loss: then arrival times are used."""
_TIMES = {word for word in TIME_WORDS if len(word) > 1}
LEAST_EXACT, LEAST_EXACT_S, EXACT_S, SCAN_S = 20, 10.0, 0.04, 0.05
"""A message's way over a local network takes milliseconds; a heater's noise is tens of mK. A clock
of a controller's scans goes on by a scan at a time."""
_NOT_TIME = {"temperature_c", "target_c", "power", "code", "resistance_ohm"}


@dataclass(frozen=True, slots=True)
class Clock:
    """Where a source says host time, in what unit, why it is thought so, and a moment it said."""

    place: Place
    unit: str
    why: str
    said: float = 0.0
    is_uptime: bool = False
    """Whether its name says that it is an uptime as well."""


def clock_in(
    source: Source, timed: bool, is_said: Callable[[Place], bool] = lambda _: False
) -> Clock | None:
    """The likeliest clock of a source's messages. `timed`: whether own times mean anything;
    `is_said`: whether the user says what stands at a place."""
    series: dict[Place, Series] = {}
    for own_s, message in source.heard:
        for place, value in leaves(message, {}):
            if place and place[0] not in ENVELOPE and not is_said(place):
                series.setdefault(place, Series(place)).add(own_s, value)
    found = [
        judged
        for one in series.values()
        if len(one.values) >= 0.95 * len(source.heard)
        and not _is_other(one, series)
        and (judged := _judged(one, timed)) is not None
    ]
    return max(found, key=lambda each: each[0], default=(0.0, None))[1]


def _is_other(one: Series, others: Mapping[Place, Series]) -> bool:
    """Whether it is heat or a coordinate, by its unit, its name or its sisters: a clock stands
    alone, and an axis may go at one millimetre a second, a bed at one degree."""
    if units.said(one) or one.last_words & CLOCK_WORDS:
        return bool(units.said(one))
    named = quantities_of(one.last_words) & _NOT_TIME
    return bool(named) or is_motion(one, others) or _has_sisters(one, others)


def _has_sisters(one: Series, others: Mapping[Place, Series]) -> bool:
    """Whether the same member stands in the things beside its own, and says something else."""
    own = one.place
    return any(
        len(place) == len(own) > 1
        and place[-1] == own[-1]
        and sum(a != b for a, b in zip(place, own, strict=True)) == 1
        and other.values[-1] != one.values[-1]
        for place, other in others.items()
    )


def clock_said(source: Source, unit_at: Callable[[Place], str | None]) -> Clock | None:
    """The clock where the user says one stands, in the unit that is said or that its pace shows."""
    said: dict[Place, Series] = {}
    for own_s, message in source.heard:
        for place, value in leaves(message, {}):
            if unit_at(place) is not None:
                said.setdefault(place, Series(place)).add(own_s, value)
    one = next(iter(said.values()), None)
    if one is None:
        return None
    unit = unit_at(one.place) or _likely_unit(one)
    return Clock(one.place, unit, "you said so", clock_of(unit)(one.values[0]) or 0.0)


def _likely_unit(one: Series) -> str:
    if one.is_text and not one.is_text_number:
        return "iso"
    unit = next((unit for pace, unit in PACES.items() if one.runs_at(pace, _NEARLY)), None)
    return unit or epoch_unit(one.high) or "s"


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
    """How sure it is that a leaf is the clock, and the clock that it would be."""
    named = bool(one.last_words & (CLOCK_WORDS | _TIMES))
    is_uptime = "uptime_s" in quantities_of(one.all_words)
    depth = 0.1 * len(one.place)
    if one.is_text:
        moments = [clock_of("iso")(value) for value in one.values]
        if any(moment is None for moment in moments):
            return None
        return 3.0 - depth, Clock(one.place, "iso", "date and time as text", moments[0] or 0.0)
    if not one.is_number or one.is_text_number or any(isinstance(v, bool) for v in one.values):
        return None
    score = 1.0 * named - depth - 2.0 * is_uptime
    if len(one.values) < 4:
        if not named or is_uptime or len(one.place) > 3:
            return None
        return score, _at(one, epoch_unit(one.high) or "s", "by its name", is_uptime)
    falls = float(np.mean(np.diff(one.numbers) < 0.0))
    # Several messages may tell of one moment; without times of ours only freshness speaks.
    if falls > 0.02 or one.distinct < (0.1 if timed else 0.5) * len(one.values):
        return None
    if timed and one.rate is not None:
        for pace, unit in PACES.items():
            is_told = named or is_uptime or pace > 1 or not _may_be_degrees(one)
            if one.runs_at(pace) and (is_told or _is_exact(one)):
                why = f"counts {NAMES[unit]}, as our own clock does"
                return score + 2.0 - one.off_pace(pace), _at(one, unit, why, is_uptime)
        return None
    if not named and epoch_unit(one.high) is None:
        return None
    unit = epoch_unit(one.high) or "s"
    return score, _at(one, unit, "rises, by its name a clock", is_uptime)


def _at(one: Series, unit: str, why: str, is_uptime: bool) -> Clock:
    return Clock(one.place, unit, why, clock_of(unit)(one.values[0]) or 0.0, is_uptime)


def epoch_unit(value: float) -> str | None:
    """Unit in which a number is a time since 1970 in this century, if it is one."""
    for size, unit in _EPOCHS.items():
        if size <= value < 4.2 * size:
            return unit
    return None


def uptime(leaves: Mapping[Place, Series], taken: set[Place]) -> Mapped | None:
    """The controller's uptime: rises as time does, in the unit that it, or its name, says."""
    found = [
        one
        for place, series in leaves.items()
        if place not in taken
        and series.is_number
        and series.can_be("uptime_s")
        and (one := _uptime(series, leaves)) is not None
    ]
    return max(found, key=lambda each: each.score, default=None)


def _uptime(one: Series, leaves: Mapping[Place, Series]) -> Mapped | None:
    says = one.said_unit or next(
        (TIME_WORDS[word] for word in reversed(one.words[-1]) if word in TIME_WORDS), ""
    )
    named = "uptime_s" in quantities_of(one.all_words) or ("up" in one.all_words and bool(says))
    # One letter at a name's end may be any short name.
    is_word = bool(one.said_unit) or len(says) > 1 or bool(set(one.words[-1]) & _TIMES)
    likely = [says] if says else ["s", "ms"]
    unit = next((name for name in likely if one.runs_at(1.0 / UNITS[name][0])), None)
    if unit is None and not ((named or (says and is_word)) and _may_run(one, says or "s")):
        return None
    is_alone = not _is_other(one, leaves) and not any(type(step) is Keyed for step in one.place)
    # Seconds may be many things that go on, such as a job; what says its name, or a unit, is told.
    if not named and not (is_alone and (says or (len(one.place) > 1 and one.high < 1e9))):
        return None
    if not named and ((not says and _may_be_degrees(one)) or one.last_words & CLOCK_WORDS):
        return None
    why = [f"named '{text_of(one.place[-1])}'"] if named or says else []
    why += ["rises as time does"] if unit is not None else []
    score = 2.0 * named + 1.0 * bool(says) + 1.0 * (unit is not None)
    return Mapped(one, "uptime_s", score, why, (unit or says).removeprefix("s"))


def _may_be_degrees(one: Series) -> bool:
    """Whether numbers are no larger than a heater's degrees are."""
    return one.low > -_AS_DEGREES and one.high < _AS_DEGREES


def _is_exact(one: Series) -> bool:
    """Whether seconds agree with ours each time: no heat keeps such a line."""
    # Messages of one moment come one after the other: the first of them tells.
    is_new = np.diff(one.numbers, prepend=np.nan) != 0.0
    ahead = (one.numbers - one.times)[is_new]
    is_long = one.times[-1] - one.times[0] > LEAST_EXACT_S and len(ahead) >= LEAST_EXACT
    if not is_long:
        return False
    # Its pace may be a little off; and some come late, on a busy machine.
    at = one.times[is_new] - one.times[is_new].mean()
    ahead = ahead - ahead.mean()
    ahead -= at * float(at @ ahead) / float(at @ at)
    low, high = np.quantile(ahead, (0.05, 0.95))
    return float(high - low) < EXACT_S + min(one.resolution, SCAN_S)


def _may_run(one: Series, unit: str) -> bool:
    """Whether the few values that were heard are those of something that runs."""
    if one.distinct >= LEAST_TICKS or one.low < 0.0 or one.high > 1e12:
        return False
    is_short = len(one.times) < 3 or one.times[-1] - one.times[0] < 1.0
    return is_short or one.off_pace(1.0 / UNITS[unit][0]) < _NEARLY
