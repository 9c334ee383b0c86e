"""Did the repair work, and how long must one watch before saying so?

A change to the machine starts a trial, which lasts until the next one, over as many logs
as there are. For each kind of fault a trial has a count and an exposure: the hours in
which it can come. That is the state in which it came before, so a fault that was only
ever seen while the carriage moves has hours (and metres) of motion as its exposure.

Rates have exact Poisson intervals. A trial is held against the one before by the exact
conditional test, one-sided at 95 %. Faults that come in clusters tell less than their
number: where counts in equal parts of the exposure scatter more than chance would have
them, the test counts that much fewer faults (quasi-likelihood; McCullagh and Nelder 1989,
from memory). And nobody is told that a fault is gone before it has been quiet for longer
than it ever was before.
"""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import pairwise

import msgspec

from detectors.exposure import Span, Usage
from detectors.rates import compare_rates, fewer_p, further_quiet, rate_interval
from shared.words import EVERY_CHANNEL, Gate, Kind

LEVEL = 0.95
LEAST_FOR_A_STATE = 3
"""Faults fewer than this say nothing of the state that they need."""
MOSTLY = 0.95
"""Part of the faults that come in a state that is taken for theirs."""
HALVED = 0.5
"""A change that leaves more than half of the faults, for sure, has changed nothing."""
PARTS = (4, 8, 16)
"""Numbers of equal parts of the exposure in which clusters show."""
LEAST_A_PART = 2.0
"""Faults a part, on average, for its scatter to tell."""
SCATTER_Z = 1.645
"""One-sided 95 %."""
CURVE_POINTS = 400
LEFT_OUT = {Kind.STARTUP_TRANSIENT, Kind.RESTART, Kind.INTERFERENCE}
"""Harmless, or made of other faults, which count by themselves."""
PER_HEAT_UP = frozenset({Gate.HEATING})
_HOT = {Gate.HOLDING, Gate.PRINTING}
_RUNNING = set(Gate) - {Gate.STARTING, Gate.HALTED}
BEFORE = "as found"


class Outcome(StrEnum):
    """What a trial says of one kind of fault."""

    FIRST = "first"
    """Nothing to hold it against."""
    BETTER = "better"
    WORSE = "worse"
    TOO_EARLY = "too early"
    NO_CHANGE = "no change seen"
    NO_FAULT = "no fault"
    """None before, none since."""


@dataclass(frozen=True, slots=True)
class Start:
    """A change to the machine: from here on a new trial."""

    time_s: float
    name: str
    channel: str = EVERY_CHANNEL
    """The channel that was changed; `*` is all of them."""
    change: str = ""
    """Name of the check of the catalogue that this change is, if it is one."""


@dataclass(frozen=True, slots=True)
class Watched:
    """One log: what it was exposed to, and the changes that were made in it."""

    usage: Usage
    starts: tuple[Start, ...] = ()


class KindTrial(msgspec.Struct, frozen=True, kw_only=True):
    """One kind of fault on one channel in one trial. Times are hours of exposure."""

    trial: int
    """0 before the first change, then counted up."""
    name: str
    change: str
    channel: str
    kind: Kind
    state: str
    """In which state the exposure was counted, in words."""
    count: int
    outside: int
    """Faults that came in another state; they count in no rate."""
    hours: float
    rate_per_h: float
    """NaN without exposure."""
    low_per_h: float
    high_per_h: float
    metres: float | None
    """Motion in that state, where the fault comes with motion."""
    heat_ups: int | None
    """Heat-ups, where the fault comes with them."""
    ratio: float | None = None
    """Rate over the rate of the trial before, with its 95 % interval; None: nothing before."""
    ratio_low: float | None = None
    ratio_high: float | None = None
    p: float | None = None
    """Two-sided p of equal rates."""
    scatter: float = 1.0
    """Variance of counts over their mean where that is above 1: the test divides by it."""
    further_h: float | None = None
    """Further hours without a fault from which it is better, for sure to 95 %."""
    outcome: Outcome = Outcome.FIRST
    curve: tuple[tuple[float, int], ...] = ()
    """Hours of exposure, from the trial's start, at which each fault came, and their number."""


