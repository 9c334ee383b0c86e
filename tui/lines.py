"""Events, causes and verdicts as plain lines and as the contract's NDJSON records."""

from collections.abc import Iterable, Sequence
from typing import Any

import msgspec

from detectors.diagnosis.causes import FIRST_LINES
from shared.bursts import bursts
from shared.events import LASTED, Check, Event, RankedCause, Verdict
from shared.when import rate_words, spelt, tenths
from shared.words import Severity, channel_word

BURST_SHOWN = 8
"""Events of a burst that a line names after the first."""
CAUSES_SHOWN = 3
"""Causes a channel in text; JSON gives all that are listed."""
TWICE = 2
UNLIKELY = 0.01
"""Causes below this are left out of text and screen."""


def visible(events: Iterable[Event]) -> list[Event]:
    """Events that stand on their own, in the order in which they were raised."""
    return [event for event in events if event.absorbed_by is None]


def event_line(event: Event) -> str:
    """One event as a line: when, where, what, how bad, why."""
    times = f"×{event.count}{_rate(event, ', ', ';')} " if event.count > 1 else ""
    tied = f" (with {event.tied_to})" if event.tied_to else ""
    lasted = ""
    if event.end_s is None:
        lasted = ", going on"
    elif event.end_s - event.start_s >= 1.0:
        lasted = f", {spelt(event.end_s - event.start_s)}"
    return (
        f"{tenths(event.start_s):>10}  {channel_word(event.channel):<8} {event.kind:<18} "
        f"{event.severity:<20} {times}{event.text}{tied}{lasted}"
    )


def _rate(event: Event, before: str, after: str, now_s: float | None = None) -> str:
    """How often a chattering event comes, between `before` and `after`; else nothing."""
    rate = event.per_hour(now_s)
    return "" if rate is None else f"{before}{rate_words(rate)}{after}"


def burst_lines(events: Iterable[Event]) -> list[str]:
    """A line a burst: the first out, then the others in the order in which they came."""
    lines = []
    for burst in bursts(events):
        start_s = burst[0].start_s
        first = [_place(event) for event in burst if event.start_s == start_s]
        later = [
            f"{_place(event)} {spelt(event.start_s - start_s)} later"
            for event in burst
            if event.start_s > start_s
        ]
        more = f" and {len(later) - BURST_SHOWN} more" if len(later) > BURST_SHOWN else ""
        told = f", then {', '.join(later[:BURST_SHOWN])}{more}" if later else ""
        lines.append(
            f"{tenths(start_s):>10}  burst of {len(burst)}: first out {' and '.join(first)}{told}"
        )
    return lines


def _place(event: Event) -> str:
    return f"{event.kind} on {channel_word(event.channel)}"


def news_line(event: Event, now_s: float | None = None) -> str:
    """What became of an event that was told before: it ended, or its count went up."""
    times = f"×{event.count}" if event.count > 1 else ""
    times += _rate(event, ", ", "", now_s)
    if event.end_s is None:
        at_s, now = event.start_s, f"{times} so far"
    else:
        at_s, now = event.end_s, f"ended {_lasted(event)}"
    return f"{tenths(at_s):>10}  {channel_word(event.channel):<8} {event.kind:<18} {now}"


def _lasted(event: Event) -> str:
    """How long an event that has ended lasted: `after 11 s`, `twice, 25 s in all`."""
    span = spelt((event.end_s or event.start_s) - event.start_s)
    if event.count == 1:
        return f"after {span}"
    often = "twice" if event.count == TWICE else f"{event.count} times"
    lasted_s = event.facts.get(LASTED)
    if isinstance(lasted_s, float) and lasted_s >= 1.0:
        return f"{often}, {spelt(lasted_s)} in all"
    return f"{often} within {span}"


def cause_lines(causes: Iterable[RankedCause]) -> list[str]:
    """Ranked causes a channel, with evidence and the next check."""
    lines: list[str] = []
    by_channel: dict[str, list[RankedCause]] = {}
    for cause in causes:
        by_channel.setdefault(cause.channel, []).append(cause)
    for channel, ranked in by_channel.items():
        lines.append(f"{channel_word(channel)}: most likely")
        likely = [cause for cause in ranked if cause.probability >= UNLIKELY]
        for cause in (likely or ranked[:1])[:CAUSES_SHOWN]:
            name = cause.cause or "unknown"
            lines.append(f"  {cause.probability:4.0%}  {name}")
            lines += [f"        + {words}" for words in cause.evidence_for[:3]]
            lines += [f"        - {words}" for words in cause.evidence_against[:2]]
        lines += [f"  first: {line}" for line in first_lines(ranked)]
        check = next((cause.next_check for cause in ranked if cause.next_check), None)
        if check is not None:
            lines.append(f"  next check ({effort_words(check)}): {check.do}")
            lines.append(f"  look for: {check.look_for}")
            if check.caution:
                lines.append(f"  caution: {check.caution}")
    return lines


def first_lines(ranked: Sequence[RankedCause]) -> list[str]:
    """What comes first for the leading cause, and what can hurt."""
    cause = ranked[0].cause if ranked else None
    return [] if cause is None else [FIRST_LINES[cause][0]]


def effort_words(check: Check) -> str:
    """What a check costs: minutes, and tools where it takes any."""
    minutes = f"{check.effort_min:.0f} min"
    return f"{minutes}; {check.tools}" if check.tools else minutes


def verdict_line(verdict: Verdict) -> str:
    return f"verdict: {verdict.severity}: {verdict.text}"


# -- NDJSON (contract) --


def encode(record: dict[str, Any]) -> str:
    """One record as one line of JSON."""
    return msgspec.json.encode(record).decode()


def event_record(event: Event) -> dict[str, Any]:
    return {
        "record": "event",
        "kind": event.kind,
        "channel": event.channel,
        "start_s": event.start_s,
        "end_s": event.end_s,
        "severity": event.severity,
        "count": event.count,
        "measure": {"value": event.value, "unit": event.unit},
        "tied_to": event.tied_to,
        "gate": event.gate,
        "text": event.text,
        "rate_per_h": event.per_hour(),
    }


def burst_record(burst: Sequence[Event]) -> dict[str, Any]:
    """The order of a burst, for `judge --json` (docs/json.md)."""
    return {
        "record": "burst",
        "start_s": burst[0].start_s,
        "order": [
            {
                "kind": event.kind,
                "channel": event.channel,
                "start_s": event.start_s,
                "first_out": event.start_s == burst[0].start_s,
            }
            for event in burst
        ],
    }


def cause_record(cause: RankedCause) -> dict[str, Any]:
    check = cause.next_check
    return {
        "record": "cause",
        "channel": cause.channel,
        "cause": cause.cause or "unknown",
        "probability": round(cause.probability, 4),
        "for": list(cause.evidence_for),
        "against": list(cause.evidence_against),
        "next_check": None if check is None else f"{check.name}: {check.do}",
    }


def verdict_record(verdict: Verdict) -> dict[str, Any]:
    return {"record": "verdict", "severity": verdict.severity, "text": verdict.text}


def found_something(events: Iterable[Event]) -> bool:
    """Whether any event is above a notice: `judge` ends with 1."""
    return any(event.severity is not Severity.NOTICE for event in visible(events))
