"""Facts on how the link to the host went, from what `detectors.kinds.linkstory` tells."""

from collections.abc import Iterator

from detectors.diagnosis.case import Case, Fact, number, word
from shared.events import Event
from shared.link import How
from shared.words import EVERY_CHANNEL, Kind

OWN_SHARE = 0.3
"""Part of a silence that this machine's own delay has to make up to be behind it."""
OWN_LEAST_S = 5.0
"""So long held up, hosts give up on us."""
EVER_LATER = 3
OFTEN = 3

_OF_TRIES = {
    How.DENIED: "host-denies",
    How.WRONG: "other-protocol",
    How.REFUSED: "port-refuses",
    How.BUSY: "host-not-ready",
    How.MUTE: "host-mute",
    How.NO_NETWORK: "no-network-here",
    How.OURS: "own-machine",
}
"""What decides, in the tries since or in the end itself."""
_OF_ENDS = {
    How.CLOSED: "host-closed",
    How.BROKEN: "broken-off",
    How.RESET: "broken-off",
    How.SILENT: "no-sign-of-life",
    How.TIMED_OUT: "no-sign-of-life",
    How.NO_WAY: "no-sign-of-life",
}


_OF_THE_WAY = {"link-lost", "no-sign-of-life", "broken-off"}
"""Shapes in which the machine at the other end gave no answer that came through."""


_BLOCKED = _OF_THE_WAY | {"held-up"}


def link(case: Case) -> Iterator[Fact]:
    """Of the link itself; a channel's own case has none."""
    if case.channel != EVERY_CHANNEL:
        return
    blocked = 0
    for event in case.of(Kind.LINK_LOSS, Kind.STALE):
        shape = _shape(event)
        blocked += event.count * (shape in _BLOCKED)
        yield Fact(shape, event.text)
        if shape == "own-machine":
            continue
        yield from _beside(event, shape)
    if blocked >= OFTEN:
        yield Fact("comes-and-goes", f"the way was blocked {blocked} times")


def _shape(event: Event) -> str:
    if _was_own(event):
        return "own-machine"
    if event.kind is Kind.STALE:
        if number(event, "held_s"):
            return "held-up"
        if number(event, "answers"):
            return "answers-though-silent"
        return "silent-of-either" if number(event, "link_known") == 0.0 else "host-silent"
    since, ended = word(event, "since"), word(event, "ended")
    for how in (since, ended):
        if how in _OF_TRIES:
            return _OF_TRIES[How(how)]
    if number(event, "reopened"):
        return "mute-yet-open"
    return _OF_ENDS.get(How(ended), "link-lost") if ended else "link-lost"


def _was_own(event: Event) -> bool:
    if number(event, "dropped"):
        return True
    late_s = number(event, "late_s") or 0.0
    if event.kind is Kind.LINK_LOSS:
        return late_s >= OWN_LEAST_S
    silence_s = (number(event, "limit_s") or 0.0) if event.end_s is None else _each_s(event)
    return late_s > 0.0 and late_s >= OWN_SHARE * silence_s


def _each_s(event: Event) -> float:
    assert event.end_s is not None
    return (event.end_s - event.start_s) / max(event.count, 1)


def _beside(event: Event, shape: str) -> Iterator[Fact]:
    if shape in _OF_THE_WAY and event.kind is Kind.LINK_LOSS and event.end_s is not None:
        if number(event, "ran_on"):
            yield Fact("host-ran-on", "its uptime grew over the gap: the host ran on")
        else:
            yield Fact("back-as-it-was", "it came back, and no start was seen")
    if (number(event, "ever_later") or 0.0) >= EVER_LATER:
        yield Fact("updates-ever-later", "updates had come later and later before")
    of = number(event, "others_of") or 0.0
    if of:
        lost = number(event, "others_lost") or 0.0
        if lost >= 0.5 * of:
            words = f"{lost:.0f} of {of:.0f} other hosts watched here were lost with it"
            yield Fact("other-hosts-too", words)
        elif not lost:
            yield Fact("other-hosts-not", f"none of {of:.0f} other hosts watched here was lost")
