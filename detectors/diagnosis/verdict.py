"""One line on a whole log: what to stop, what is wrong, how sure, what next; or what was looked at.

Low is the dangerous way: a loop that follows a reading below the truth heats too far, and a
heater that is on by itself obeys nobody. Such a finding leads every headline.

A fault is repaired where the trial after the change is better than the one before and no
fault has come in it (`trials.compared`), and stays so while further changes bring none
back. Severities are the status categories of NAMUR NE 107: a proven repair needs nothing; a
reading that is right again but may not stay so asks for maintenance.
"""

from collections.abc import Iterable, Mapping, Sequence
from enum import Enum, auto

import msgspec

from detectors.diagnosis.case import amount, is_explained, number
from detectors.diagnosis.causes import SWITCH_OFF
from detectors.diagnosis.table import words_of
from detectors.trials.compared import TrialOutcome
from detectors.trials.counted import KindTrial, hours_words, rate_per_h
from shared.chainstate import ChainState, Stage
from shared.events import Event, NotEvaluated, RankedCause, Verdict
from shared.kinds import KINDS, Shape
from shared.when import spelt
from shared.words import EVERY_CHANNEL, Cause, Kind, Severity

PULL_THE_PLUG = "pull the plug now, a command does not help, do not heat again"
FALLS = 3
"""Downward jumps from which on they are repeated: one or two may be noise. Judgement."""
MOSTLY = 0.5
LOW_K = 5.0
"""A reading that is so far below the others at rest is farther below when it is hot."""
SEATED_OUT = 0.5
"""Probability from which on a sensor is taken to be out of its seat."""
SHOWS_OFF_K = 4.0
"""More than leads that nobody told, and a host that takes them off, make of a hot sensor: 1.4 Ω."""
SAID = "message"
"""Fact of a silence: what the host says all the same."""
SURE = 0.5
"""From here on one cause is named alone."""
CLEAR = 0.15
"""Below this a cause is none to be shown as likely, or to be checked first. Judgement."""


class _Body(msgspec.Struct, frozen=True):
    """What the events amount to."""

    severity: Severity
    text: str
    stops: Mapping[str, str]
    """Channels whose heat has to stop, and how, the worst first."""


def verdict(
    events: Sequence[Event],
    causes: Sequence[RankedCause],
    *,
    span_s: float | None = None,
    channels: int | None = None,
    not_evaluated: Sequence[NotEvaluated] = (),
    shelved: Sequence[str] = (),
    trials: Sequence[KindTrial] = (),
    chains: Sequence[ChainState] = (),
) -> Verdict:
    """The log in one line, with the worst severity among its events.

    `span_s` and `channels` are what was looked at; `not_evaluated` what could not be
    judged, which the line says where nothing was found. `shelved` names what is not among
    `events` because a person set it aside. `trials` are those of the log: faults that they
    prove to be repaired, or that have not come since a change, are told as such, and no
    longer weigh as they did. `chains` say where the host's degrees are off by the facts of
    what is fitted; heat follows what the host shows.
    """
    seen = [event for event in events if event.absorbed_by is None]
    off_k = {c.channel: c.shows_off_k for c in chains if abs(c.shows_off_k) >= SHOWS_OFF_K}
    low = [channel for channel, each in off_k.items() if each < 0.0]
    body = _after_repair(seen, causes, repairs_of(trials), low)
    if body is None and all(event.severity is Severity.NOTICE for event in seen):
        text = _nothing(seen, span_s, channels, not_evaluated)
        body = _Body(Severity.NOTICE, text, dict.fromkeys(low, SWITCH_OFF))
    body = body or _faults(seen, causes, low)
    lines = dict.fromkeys(body.stops.values())
    stop = ". ".join(
        f"{', '.join(_place(name) for name, each in body.stops.items() if each == line)}: {line}"
        for line in lines
    )
    beside = [
        f"{channel}: the host shows {abs(each):.0f} K too {'high' if each > 0.0 else 'low'} by "
        "the chain's facts: reference, R0 or curve are set otherwise"
        for channel, each in off_k.items()
    ]
    text, least = body.text, Severity.NOTICE
    if off_k:
        least = Severity.FAILURE if low else Severity.OUT_OF_SPECIFICATION
    if off_k or shelved:
        text = text.replace("no fault found", "no other fault found", 1)
    set_aside = [f"shelved: {', '.join(shelved)}"] if shelved else []
    whole = "; ".join([*([stop] if stop else []), *beside, text, *set_aside])
    return Verdict(severity=_worst([body.severity, least]), text=whole, stop=stop)


