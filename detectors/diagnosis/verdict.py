"""One line on a whole log: what is wrong, how sure, what next; or what was looked at."""

from collections.abc import Mapping, Sequence

import msgspec

from detectors.diagnosis.case import is_explained
from detectors.diagnosis.causes import SWITCH_OFF
from detectors.diagnosis.firstline import PULL_THE_PLUG, stop_line
from detectors.diagnosis.repaired import Repair, Repairs, repairs_of
from detectors.diagnosis.table import words_of
from detectors.trials.counted import KindTrial
from shared.chainstate import ChainState, Stage
from shared.events import Event, NotEvaluated, RankedCause, Verdict
from shared.kinds import KINDS
from shared.when import spelt
from shared.words import EVERY_CHANNEL, Cause, Kind, Severity

SHOWS_OFF_K = 4.0
"""More than leads that nobody told, and a host that takes them off, make of a hot sensor: 1.4 Ω."""
SAID = "message"
"""Fact of a silence: what the host says all the same."""
SURE = 0.5
"""From here on one cause is named alone."""


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
    longer weigh as they did.
    """
    seen = [event for event in events if event.absorbed_by is None]
    off_k = {c.channel: c.shows_off_k for c in chains if abs(c.shows_off_k) >= SHOWS_OFF_K}
    low = [channel for channel, each in off_k.items() if each < 0.0]
    found = _after_repair(seen, causes, repairs_of(trials), low)
    if found is None:
        found = _verdict(seen, causes, span_s, channels, not_evaluated, low)
    found = _beside_facts(found, off_k)
    if not shelved:
        return found
    text = found.text.replace("no fault found", "no other fault found", 1)
    text += f"; shelved: {', '.join(shelved)}"
    return msgspec.structs.replace(found, text=text)


def _verdict(
    seen: Sequence[Event],
    causes: Sequence[RankedCause],
    span_s: float | None,
    channels: int | None,
    not_evaluated: Sequence[NotEvaluated],
    low: Sequence[str],
) -> Verdict:
    """`low` names channels whose degrees are too low by the chain's facts."""
    worst = max((event.severity for event in seen), key=lambda s: s.rank, default=Severity.NOTICE)
    if worst is Severity.NOTICE:
        text = _nothing(seen, span_s, channels, not_evaluated)
        return _stopped(dict.fromkeys(low, SWITCH_OFF), Verdict(severity=worst, text=text))
    leading = _leading(causes)
    faulty = {event.channel for event in seen if event.severity is not Severity.NOTICE}
    named = [cause for cause in leading if cause[0].channel in faulty]
    stops = _stops(seen, named, low)
    if stops:
        worst = Severity.FAILURE
        order = list(stops)
        named.sort(key=lambda ranked: [*order, ranked[0].channel].index(ranked[0].channel))
    said = _of_the_host(seen, named)
    left = [event for event in seen if event.kind is not Kind.UNKNOWN_STATE] if said else seen
    if not named and all(event.severity is Severity.NOTICE for event in left):
        text = f"{_place(EVERY_CHANNEL)}: {said}"
    else:
        found = _found(left, named)
        text = f"{said}; {found}" if said not in found else found
    return _stopped(stops, Verdict(severity=worst, text=text))


def _of_the_host(seen: Sequence[Event], named: Sequence[list[RankedCause]]) -> str:
    """What the host itself says of its state, where no cause that is named explains it."""
    faults = [event for event in seen if event.channel in {each[0].channel for each in named}]
    halts = [event for event in seen if event.kind is Kind.HALT]
    if halts and not any(is_explained(halt, faults) for halt in halts):
        return halts[-1].text
    told = [
        event
        for event in seen
        if event.is_active
        and (event.kind is Kind.UNKNOWN_STATE or (event.kind is Kind.STALE and SAID in event.facts))
    ]
    return told[-1].text if told else ""