def trials(logs: Sequence[Watched]) -> tuple[KindTrial, ...]:
    """Every kind of fault that came at all, by channel, kind and trial.

    `logs` are in the order in which they were made; exposures add up over them.
    """
    found: list[KindTrial] = []
    keys = {
        (one.channel, one.kind)
        for log in logs
        for one in log.usage.occurrences
        if one.kind not in LEFT_OUT
    }
    for channel, kind in sorted(keys):
        found += _of_kind(logs, channel, kind)
    return tuple(found)


def outcome_words(one: KindTrial) -> str:
    """The outcome as a person reads it."""
    if one.outcome is Outcome.TOO_EARLY and one.further_h is not None:
        return f"too early: {hours_words(one.further_h)} more without a fault"
    if one.outcome is Outcome.NO_FAULT:
        return f"none; fewer than {one.high_per_h:.3g} an hour"
    return str(one.outcome)


def hours_words(hours: float) -> str:
    """Hours as minutes where they are few, rounded up: nobody is told too little."""
    if hours < 1.0:
        return f"{max(math.ceil(60.0 * hours), 1)} min"
    return f"{math.ceil(10.0 * hours) / 10.0:.1f} h"


# -- where a fault can come --


@dataclass(frozen=True, slots=True)
class _State:
    words: str
    gates: frozenset[Gate] | None
    """None: whatever the channel does."""
    moving: bool | None = None
    """True: only in motion."""

    def holds(self, span: Span) -> bool:
        right = self.gates is None or span.gate is None or span.gate in self.gates
        return right and (self.moving is None or span.moving is self.moving)


def _state(spans: Sequence[Span]) -> _State:
    """The narrowest usual state that holds nearly all of the faults' spans."""
    running = _State("running", frozenset(_RUNNING))
    count = len(spans)
    if count < LEAST_FOR_A_STATE:
        return _State("watched", None)
    candidates = (
        _State("moving", None, moving=True),
        _State("heating", frozenset({Gate.HEATING})),
        _State("cold", frozenset({Gate.COLD})),
        _State("cooling", frozenset({Gate.COOLING})),
        _State("at rest", None, moving=False),
        _State("at temperature", frozenset(_HOT)),
        running,
    )
    for state in candidates:
        if sum(map(state.holds, spans)) >= MOSTLY * count:
            return state
    return _State("watched", None)


# -- one kind --


@dataclass(slots=True)
class _Piece:
    """A part of one log that belongs to one trial."""

    usage: Usage
    from_s: float
    until_s: float


@dataclass(slots=True)
class _Tally:
    """One trial of one kind, before it is compared."""

    start: Start
    number: int
    hours: float = 0.0
    metres: float = 0.0
    heat_ups: int = 0
    outside: int = 0
    at_h: list[float] = field(default_factory=list)

    @property
    def count(self) -> int:
        return len(self.at_h)


def _of_kind(logs: Sequence[Watched], channel: str, kind: Kind) -> Iterator[KindTrial]:
    spans = [
        span
        for log in logs
        for one in log.usage.occurrences
        if (one.channel, one.kind) == (channel, kind)
        and (span := _span_at(log.usage, channel, one.at_s)) is not None
    ]
    state = _state(spans)
    tallies = [
        _tally(start, number, pieces, channel, kind, state)
        for number, start, pieces in _pieces(logs, channel)
    ]
    tallies = [tally for tally in tallies if tally.number or tally.hours or tally.outside]
    before: _Tally | None = None
    for tally in tallies:
        yield _compared(tally, before, channel, kind, state)
        if tally.hours > 0.0:
            before = tally