def _worst(severities: Iterable[Severity]) -> Severity:
    return max(severities, key=lambda each: each.rank)


def _faults(seen: Sequence[Event], causes: Sequence[RankedCause], low: Sequence[str]) -> _Body:
    """Of events above a notice; `low` names channels whose degrees are too low by their facts."""
    faulty = {event.channel for event in seen if event.severity is not Severity.NOTICE}
    named = [ranked for ranked in _by_channel(causes) if ranked[0].channel in faulty]
    first = {ranked[0].channel: ranked[0] for ranked in named}
    stops = {}
    for channel in dict.fromkeys([*(event.channel for event in seen), *low]):
        own = [event for event in seen if event.channel == channel]
        line = stop_line(own, first.get(channel)) or (SWITCH_OFF if channel in low else "")
        if line:
            stops[channel] = line
    stops = dict(sorted(stops.items(), key=lambda pair: pair[1] != PULL_THE_PLUG))
    if stops:
        order = list(stops)
        named.sort(key=lambda ranked: [*order, ranked[0].channel].index(ranked[0].channel))
    said = _of_the_host(seen, first)
    if said:
        # What the host says is more than that no cause is known.
        named = [r for r in named if r[0].cause is not None or r[0].channel != EVERY_CHANNEL]
    left = [event for event in seen if event.kind is not Kind.UNKNOWN_STATE] if said else seen
    if not named and all(event.severity is Severity.NOTICE for event in left):
        text = f"{_place(EVERY_CHANNEL)}: {said}"
    else:
        text = _found(left, named)
        text = f"{said}; {text}" if said not in text else text
    worst = Severity.FAILURE if stops else _worst(event.severity for event in seen)
    return _Body(worst, text, stops)


def _by_channel(causes: Sequence[RankedCause]) -> list[list[RankedCause]]:
    """Causes by channel, channels and causes in the order of the diagnosis."""
    found: dict[str, list[RankedCause]] = {}
    for cause in causes:
        found.setdefault(cause.channel, []).append(cause)
    return list(found.values())


def stop_line(events: Sequence[Event], leading: RankedCause | None = None) -> str:
    """What must be done at once for one channel's events and its first cause; often nothing."""
    if any(event.kind is Kind.RISE_UNPOWERED for event in events):
        return PULL_THE_PLUG
    out_of_seat = (
        leading is not None
        and leading.cause is Cause.SENSOR_SEATING
        and leading.probability >= SEATED_OUT
    )
    is_low = any(
        event.kind is Kind.NO_RISE
        or (event.kind is Kind.DRIFT and amount(event, "power_excess") > 0.0)
        or (event.kind is Kind.CODE_LOW and (event.is_active or event.count >= FALLS))
        or (event.kind is Kind.OFFSET_COLD and amount(event, "offset_c") <= -LOW_K)
        for event in events
    )
    return SWITCH_OFF if out_of_seat or is_low or _falls(events) else ""


def _falls(events: Sequence[Event]) -> bool:
    """Whether jumps come again and again, and mostly downward."""
    fell = all_ = 0.0
    for event in events:
        spec = KINDS[event.kind]
        if spec.shape is Shape.JUMP and spec.may_read_low:
            share = number(event, "positive_share")
            down = float(event.value < 0.0) if share is None else 1.0 - share
            fell += event.count * down
            all_ += event.count
    return fell >= FALLS and fell > MOSTLY * all_


