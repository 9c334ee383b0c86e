"""Facts on when and where it happened, on what converter and host said, and on the link."""

from collections.abc import Iterator

from detectors.diagnosis.case import (
    AFTER_RESTART_S,
    TOGETHER_S,
    Case,
    Fact,
    amount,
    count_of,
    each_s,
    is_place,
    moving_share,
    number,
    word,
)
from detectors.diagnosis.chainfacts import open_at_low
from shared.events import Event
from shared.kinds import KINDS
from shared.link import How
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
OWN_SHARE = 0.3
"""Part of a silence that this machine's own delay has to make up to be behind it."""
OWN_LEAST_S = 5.0
"""So long held up, hosts give up on us."""
OFTEN = 3

FLAG_WORDS = {
    "flag-range": ("out-of-range", "voltage"),
    "flag-not-connected": ("connected", "bus", "answer"),
    "flag-open": ("open",),
    "flag-short": ("short",),
}
"""Parts of what a converter says, in our word for it or in a host's own, such as overvoltage."""
HOST_WORDS = {
    "host-says-busy": ("busy", "in time", "too late", "overload", "timed out", "could not keep"),
    "host-says-no-heat": (
        *("no warmer", "get warmer", "not heat", "no heat", "heating", "does not rise"),
    ),
    "host-says-beyond-limits": ("beyond", "limit", "out of range", "too hot", "implausible"),
}
"""Parts of what hosts say; the first that fits counts."""
LINK_TRIES = {
    How.DENIED: "host-denies",
    How.WRONG: "other-protocol",
    How.REFUSED: "port-refuses",
    How.BUSY: "host-not-ready",
    How.MUTE: "host-mute",
    How.NO_NETWORK: "no-network-here",
    How.OURS: "own-machine",
}
"""What decides, in the tries since or in the end itself."""
LINK_ENDS = {
    How.CLOSED: "host-closed",
    How.BROKEN: "broken-off",
    How.RESET: "broken-off",
    How.SILENT: "no-sign-of-life",
    How.TIMED_OUT: "no-sign-of-life",
    How.NO_WAY: "no-sign-of-life",
}
OF_THE_WAY = {"link-lost", "no-sign-of-life", "broken-off"}
"""Shapes in which the machine at the other end gave no answer that came through."""
STOPPING_S = 3.0
"""Between its last reading and the word for its stop. Judgement."""


def motion(case: Case) -> Iterator[Fact]:
    """Whether it comes only while the machine moves."""
    electrical = [event for event in case.events if KINDS[event.kind].is_electrical]
    # The beginning of one occurrence that goes on says little about when it comes.
    told = [event for event in electrical if event.count > 1 or event.end_s is not None]
    exact = [event for event in told if number(event, "moving") is not None]
    shares = [(moving_share(event), event.count) for event in exact or told]
    known = [(share, count) for share, count in shares if share is not None]
    if not known:
        return
    total = sum(count for _, count in known)
    share = sum(share * count for share, count in known) / total
    strength = min(0.2 + 0.1 * total, 1.0)
    if share >= MOSTLY:
        yield Fact("only-while-moving", "only while the machine moves", strength)
    elif share < SOMETIMES:
        yield Fact("also-at-rest", "also while the machine stands still", strength)


def once(case: Case) -> Iterator[Fact]:
    """One stray reading in the whole log says little of any cause that stays."""
    found = [event for event in case.events if event.severity is not Severity.NOTICE]
    if found and all(_is_stray(event) for event in found):
        starts_s = [event.start_s for event in found]
        if max(starts_s) - min(starts_s) <= TOGETHER_S:
            yield Fact("only-once", "once in the whole log")


def _is_stray(event: Event) -> bool:
    """A spike, or the converter's word on it, that is over at once."""
    if event.end_s is None or event.count > STRAY or event.end_s - event.start_s > TOGETHER_S:
        return False
    is_flag = event.kind is Kind.CONVERTER_FLAG
    return event.kind is Kind.SPIKE or (is_flag and _says(word(event, "flags"), "flag-range"))


def _says(flags: str, name: str) -> bool:
    return any(part in flags for part in FLAG_WORDS[name])


def ties(case: Case) -> Iterator[Fact]:
    """What it comes with: motion, one place, a heater, a fan."""
    for event in case.events:
        tied = event.tied_to
        if tied is not None:
            beside = "with-heater" if tied.endswith(".power") else "with-fan"
            moves = "at-one-place" if is_place(tied) else "with-motion"
            name = moves if tied.startswith("motion") else beside
            yield Fact(name, event.text, _tie_strength(event))
    breaks = case.of_contact()
    # One break may be seen as several kinds.
    count = max((count_of(case.of(event.kind)) for event in breaks), default=0)
    moved = [share for event in breaks if (share := moving_share(event)) is not None]
    placed = any(is_place(event.tied_to) for event in case.events)
    if count >= ENOUGH_FOR_A_PLACE and not placed and max(moved, default=0.0) >= SOMETIMES:
        strength = min(count / SURE_OF_NO_PLACE, 1.0)
        yield Fact("at-no-one-place", "at no one place of the carriage's way", strength)


def _tie_strength(event: Event) -> float:
    """Less for a tie to height, and where many occurrences lie outside the tied state."""
    strength = RISING if event.tied_to == "motion.z_mm" else 1.0
    inside, of_all = number(event, "events"), number(event, "all_events")
    if inside is None or not of_all:
        return strength
    if is_place(event.tied_to):
        beyond = (inside / of_all - 0.5) / 0.4
    else:
        # Of those that the time in the state alone would not put there.
        share = min(amount(event, "share"), 0.99)
        beyond = ((inside / of_all - share) / (1.0 - share) - 0.7) / 0.25
    return strength * min(max(beyond, 0.1), 1.0)


