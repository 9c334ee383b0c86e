"""Facts on when and where it happened, and on what converter and host said."""

from collections.abc import Iterator

from detectors.diagnosis.case import (
    AFTER_RESTART_S,
    TOGETHER_S,
    Case,
    Fact,
    is_place,
    moving_share,
    number,
    word,
)
from detectors.diagnosis.ways import open_at_low
from shared.events import Event
from shared.words import EVERY_CHANNEL, NO_FLAGS, Kind, Severity

MOSTLY = 0.9
SOMETIMES = 0.6
ENOUGH_FOR_A_PLACE = 8
"""Breaks without a place before the lack of one counts. Judgement."""

SURE_OF_NO_PLACE = 40
STRAY = 2
"""Readings that one burst may spoil."""
RISING = 0.3
"""Strength of a tie to height: it only ever grows, as time does."""


def timing(case: Case) -> Iterator[Fact]:
    told = [event for event in case.electrical() if not _is_state(event)]
    exact = [event for event in told if number(event, "moving") is not None]
    shares = [
        (share, event.count)
        for event in exact or told
        if (share := moving_share(event)) is not None
    ]
    if shares:
        total = sum(count for _, count in shares)
        share = sum(share * count for share, count in shares) / total
        strength = min(0.2 + 0.1 * total, 1.0)
        if share >= MOSTLY:
            yield Fact("only-while-moving", "only while the machine moves", strength)
        elif share < SOMETIMES:
            yield Fact("also-at-rest", "also while the machine stands still", strength)
    yield from _tied(case)
    yield from _once(case)
    yield from _restarts(case)


def _once(case: Case) -> Iterator[Fact]:
    """One stray reading in the whole log says little of any cause that stays."""
    found = [event for event in case.events if event.severity is not Severity.NOTICE]
    if found and all(_is_stray(event) for event in found):
        first_s = min(event.start_s for event in found)
        last_s = max(event.start_s for event in found)
        if last_s - first_s <= TOGETHER_S:
            yield Fact("only-once", "once in the whole log")


def _is_stray(event: Event) -> bool:
    """A spike, or the converter's word on it, that is over at once."""
    if event.end_s is None or event.count > STRAY or event.end_s - event.start_s > TOGETHER_S:
        return False
    is_range = event.kind is Kind.CONVERTER_FLAG and _says_range(word(event, "flags"))
    return event.kind is Kind.SPIKE or is_range


def _says_range(flags: str) -> bool:
    """Whether an input left its range: our word for it, or a host's own, such as overvoltage."""
    return "out-of-range" in flags or "voltage" in flags


def _is_state(event: Event) -> bool:
    """One occurrence that goes on: its beginning says little about when it comes."""
    return event.count == 1 and event.end_s is None


def _tied(case: Case) -> Iterator[Fact]:
    for event in case.events:
        name = _tie(event.tied_to)
        if name is not None:
            yield Fact(name, event.text, _tie_strength(event))
    breaks = case.of_contact()
    # One break may be seen as several kinds.
    by_kind = [sum(each.count for each in breaks if each.kind is one.kind) for one in breaks]
    count = max(by_kind, default=0)
    moved = [share for event in breaks if (share := moving_share(event)) is not None]
    placed = any(is_place(event.tied_to) for event in case.events)
    if count >= ENOUGH_FOR_A_PLACE and not placed and moved and max(moved) >= SOMETIMES:
        strength = min(count / SURE_OF_NO_PLACE, 1.0)
        yield Fact("at-no-one-place", "at no one place of the carriage's way", strength)


def _tie_strength(event: Event) -> float:
    """Less for a tie to height, and where many occurrences lie outside the tied state."""
    strength = RISING if event.tied_to == "motion.z_mm" else 1.0
    inside, of_all = number(event, "events"), number(event, "all_events")
    if inside is not None and of_all:
        if is_place(event.tied_to):
            beyond = (inside / of_all - 0.5) / 0.4
        else:
            # Of those that the time in the state alone would not put there.
            share = min(number(event, "share") or 0.0, 0.99)
            beyond = ((inside / of_all - share) / (1.0 - share) - 0.7) / 0.25
        strength *= min(max(beyond, 0.1), 1.0)
    return strength