def _pieces(logs: Sequence[Watched], channel: str) -> Iterator[tuple[int, Start, list[_Piece]]]:
    """Trials of a channel with the parts of logs that they took."""
    number, current, pieces = 0, Start(-math.inf, BEFORE), list[_Piece]()
    count = 0
    for log in logs:
        from_s = -math.inf
        for start in sorted(log.starts, key=lambda one: one.time_s):
            count += 1
            if start.channel not in (channel, EVERY_CHANNEL):
                continue
            pieces.append(_Piece(log.usage, from_s, start.time_s))
            yield number, current, pieces
            number, current, pieces, from_s = count, start, [], start.time_s
        pieces.append(_Piece(log.usage, from_s, math.inf))
    yield number, current, pieces


def _tally(
    start: Start, number: int, pieces: Sequence[_Piece], channel: str, kind: Kind, state: _State
) -> _Tally:
    tally = _Tally(start, number)
    for piece in pieces:
        spans = _spans_in(piece, channel)
        times = [
            one.at_s
            for one in piece.usage.occurrences
            if (one.channel, one.kind) == (channel, kind)
            and piece.from_s <= one.at_s < piece.until_s
        ]
        tally.heat_ups += sum(
            piece.from_s <= at_s < piece.until_s for at_s in piece.usage.heat_ups_s.get(channel, ())
        )
        waiting = iter(times)
        at_s = next(waiting, None)
        for index, span in enumerate(spans):
            part = _part(span, piece)
            counts = state.holds(span)
            is_last = index == len(spans) - 1
            # What came after the last whole window counts in that window's state.
            while at_s is not None and (at_s < span.end_s or is_last):
                if counts:
                    done = (at_s - max(span.start_s, piece.from_s)) / _length(span)
                    into = min(max(done, 0.0), part)
                    tally.at_h.append(tally.hours + into * span.seconds / 3600.0)
                else:
                    tally.outside += 1
                at_s = next(waiting, None)
            if counts:
                tally.hours += part * span.seconds / 3600.0
                tally.metres += part * span.metres
        tally.outside += sum(1 for _ in waiting) + (at_s is not None)
    return tally


def _spans_in(piece: _Piece, channel: str) -> Sequence[Span]:
    """Spans that a piece touches."""
    spans = piece.usage.spans.get(channel, ())
    low = bisect_right(spans, piece.from_s, key=lambda span: span.end_s)
    high = bisect_left(spans, piece.until_s, key=lambda span: span.start_s)
    return spans[low:high]


def _length(span: Span) -> float:
    return max(span.end_s - span.start_s, 1e-9)


def _part(span: Span, piece: _Piece) -> float:
    """Part of a span that lies in a piece."""
    if piece.from_s <= span.start_s and span.end_s <= piece.until_s:
        return 1.0
    inside = min(span.end_s, piece.until_s) - max(span.start_s, piece.from_s)
    return min(max(inside / _length(span), 0.0), 1.0)


def _span_at(usage: Usage, channel: str, at_s: float) -> Span | None:
    """The span that holds a time; the last one for what came after it."""
    spans = usage.spans.get(channel, ())
    place = bisect_right(spans, at_s, key=lambda span: span.end_s)
    return spans[min(place, len(spans) - 1)] if spans else None


# -- comparing --