def _beside_facts(found: Verdict, off_k: Mapping[str, float]) -> Verdict:
    """What the facts of what is fitted say of the host's degrees, before what events say.

    `off_k` is how far they are above the facts', by channel; heat follows what the host shows.
    """
    if not off_k:
        return found
    told = [
        f"{channel}: the host shows {abs(each):.0f} K too {'high' if each > 0.0 else 'low'} by "
        "the chain's facts: reference, R0 or curve are set otherwise"
        for channel, each in off_k.items()
    ]
    is_low = min(off_k.values()) < 0.0
    least = Severity.FAILURE if is_low else Severity.OUT_OF_SPECIFICATION
    rest = found.text.removeprefix(f"{found.stop}; ")
    told.append(rest.replace("no fault found", "no other fault found", 1))
    text = "; ".join([found.stop, *told] if found.stop else told)
    severity = max(found.severity, least, key=lambda each: each.rank)
    return Verdict(severity=severity, text=text, stop=found.stop)


def _found(seen: Sequence[Event], named: Sequence[list[RankedCause]]) -> str:
    """Causes and the next check, or the worst event where no cause was ranked."""
    if not named:
        event = max(seen, key=lambda event: event.severity.rank)
        return f"{_place(event.channel)}: {event.text}"
    text = _most_likely(named[0], seen)
    if len(named) > 1:
        text += f"; also {', '.join(_also(ranked) for ranked in named[1:])}"
    check = named[0][0].next_check
    if check is not None:
        text += f" — next: {check.name.replace('-', ' ')}"
    return text


def _stops(
    seen: Sequence[Event], named: Sequence[list[RankedCause]], low: Sequence[str]
) -> dict[str, str]:
    """Channels whose heat has to stop, and how, the worst first."""
    first = {ranked[0].channel: ranked[0] for ranked in named}
    found = {}
    for channel in dict.fromkeys([*(event.channel for event in seen), *low]):
        own = [event for event in seen if event.channel == channel]
        line = stop_line(own, first.get(channel)) or (SWITCH_OFF if channel in low else "")
        if line:
            found[channel] = line
    return dict(sorted(found.items(), key=lambda pair: pair[1] != PULL_THE_PLUG))


def _stopped(stops: Mapping[str, str], found: Verdict) -> Verdict:
    """A verdict that begins with what must be done at once."""
    if not stops:
        return found
    lines = dict.fromkeys(stops.values())
    stop = ". ".join(
        f"{', '.join(_place(name) for name, each in stops.items() if each == line)}: {line}"
        for line in lines
    )
    return Verdict(severity=found.severity, text=f"{stop}; {found.text}", stop=stop)


def _is_settled(event: Event, repairs: Repairs) -> bool:
    """Whether nothing of this fault has come since a change.

    What trials do not count is made of the channel's faults, and follows them.
    """
    if event.severity is Severity.NOTICE:
        return False
    if not KINDS[event.kind].counts_in_trials:
        return repairs.of_channel(event.channel) is not Repair.NOT
    return repairs.of(event.channel, event.kind) is not Repair.NOT


def _after_repair(
    seen: Sequence[Event], causes: Sequence[RankedCause], repairs: Repairs, low: Sequence[str]
) -> Verdict | None:
    """What trials say of repairs, behind what is left to name; None where they say nothing."""
    settled = [event for event in seen if _is_settled(event, repairs)]
    if not settled:
        return None
    left = [event for event in seen if not _is_settled(event, repairs)]
    # A halt that a settled fault brought about is settled with it.
    left = [event for event in left if not is_explained(event, settled)]
    if not any(event.kind is Kind.HALT for event in left):
        repairs = repairs.without(Kind.HALT)
    told = [*repairs.words(Repair.EARLY), *repairs.words(Repair.PROVEN)]
    if any(event.severity is not Severity.NOTICE for event in left):
        rest = _verdict(left, causes, None, None, (), low)
        return msgspec.structs.replace(rest, text="; ".join([rest.text, *told]))
    early = bool(repairs.words(Repair.EARLY))
    was = [
        _also(ranked)
        for ranked in _leading(causes)
        if ranked[0].cause is not None and repairs.of_channel(ranked[0].channel) is not Repair.NOT
    ]
    if was:
        told.append(f"it was, most likely, {', '.join(was)}")
    severity = Severity.MAINTENANCE_REQUIRED if early else Severity.NOTICE
    found = Verdict(severity=severity, text="; ".join(told))
    return _stopped(dict.fromkeys(low, SWITCH_OFF), found)


