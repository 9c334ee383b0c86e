"""Did the repair work, and how long must one watch before saying so?

A change to the machine starts a trial, which lasts until the next one, over as many logs
as there are. For each kind of fault a trial has a count and an exposure: the hours in
which it can come. That is the state in which it came before, so a fault that was only
ever seen while the carriage moves has hours (and metres) of motion as its exposure.

Rates have exact Poisson intervals; `compared` holds a trial against the one before.
"""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import msgspec

from detectors.chance.rates import compare_rates, rate_interval
from detectors.trials.compared import LEVEL, Exposed, TrialOutcome, compare
from detectors.trials.exposure import Span, Usage
from detectors.trials.onefault import counted_once, one_fault
from shared.kinds import KINDS
from shared.words import EVERY_CHANNEL, Gate, Kind

LEAST_FOR_A_STATE = 3
"""Faults fewer than this say nothing of the state that they need."""
MOSTLY = 0.95
"""Part of the faults that come in a state that is taken for theirs."""
CURVE_POINTS = 400
PER_HEAT_UP = frozenset({Gate.HEATING})
_HOT = {Gate.HOLDING, Gate.PRINTING}
_RUNNING = set(Gate) - {Gate.STARTING, Gate.HALTED}
BEFORE = "as found"


@dataclass(frozen=True, slots=True)
class Change:
    """A change to the machine: from here on a new trial."""

    time_s: float
    name: str
    channel: str = EVERY_CHANNEL
    """The channel that was changed; `*` is all of them."""
    check: str = ""
    """Name of the check of the catalogue that this change is, if it is one."""


@dataclass(frozen=True, slots=True)
class Watched:
    """One log: what it was exposed to, and the changes that were made in it."""

    usage: Usage
    changes: tuple[Change, ...] = ()


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
    outcome: TrialOutcome = TrialOutcome.FIRST
    also: tuple[Kind, ...] = ()
    """Kinds that saw the same fault at the same instants, and are counted here."""
    curve: tuple[tuple[float, int], ...] = ()
    """Hours of exposure, from the trial's start, at which each fault came, and their number."""


def trials(logs: Sequence[Watched]) -> tuple[KindTrial, ...]:
    """Every kind of fault that came at all, by channel, kind and trial.

    `logs` are in the order in which they were made; exposures add up over them.
    """
    joined = one_fault([log.usage for log in logs])
    logs = [replace(log, usage=counted_once(log.usage, joined)) for log in logs]
    found: list[KindTrial] = []
    keys = {
        (one.channel, one.kind)
        for log in logs
        for one in log.usage.occurrences
        if KINDS[one.kind].counts_in_trials
    }
    for channel, kind in sorted(keys):
        also = tuple(view for (name, view), of in joined.items() if (name, of) == (channel, kind))
        ones = _of_kind(logs, channel, kind)
        found += [msgspec.structs.replace(one, also=also) for one in ones]
    return tuple(found)


def outcome_words(one: KindTrial) -> str:
    """The outcome as a person reads it."""
    if one.outcome is TrialOutcome.TOO_EARLY and one.further_h is not None:
        return f"too early: {hours_words(one.further_h)} more without a fault"
    if one.outcome is TrialOutcome.NO_FAULT:
        return f"none; fewer than {one.high_per_h:.3g} an hour"
    return str(one.outcome)


def rate_per_h(one: KindTrial) -> str:
    """A trial's rate in words, at most two figures."""
    return f"{figures(one.rate_per_h)}/h"


def figures(value: float) -> str:
    """Two figures, and no powers of ten where digits do."""
    return f"{value:.0f}" if 10.0 <= abs(value) < 1e6 else f"{value:.2g}"


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

    change: Change
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
        and (span := log.usage.span_at(channel, one.at_s)) is not None
    ]
    state = _state(spans)
    tallies = [
        _tally(change, number, pieces, channel, kind, state)
        for number, change, pieces in _pieces(logs, channel)
    ]
    tallies = [tally for tally in tallies if tally.number or tally.hours or tally.outside]
    before: _Tally | None = None
    for tally in tallies:
        yield _compared(tally, before, channel, kind, state)
        if tally.hours > 0.0:
            before = tally


def _pieces(logs: Sequence[Watched], channel: str) -> Iterator[tuple[int, Change, list[_Piece]]]:
    """Trials of a channel with the parts of logs that they took."""
    number, current, pieces = 0, Change(-math.inf, BEFORE), list[_Piece]()
    count = 0
    for log in logs:
        from_s = -math.inf
        for change in sorted(log.changes, key=lambda one: one.time_s):
            count += 1
            if change.channel not in (channel, EVERY_CHANNEL):
                continue
            pieces.append(_Piece(log.usage, from_s, change.time_s))
            yield number, current, pieces
            number, current, pieces, from_s = count, change, [], change.time_s
        pieces.append(_Piece(log.usage, from_s, math.inf))
    yield number, current, pieces


def _tally(
    change: Change, number: int, pieces: Sequence[_Piece], channel: str, kind: Kind, state: _State
) -> _Tally:
    tally = _Tally(change, number)
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


# -- comparing --


def _compared(
    tally: _Tally, before: _Tally | None, channel: str, kind: Kind, state: _State
) -> KindTrial:
    count, hours = tally.count, tally.hours
    low, high = rate_interval(count, hours) if hours > 0.0 else (math.nan, math.nan)
    plain = KindTrial(
        trial=tally.number,
        name=tally.change.name,
        change=tally.change.check,
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
    judged = compare(Exposed(before.hours, before.at_h), Exposed(hours, tally.at_h))
    plain = msgspec.structs.replace(
        plain, outcome=judged.outcome, further_h=judged.further_h, scatter=judged.scatter
    )
    if hours <= 0.0 or before.count + count == 0:
        return plain
    compared = compare_rates(count, hours, before.count, before.hours, LEVEL)
    return msgspec.structs.replace(
        plain,
        ratio=compared.ratio,
        ratio_low=compared.low,
        ratio_high=compared.high,
        p=compared.p,
    )


def _curve(at_h: Sequence[float]) -> tuple[tuple[float, int], ...]:
    """Hours and number of each fault; of very many, so many evenly and the last."""
    step = math.ceil(len(at_h) / CURVE_POINTS)
    points = [(at, number) for number, at in enumerate(at_h, 1)]
    return tuple(point for point in points if point[1] % step == 0 or point[1] == len(at_h))