def _compared(
    tally: _Tally, before: _Tally | None, channel: str, kind: Kind, state: _State
) -> KindTrial:
    count, hours = tally.count, tally.hours
    low, high = rate_interval(count, hours) if hours > 0.0 else (math.nan, math.nan)
    plain = KindTrial(
        trial=tally.number,
        name=tally.start.name,
        change=tally.start.change,
        channel=channel,
        kind=kind,
        state=state.words,
        count=count,
        outside=tally.outside,
        hours=hours,
        rate_per_h=count / hours if hours > 0.0 else math.nan,
        low_per_h=low,
        high_per_h=high,
        metres=tally.metres if state.moving else None,
        heat_ups=tally.heat_ups if state.gates == PER_HEAT_UP else None,
        curve=_curve(tally.at_h),
    )
    if before is None:
        return plain
    scatter = max(_scatter(before), _scatter(tally))
    if hours <= 0.0:
        return msgspec.structs.replace(
            plain, outcome=Outcome.TOO_EARLY, further_h=_finite(_further_h(before, tally, scatter))
        )
    compared = compare_rates(count, hours, before.count, before.hours, LEVEL)
    outcome, further = _outcome(tally, before, scatter)
    told = before.count + count > 0
    return msgspec.structs.replace(
        plain,
        ratio=compared.ratio if told else None,
        ratio_low=compared.low if told else None,
        ratio_high=compared.high if told else None,
        p=compared.p if told else None,
        scatter=scatter,
        outcome=outcome,
        further_h=further,
    )


def _curve(at_h: Sequence[float]) -> tuple[tuple[float, int], ...]:
    """Hours and number of each fault; of very many, so many evenly and the last."""
    step = math.ceil(len(at_h) / CURVE_POINTS)
    points = [(at, number) for number, at in enumerate(at_h, 1)]
    return tuple(point for point in points if point[1] % step == 0 or point[1] == len(at_h))


def _outcome(tally: _Tally, before: _Tally, scatter: float) -> tuple[Outcome, float | None]:
    if not before.count and not tally.count:
        return Outcome.NO_FAULT, None
    first, second = _effective(before.count, scatter), _effective(tally.count, scatter)
    if fewer_p(second, tally.hours, first, before.hours) < 1.0 - LEVEL:
        return Outcome.WORSE, None
    further = _further_h(before, tally, scatter)
    if further == 0.0:
        return Outcome.BETTER, None
    if second:
        # Twice the tail: the lower limit alone is then sure to 95 %.
        bounds = compare_rates(second, tally.hours, max(first, 1), before.hours, 2 * LEVEL - 1)
        if bounds.low > HALVED:
            return Outcome.NO_CHANGE, None
    return Outcome.TOO_EARLY, _finite(further)


def _finite(hours: float) -> float | None:
    return hours if math.isfinite(hours) else None


def _effective(count: int, scatter: float) -> int:
    """Faults that count as independent; one that came is never none."""
    return max(int(count / scatter), 1) if count else 0


def _further_h(before: _Tally, tally: _Tally, scatter: float) -> float:
    first, second = _effective(before.count, scatter), _effective(tally.count, scatter)
    further = further_quiet(first, before.hours, second, tally.hours, LEVEL)
    if tally.count == 0 and before.count:
        # It has been as quiet before without any change.
        further = max(further, _longest_quiet_h(before) - tally.hours)
    return further


def _longest_quiet_h(tally: _Tally) -> float:
    """Longest exposure without a fault between two faults, or before the first."""
    edges = [0.0, *tally.at_h]
    return max((later - earlier for earlier, later in pairwise(edges)), default=0.0)


def _scatter(tally: _Tally) -> float:
    """Variance over mean of the counts in equal parts of the exposure, where it is above 1
    by more than chance (χ² at 95 %)."""
    worst = 1.0
    for parts in PARTS:
        if tally.hours <= 0.0 or tally.count < LEAST_A_PART * parts:
            break
        counts = [0] * parts
        for at_h in tally.at_h:
            counts[min(int(at_h / tally.hours * parts), parts - 1)] += 1
        mean = tally.count / parts
        scatter = sum((count - mean) ** 2 for count in counts) / (parts - 1) / mean
        if _chi_square_z(scatter, parts - 1) > SCATTER_Z:
            worst = max(worst, scatter)
    return worst


def _chi_square_z(reduced: float, freedom: int) -> float:
    """Normal score of χ² over its degrees of freedom (Wilson and Hilferty 1931)."""
    ninth = 2.0 / (9.0 * freedom)
    return float((reduced ** (1.0 / 3.0) - (1.0 - ninth)) / math.sqrt(ninth))