def _leading(causes: Sequence[RankedCause]) -> list[list[RankedCause]]:
    """Causes by channel, channels and causes in the order of the diagnosis."""
    found: dict[str, list[RankedCause]] = {}
    for cause in causes:
        found.setdefault(cause.channel, []).append(cause)
    return list(found.values())


def _most_likely(ranked: list[RankedCause], seen: Sequence[Event]) -> str:
    first, *rest = ranked
    finding = _finding(first, seen)
    if finding:
        return finding
    place = _place(first.channel, first.cause)
    if first.cause is None:
        return f"{place}: cause unclear ({_share(first)} that it is none we know)"
    if first.probability >= SURE or not rest:
        return f"{place}: {words_of(first.cause)}, most likely ({_share(first)})"
    second = rest[0]
    return (
        f"{place}: {words_of(first.cause)} ({_share(first)}) "
        f"or {words_of(second.cause)} ({_share(second)})"
    )


def _finding(first: RankedCause, seen: Sequence[Event]) -> str:
    """What is known of a link whose end no cause of the table explains; else empty."""
    if first.cause is not None or first.channel != EVERY_CHANNEL:
        return ""
    told = [event for event in seen if KINDS[event.kind].shows_at is Stage.HOST]
    if not told:
        return ""
    return f"{told[-1].text} (neither network nor host load, {_share(first)})"


def _also(ranked: list[RankedCause]) -> str:
    first = ranked[0]
    return f"{_place(first.channel, first.cause)}: {words_of(first.cause)} ({_share(first)})"


def _share(cause: RankedCause) -> str:
    """Probability in whole per cent, never a round 100."""
    return f"{min(round(100.0 * cause.probability), 99)} %"


def _nothing(
    seen: Sequence[Event],
    span_s: float | None,
    channels: int | None,
    not_evaluated: Sequence[NotEvaluated],
) -> str:
    if channels == 0 or span_s == 0.0:
        return "nothing to judge: no channel gave a reading"
    text = "no fault found"
    if span_s is not None:
        text += f" in {spelt(span_s)}"
    if channels is not None:
        text += f" of {channels} channel{'' if channels == 1 else 's'}"
    text += "".join(f"; {each.why}" for each in not_evaluated if each.kind is Kind.HALT)
    notices: dict[str, list[str]] = {}
    for event in seen:
        channels_of = notices.setdefault(event.kind.value, [])
        if event.channel != EVERY_CHANNEL and event.channel not in channels_of:
            channels_of.append(event.channel)
    if notices:
        listed = [f"{kind} on {', '.join(on)}" if on else kind for kind, on in notices.items()]
        text += f"; to be known: {'; '.join(listed)}"
    blind = dict.fromkeys(
        f"{each.kind.value} on {_place(each.channel)}"
        for each in not_evaluated
        if each.kind is not Kind.HALT
    )
    if blind:
        shown = list(blind)
        more = f" and {len(shown) - 3} more" if len(shown) > 3 else ""
        text += f"; not evaluated: {', '.join(shown[:3])}{more}"
    return text


def _place(channel: str, cause: Cause | None = None) -> str:
    if channel != EVERY_CHANNEL:
        return channel
    return "link to the host" if cause in (Cause.NETWORK, Cause.HOST_LOAD) else "all channels"
