"""One fault that several detectors see at the same instants, counted once.

A contact that opens drives the code to its end and raises the converter's flag: three kinds
of event, one fault. Where nearly all occurrences of a kind come at the instants of another
kind on the same channel, over all logs, the two are one: they are counted under the kind
that came more often, and what came without it counts there as well, so nothing is lost.
A contact that opens for one reading alone is a spike toward open: where at least as many
contact breaks came, spikes that nearly all went that way are the same contact.
"""

from bisect import bisect_left, insort
from collections.abc import Mapping, Sequence
from dataclasses import replace

from detectors.trials.exposure import Occurrence, Usage
from shared.kinds import KINDS, Shape, kinds_of
from shared.words import Kind

TOGETHER_S = 2.0
"""Occurrences this near are at one instant: flags and readings may come in different updates."""
NEARLY_ALL = 0.8
ALIKE = Shape.JUMP, Shape.END, Shape.FLAG
"""What views of one fault look like; a flipped bit is the bus's alone."""
Joined = Mapping[tuple[str, Kind], Kind]
"""Channel and kind to the kind that it is counted under."""


def one_fault(usages: Sequence[Usage]) -> Joined:
    """Which kinds of which channels are views of another kind; those alone are left out."""
    times: dict[tuple[str, Kind], list[list[float]]] = {}
    for index, usage in enumerate(usages):
        for one in usage.occurrences:
            if KINDS[one.kind].shape in ALIKE:
                key = one.channel, one.kind
                logs = times.setdefault(key, [[] for _ in usages])
                logs[index].append(one.at_s)
    found: dict[tuple[str, Kind], Kind] = {}
    for channel in sorted({channel for channel, _ in times}):
        kinds = [kind for kind in kinds_of(*ALIKE) if (channel, kind) in times]
        kinds.sort(key=lambda kind: -sum(map(len, times[channel, kind])))
        own: list[Kind] = []
        for kind in kinds:
            of = next(
                (one for one in own if _same(times[channel, kind], times[channel, one])), None
            )
            if kind is Kind.SPIKE and Kind.CONTACT_BREAK in own and _went_up(usages, channel):
                of = of or Kind.CONTACT_BREAK
            if of is None:
                own.append(kind)
            else:
                found[channel, kind] = of
    return found


def counted_once(usage: Usage, joined: Joined) -> Usage:
    """The usage with every fault under one kind, each instant once."""
    kept: list[Occurrence] = []
    leaders = {
        (channel, of): [
            one.at_s for one in usage.occurrences if (one.channel, one.kind) == (channel, of)
        ]
        for (channel, _), of in joined.items()
    }
    for one in usage.occurrences:
        of = joined.get((one.channel, one.kind))
        if of is None:
            kept.append(one)
        elif not _is_near(one.at_s, leaders[one.channel, of]):
            # A further view of this instant is near it in turn.
            insort(leaders[one.channel, of], one.at_s)
            kept.append(replace(one, kind=of))
    return Usage(usage.spans, usage.heat_ups_s, tuple(kept))


def _same(few: Sequence[Sequence[float]], many: Sequence[Sequence[float]]) -> bool:
    near = sum(
        _is_near(at_s, others) for mine, others in zip(few, many, strict=True) for at_s in mine
    )
    return near >= NEARLY_ALL * sum(map(len, few))


def _went_up(usages: Sequence[Usage], channel: str) -> bool:
    """Whether nearly all spikes of a channel went toward open."""
    ways = [
        one.is_up is True
        for usage in usages
        for one in usage.occurrences
        if (one.channel, one.kind) == (channel, Kind.SPIKE)
    ]
    return sum(ways) >= NEARLY_ALL * len(ways)


def _is_near(at_s: float, times_s: Sequence[float]) -> bool:
    place = bisect_left(times_s, at_s - TOGETHER_S)
    return place < len(times_s) and times_s[place] <= at_s + TOGETHER_S