def _tie(tied: str | None) -> str | None:
    """Name of the fact that a `tied_to` stands for."""
    if tied is None:
        return None
    if is_place(tied):
        return "at-one-place"
    if tied.startswith("motion"):
        return "with-motion"
    return "with-heater" if tied.endswith(".power") else "with-fan"


def _restarts(case: Case) -> Iterator[Fact]:
    restarts = case.restarts_s()
    if not restarts:
        return
    own = [event for event in case.events if event.channel != EVERY_CHANNEL]
    after = [event for event in own if any(_follows(event, at_s) for at_s in restarts)]
    if after:
        yield Fact("after-restart", "within a minute of a restart")
    later = [event for event in own if event not in after and event.start_s > min(restarts)]
    if later:
        yield Fact("recurs-later", "and again long after the restart")


def _follows(event: Event, restart_s: float) -> bool:
    return -TOGETHER_S <= event.start_s - restart_s <= AFTER_RESTART_S


def flags(case: Case) -> Iterator[Fact]:
    for event in case.of(Kind.CONVERTER_FLAG):
        words = {each.strip() for each in word(event, "flags").split(";")} - {"", NO_FLAGS}
        shown = f"the converter says {', '.join(sorted(words))}"
        is_open = any("open" in each for each in words)
        is_short = any("short" in each for each in words)
        if is_open and is_short:
            parted = open_at_low(case)
            if parted < 1.0:
                why = "which contradict each other"
                yield Fact("flags-contradict", f"{shown}, {why}", 1.0 - parted)
            if parted:
                yield Fact("flag-open", f"{shown}: no current in the element", parted)
            continue
        if any(map(_says_range, words)):
            yield Fact("flag-range", shown, min(0.4 + 0.2 * event.count, 1.0))
        if any("connected" in each or "bus" in each or "answer" in each for each in words):
            yield Fact("flag-not-connected", shown)
        elif is_open:
            yield Fact("flag-open", shown)
        if is_short:
            yield Fact("flag-short", shown)


def others(case: Case) -> Iterator[Fact]:
    if case.channel == EVERY_CHANNEL:
        return
    own = [event for event in case.events if event.kind is not Kind.STARTUP_TRANSIENT]
    together = {
        other.channel
        for other in case.others
        for event in case.events
        if other.kind is event.kind
        and other.channel != EVERY_CHANNEL
        and abs(other.start_s - event.start_s) <= TOGETHER_S
    }
    if together:
        yield Fact("several-channels", f"at the same instants on {', '.join(sorted(together))}")
    elif own and case.channels > 1 and not _trouble_elsewhere(case):
        yield Fact("this-channel-alone", "the other channels are quiet", 0.8)


def _trouble_elsewhere(case: Case) -> bool:
    return any(other.channel != EVERY_CHANNEL for other in case.others) or any(
        other.kind is Kind.JOINT_JUMP for other in case.others
    )


_BUSY = ("busy", "in time", "too late", "overload", "timed out", "could not keep")
_NO_HEAT = ("no warmer", "get warmer", "not heat", "no heat", "heating", "does not rise")
_BEYOND = ("beyond", "limit", "out of range", "too hot", "implausible")


def host(case: Case) -> Iterator[Fact]:
    link = case.channel == EVERY_CHANNEL
    for event in case.all:
        if event.kind is Kind.HALT:
            yield from _said(case, event, link)
        elif link and event.kind is Kind.RESTART:
            yield Fact("host-started-anew", event.text)


def _said(case: Case, event: Event, link: bool) -> Iterator[Fact]:
    """The host's words, where they are about this channel."""
    message = (word(event, "message") or event.text).lower()
    if not link and case.channel.lower() not in message:
        return
    said = f"the host says: {message}"
    if link:
        yield Fact("host-halted", "the host stopped the machine")
    if link and any(each in message for each in _BUSY):
        yield Fact("host-says-busy", said)
    elif any(each in message for each in _NO_HEAT):
        yield Fact("host-says-no-heat", said)
    elif any(each in message for each in _BEYOND):
        # The reading itself has said so already.
        yield Fact("host-says-beyond-limits", said, 1.0 if link else 0.3)