def _of_the_host(seen: Sequence[Event], named: Mapping[str, RankedCause]) -> str:
    """What the host itself says of its state, where no cause that is named explains it."""
    faults = [event for event in seen if event.channel in named]
    halts = [event for event in seen if event.kind is Kind.HALT]
    if halts and not any(is_explained(halt, faults) for halt in halts):
        return halts[-1].text
    told = [
        event.text
        for event in seen
        if event.is_active
        and (event.kind is Kind.UNKNOWN_STATE or (event.kind is Kind.STALE and SAID in event.facts))
    ]
    return told[-1] if told else ""


def _found(seen: Sequence[Event], named: Sequence[list[RankedCause]]) -> str:
    """Causes and the next check, or the worst event where no cause was ranked."""
    if not named:
        event = max(seen, key=lambda event: event.severity.rank)
        return f"{_place(event.channel)}: {event.text}"
    text = _most_likely(named[0], seen)
    if len(named) > 1:
        text += f"; also {', '.join(_shown(ranked[0]) for ranked in named[1:])}"
    check = named[0][0].next_check
    is_clear = any(each.cause is not None and each.probability >= CLEAR for each in named[0])
    return (
        text if check is None or not is_clear else f"{text} — next: {check.name.replace('-', ' ')}"
    )


def _most_likely(ranked: list[RankedCause], seen: Sequence[Event]) -> str:
    first, *rest = ranked
    told = [event.text for event in seen if KINDS[event.kind].shows_at is Stage.HOST]
    if first.cause is None and first.channel == EVERY_CHANNEL and told:
        # What is known of a link whose end no cause of the table explains.
        return f"{told[-1]} (neither network nor host load, {_share(first)})"
    place = _place(first.channel, first.cause)
    if first.cause is None:
        return f"{place}: cause unclear ({_share(first)} that it is none we know)"
    if first.probability >= SURE or not rest:
        return f"{place}: {words_of(first.cause)}, most likely ({_share(first)})"
    return f"{_shown(first)} or {words_of(rest[0].cause)} ({_share(rest[0])})"


def _shown(cause: RankedCause) -> str:
    return f"{_place(cause.channel, cause.cause)}: {words_of(cause.cause)} ({_share(cause)})"


def _share(cause: RankedCause) -> str:
    """Probability in whole per cent, never a round 100."""
    return f"{min(round(100.0 * cause.probability), 99)} %"


def _place(channel: str, cause: Cause | None = None) -> str:
    if channel != EVERY_CHANNEL:
        return channel
    return "link to the host" if cause in (Cause.NETWORK, Cause.HOST_LOAD) else "all channels"


def _nothing(
    seen: Sequence[Event],
    span_s: float | None,
    channels: int | None,
    not_evaluated: Sequence[NotEvaluated],
) -> str:
    """What was looked at, and what is to be known all the same."""
    if channels == 0 or span_s == 0.0:
        return "nothing to judge: no channel gave a reading"
    text = "no fault found"
    if span_s is not None:
        text += f" in {spelt(span_s)}"
    if channels is not None:
        text += f" of {channels} channel{'' if channels == 1 else 's'}"
    untold = [each.why for each in not_evaluated if each.kind is Kind.HALT]
    if untold:
        # Of a machine that may be stopped, well-looking readings are not the first thing to say.
        text = f"{'; '.join(untold)}; in what is told, {text}"
    notices: dict[str, dict[str, None]] = {}
    for event in seen:
        on = notices.setdefault(event.kind.value, {})
        if event.channel != EVERY_CHANNEL:
            on[event.channel] = None
    if notices:
        listed = [f"{kind} on {', '.join(on)}" if on else kind for kind, on in notices.items()]
        text += f"; to be known: {'; '.join(listed)}"
    blind = [each for each in not_evaluated if each.kind is not Kind.HALT]
    if blind:
        shown = list(
            dict.fromkeys(f"{each.kind.value} on {_place(each.channel)}" for each in blind)
        )
        more = f" and {len(shown) - 3} more" if len(shown) > 3 else ""
        text += f"; not evaluated: {', '.join(shown[:3])}{more}"
    return text


# Repairs, by the latest trials.
class Repair(Enum):
    """How it stands with one fault."""

    PROVEN = auto()
    EARLY = auto()
    """None since the change, for too short a time."""
    NOT = auto()