def restarts(case: Case) -> Iterator[Fact]:
    starts_s = [
        event.start_s for event in (*case.events, *case.others) if event.kind is Kind.RESTART
    ]
    if not starts_s or case.channel == EVERY_CHANNEL:
        return
    after = [
        any(-TOGETHER_S <= event.start_s - at_s <= AFTER_RESTART_S for at_s in starts_s)
        for event in case.events
    ]
    if any(after):
        yield Fact("after-restart", "within a minute of a restart")
    begun = [event.start_s > min(starts_s) for event in case.events]
    if any(is_later and not is_after for is_later, is_after in zip(begun, after, strict=True)):
        yield Fact("recurs-later", "and again long after the restart")


def flags(case: Case) -> Iterator[Fact]:
    for event in case.of(Kind.CONVERTER_FLAG):
        words = {each.strip() for each in word(event, "flags").split(";")} - {"", NO_FLAGS}
        shown = f"the converter says {', '.join(sorted(words))}"
        says = [name for name in FLAG_WORDS if any(_says(each, name) for each in words)]
        if "flag-open" in says and "flag-short" in says:
            parted = open_at_low(case)
            if parted < 1.0:
                why = "which contradict each other"
                yield Fact("flags-contradict", f"{shown}, {why}", 1.0 - parted)
            if parted:
                yield Fact("flag-open", f"{shown}: no current in the element", parted)
            continue
        for name in says:
            # What does not answer says nothing of the element.
            if name != "flag-open" or "flag-not-connected" not in says:
                is_range = name == "flag-range"
                yield Fact(name, shown, min(0.4 + 0.2 * event.count, 1.0) if is_range else 1.0)


def others(case: Case) -> Iterator[Fact]:
    """Whether other channels had it at the same instants, or were quiet."""
    if case.channel == EVERY_CHANNEL:
        return
    beside = [event for event in case.others if event.channel != EVERY_CHANNEL]
    together = {
        other.channel
        for other in beside
        for event in case.of(other.kind)
        if abs(other.start_s - event.start_s) <= TOGETHER_S
    }
    joint = any(event.kind is Kind.JOINT_JUMP for event in case.others)
    own = any(event.kind is not Kind.STARTUP_TRANSIENT for event in case.events)
    if together:
        yield Fact("several-channels", f"at the same instants on {', '.join(sorted(together))}")
    elif own and case.channels > 1 and not beside and not joint:
        yield Fact("this-channel-alone", "the other channels are quiet", 0.8)


def host(case: Case) -> Iterator[Fact]:
    """The host's words, where they are about this channel."""
    is_link = case.channel == EVERY_CHANNEL
    for event in (*case.events, *case.others):
        if is_link and event.kind is Kind.RESTART:
            yield Fact("host-started-anew", event.text)
        message = (word(event, "message") or event.text).lower()
        if event.kind is not Kind.HALT or not (is_link or case.channel.lower() in message):
            continue
        if is_link:
            yield Fact("host-halted", "the host stopped the machine")
        for name, parts in HOST_WORDS.items():
            if any(part in message for part in parts) and (is_link or name != "host-says-busy"):
                # The reading itself has said so already.
                is_twice = not is_link and name == "host-says-beyond-limits"
                yield Fact(name, f"the host says: {message}", 0.3 if is_twice else 1.0)
                break


def link(case: Case) -> Iterator[Fact]:
    """How the link went, from what `kinds.linkstory` tells; no channel has one."""
    if case.channel != EVERY_CHANNEL:
        return
    blocked = 0
    halts = case.of(Kind.HALT)
    for event in case.of(Kind.LINK_LOSS, Kind.STALE):
        if event.kind is Kind.STALE and any(_stands(halt, event.start_s) for halt in halts):
            # A host that stopped may have no more to tell.
            continue
        shape = link_shape(event)
        yield Fact(shape, event.text)
        if shape in OF_THE_WAY or shape == "held-up":
            blocked += event.count
        if shape in OF_THE_WAY and event.kind is Kind.LINK_LOSS and event.end_s is not None:
            if number(event, "ran_on"):
                yield Fact("host-ran-on", "its uptime grew over the gap: the host ran on")
            else:
                yield Fact("back-as-it-was", "it came back, and no start was seen")
    if blocked >= OFTEN:
        yield Fact("comes-and-goes", f"the way was blocked {blocked} times")


def _stands(halt: Event, at_s: float) -> bool:
    """Whether a stop stood then; silence counts from the last reading, which was just before."""
    return halt.start_s <= at_s + STOPPING_S and (halt.end_s is None or halt.end_s >= at_s)


def link_shape(event: Event) -> str:
    """Name of the one sign that stands for a loss or silence."""
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
        if how in LINK_TRIES:
            return LINK_TRIES[How(how)]
    if number(event, "reopened"):
        return "mute-yet-open"
    return LINK_ENDS.get(How(ended), "link-lost") if ended else "link-lost"


def _was_own(event: Event) -> bool:
    if number(event, "dropped"):
        return True
    late_s = amount(event, "late_s")
    if event.kind is Kind.LINK_LOSS:
        return late_s >= OWN_LEAST_S
    silence_s = amount(event, "limit_s") if event.end_s is None else each_s(event)
    return late_s > 0.0 and late_s >= OWN_SHARE * silence_s