class Repairs(msgspec.Struct, frozen=True):
    """How it stands with every fault that trials have counted."""

    by_kind: Mapping[tuple[str, Kind], tuple[Repair, str]]
    """State and words, by channel and kind; a kind that is a view of another has its words."""

    def of_channel(self, channel: str) -> Repair:
        """The least that any fault of the channel comes to."""
        found = [state for (name, _), (state, _) in self.by_kind.items() if name == channel]
        return max(found, key=lambda state: state.value, default=Repair.NOT)

    def are_of(self, event: Event) -> bool:
        """Whether nothing of this fault has come since a change.

        What trials do not count is made of the channel's faults, and follows them.
        """
        if event.severity is Severity.NOTICE:
            return False
        if not KINDS[event.kind].counts_in_trials:
            return self.of_channel(event.channel) is not Repair.NOT
        return self.by_kind.get((event.channel, event.kind), (Repair.NOT,))[0] is not Repair.NOT

    def without(self, kind: Kind) -> "Repairs":
        return Repairs({key: told for key, told in self.by_kind.items() if key[1] is not kind})

    def words(self, state: Repair) -> list[str]:
        return list(dict.fromkeys(words for one, words in self.by_kind.values() if one is state))


def repairs_of(trials: Iterable[KindTrial]) -> Repairs:
    """How it stands, from trials in their order."""
    ones: dict[tuple[str, Kind], list[KindTrial]] = {}
    for one in trials:
        ones.setdefault((one.channel, one.kind), []).append(one)
    return Repairs(
        {
            (channel, each): told
            for (channel, kind), of in ones.items()
            for told in [_told(of)]
            for each in (kind, *of[-1].also)
        }
    )


def _told(ones: Sequence[KindTrial]) -> tuple[Repair, str]:
    at = len(ones) - 1
    while at > 0 and ones[at].outcome is TrialOutcome.NO_FAULT:
        at -= 1
    last = ones[at]
    if at == 0 or last.count or last.outcome not in (TrialOutcome.BETTER, TrialOutcome.TOO_EARLY):
        return Repair.NOT, ""
    place, before = _place(last.channel), rate_per_h(ones[at - 1])
    none = f"0 {last.kind} in {hours_words(last.hours)} {last.state} against {before} before"
    if last.outcome is TrialOutcome.BETTER:
        chance = "" if last.p is None else f", p {last.p:.2g}"
        return Repair.PROVEN, f"{place} repaired by “{last.name}”: {none}{chance}"
    more = "" if last.further_h is None else f"; {hours_words(last.further_h)} more without a fault"
    return Repair.EARLY, f"{place}, too early to call “{last.name}” a repair: {none}{more}"


def _after_repair(
    seen: Sequence[Event], causes: Sequence[RankedCause], repairs: Repairs, low: Sequence[str]
) -> _Body | None:
    """What trials say of repairs, behind what is left to name; None where they say nothing."""
    settled = [event for event in seen if repairs.are_of(event)]
    if not settled:
        return None
    # A halt that a settled fault brought about is settled with it.
    left = [e for e in seen if not repairs.are_of(e) and not is_explained(e, settled)]
    if not any(event.kind is Kind.HALT for event in left):
        repairs = repairs.without(Kind.HALT)
    early = repairs.words(Repair.EARLY)
    told = [*early, *repairs.words(Repair.PROVEN)]
    if any(event.severity is not Severity.NOTICE for event in left):
        rest = _faults(left, causes, low)
        return _Body(rest.severity, "; ".join([rest.text, *told]), rest.stops)
    was = [
        _shown(ranked[0])
        for ranked in _by_channel(causes)
        if ranked[0].cause is not None and repairs.of_channel(ranked[0].channel) is not Repair.NOT
    ]
    if was:
        told.append(f"it was, most likely, {', '.join(was)}")
    severity = Severity.MAINTENANCE_REQUIRED if early else Severity.NOTICE
    return _Body(severity, "; ".join(told), dict.fromkeys(low, SWITCH_OFF))
