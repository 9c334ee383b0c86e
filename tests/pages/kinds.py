"""The kinds of events as a page to read: `python -m tests.pages.kinds > docs/events.md`.

Figures come from the detectors' own constants, what each is blind to from its own words.
"""

from dataclasses import dataclass
from types import ModuleType

from detectors.chance import ties
from detectors.kinds import (
    apart,
    beat,
    cadence,
    drift,
    excursion,
    excursions,
    flags,
    frozen,
    hostclock,
    interference,
    joint,
    link,
    noise,
    norise,
    rail,
    rest,
    startup,
    unpowered,
    unreadable,
)
from detectors.table import gates
from detectors.table.windows import ROWS
from shared.bursts import BURST_S
from shared.kinds import KINDS, READS_LOW
from shared.when import spelt
from shared.words import Kind

_HEAD = f"""# Kinds of events: severity, least size, delay, deadband, and what they cannot see

This page is made from the detectors (`python -m tests.pages.kinds`); a test keeps it in step.

An event is raised, counted up while it comes again, and has returned when it has ended and its
joining time is over without another occurrence. *Delay* is the time or number of readings before an
event is raised, *deadband* what must come back before it ends, *joining* the delay of its
return, which makes one event with a count of what chatters. Rows are updates of the host that give
the channel, usually four a second; a window is {ROWS} of them. Severities are the status categories
of NAMUR NE 107; where a kind has two, the second is that of a reading that goes low, since a loop
that follows it heats too far (maintenance-required would say that the signal is still valid).

Acknowledging and shelving are yours (keys `a`, `s`, `u`): [recording.md](recording.md) says what is
kept of it. In a burst on several channels, within {BURST_S:g} s, `first out` marks what came first.
"""

_AT_ONCE = "none: the first reading that shows it"


@dataclass(frozen=True, slots=True)
class KindPage:
    """What a person wants to know of a kind beside its severity and joining time."""

    means: str
    least: str
    """The least that is found."""
    delay: str
    deadband: str
    module: ModuleType
    """Whose docstring says what it is blind to."""


_JUMP = "a jump beyond what heat can do between two rows, the noise, and a step of rounding"
_BACK = f"back where heat could have brought it, or within {excursion.NEAR:.0%} of the jump's size"

PAGES = {
    Kind.STARTUP_TRANSIENT: KindPage(
        "implausible readings that settle by themselves after a restart",
        f"anything electrical that begins within {gates.STARTING_S:g} s of a start",
        f"{startup.CLEAN_S:g} s clean, so that what does not settle is never called harmless",
        f"none: what has not settled {startup.GIVE_UP_S:g} s after the start becomes what it is",
        startup,
    ),
    Kind.CODE_HIGH: KindPage(
        "code at or beyond its upper limit",
        "the converter's end, or the code of 850 °C on the element's curve (IEC 60751)",
        _AT_ONCE,
        "none: a whole element never reads near the limit, so a reading below it has left it",
        rail,
    ),
    Kind.CODE_LOW: KindPage(
        "code at or beyond its lower limit",
        "the converter's end, or the code of −200 °C on the element's curve (IEC 60751)",
        _AT_ONCE,
        "none, as of code-high",
        rail,
    ),
    Kind.CONVERTER_FLAG: KindPage(
        "the converter raised a fault flag",
        "one flag in one update",
        "none: the first update that says so",
        "none: the converter's own; the first update without a flag ends it",
        flags,
    ),
    Kind.CONTACT_BREAK: KindPage(
        "short excursions toward open and back: intermittent contact, full or partial",
        _JUMP,
        f"until it is back, at most {excursion.LONGEST_S:g} s; the open end of the range counts "
        f"with one reading, single readings up from {excursions.SINGLES} in "
        f"{spelt(excursions.RECENT_S)} on",
        _BACK,
        excursions,
    ),
    Kind.SPIKE: KindPage(
        "one sample no heat could make",
        _JUMP,
        "one reading more, which shows that it came back",
        _BACK,
        excursions,
    ),
    Kind.BIT_FLIP: KindPage(
        "a spike that equals a flipped bit of the code",
        f"{_JUMP}; its code with one bit flipped within {excursions.CODE_TOLERANCE:g} code and "
        "three sd of noise of its neighbours",
        "one reading more, which must agree with the one before",
        _BACK,
        excursions,
    ),
    Kind.STEP: KindPage(
        "a lasting jump no heat could make",
        _JUMP,
        f"{excursion.STAYS_BELOW_S:g} s below, since supplies dip; {excursion.LONGEST_S:g} s "
        "above, since a contact may open so long",
        "none: the jump is the event",
        excursions,
    ),
    Kind.NOISE_RISE: KindPage(
        "noise well above this channel's own floor",
        f"twice the own noise and {noise.LEAST_STEPS:g} steps of the reading",
        "two windows at least: one counts no more than fivefold noise (a CUSUM whose limit makes "
        "one false alarm in 30 days)",
        f"{noise.QUIET_WINDOWS} windows below 1.4 times the own noise: below 1.8 times it is no "
        "rise, and between them it would flicker",
        noise,
    ),
    Kind.INTERFERENCE: KindPage(
        "noise or faults tied to something the machine does; `tied_to` names it",
        f"{ties.LEAST_TO_ASK} faults or {interference.LEAST_BURSTS} bursts, at twice the "
        "rate elsewhere and p below 0.001 after correction",
        "as long as so many take",
        f"{spelt(interference.OVER_S)} without one",
        interference,
    ),
    Kind.MAINS_BEAT: KindPage(
        "a steady tone: hum folded down by sampling",
        f"{beat.WEAK:g} times the noise in {beat.LONG} windows, {beat.STRONG:g} times in "
        f"{beat.SHORT_S:g} s; {beat.LEAST_STEPS:g} steps of the reading",
        "two stretches on end that agree in frequency: one alone may be chance",
        "no tone in the next stretches",
        beat,
    ),
    Kind.FROZEN: KindPage(
        "a reading that stopped moving while it should",
        f"{frozen.LEAST_S:g} s, and a run that its own habit makes less likely than 1e-9; "
        f"{frozen.WITH_POWER:g} of the run while power or target moved",
        "as long as that run",
        "none: one reading that moves ends it",
        frozen,
    ),
    Kind.STALE: KindPage(
        "no update though the link is up; on one channel: the host says that it has no reading",
        f"{cadence.SILENCE_S:g} s, {cadence.SPACINGS:g} times the host's own spacing, and "
        f"{cadence.GAPS:g} times its longest gap",
        f"the silence itself; {cadence.UNKNOWN_SILENCE_S:g} s until the spacing is known; none "
        "where the host says so",
        "none: one update ends it",
        link,
    ),
    Kind.LINK_LOSS: KindPage(
        "the socket closed or stopped answering",
        "one end of the link",
        "none for a close; twice the silence that the profile allows for a host that is mute",
        "none: the host's next word ends it",
        link,
    ),
    Kind.RESTART: KindPage(
        "the controller or the host started again",
        "an uptime that falls, or a host that says it starts",
        _AT_ONCE,
        f"none: one moment; within {link.ONE_RESTART_S:g} s host and controller started together",
        link,
    ),
    Kind.HALT: KindPage(
        "the host stopped the machine",
        "the host's word",
        "none: the host's word",
        "none: the host's word ends it",
        link,
    ),
    Kind.UNKNOWN_STATE: KindPage(
        "the host says a state that has no meaning here: neither up nor halted until someone says",
        "a word that the profile does not give, and that is none of ours",
        "none: the host's word",
        "none: the next word that is known ends it",
        link,
    ),
    Kind.HOST_CLOCK: KindPage(
        "the host's clock stands still, falls or leaps while readings go on",
        "4 messages with the same time over 4 s; a move of more than 2 s, or of 1 s back",
        "as long; in a log, the first row after the leap",
        "none: a clock that goes on ends it",
        hostclock,
    ),
    Kind.UNREADABLE: KindPage(
        "messages of the host that could not be used",
        "one message; where none fits the profile, 8 s without one that does",
        "1 s at most, and 8 s before a first message has fitted: hosts greet",
        "none: each telling is an occurrence",
        unreadable,
    ),
    Kind.OFFSET_COLD: KindPage(
        "sensors that should agree at room temperature don't",
        f"{rest.LIMIT_K:g} K from the others, and what the declared leads explain",
        f"rest: {rest.REST_S:g} s without heat, {rest.UNHEATED_S:g} s if none was seen, and all "
        "channels flat",
        f"{rest.BACK_K:g} K below the limit, since rooms breathe; or heat",
        rest,
    ),
    Kind.DRIFT: KindPage(
        "slow change against power, or against other channels",
        f"{drift.LIMIT:g} of its own deviations, and {drift.LEAST_K:g} K, more power for the same "
        f"reading than its balance of heat was; less power after {spelt(drift.LESS_AFTER_S)}; "
        f"{apart.LIMIT_K:g} K, and {apart.LIMIT_PART:.0%} of the level, from a channel that it "
        "followed",
        f"means of {drift.SPANS[0]}, {drift.SPANS[1]} and {drift.SPANS[2]} minutes' holding; "
        f"against another channel {spelt(apart.LASTING_S)}",
        f"{spelt(drift.BACK_LOOKS * drift.LOOK_S)} at less than half of it; {apart.BACK:.0%} of "
        "the limit",
        drift,
    ),
    Kind.NO_RISE: KindPage(
        "power without heat",
        f"{norise.FALL_K:g} K of fall at {norise.VERY_HIGH:.0%} of power; or less than "
        f"{norise.SHORT_PART:g} of the {norise.EXPECTED_K:g} K or more that the learned heater "
        f"should give; or less than {norise.LEAST_RISE_K:g} K where the slowest heater brings it",
        f"one to two windows; before the heater is learned {norise.COLDEST_S:.0f} s of full power "
        f"from cold, {norise.HOTTEST_S:.0f} s where losses are large, {norise.AIR_COLDEST_S:.0f} s "
        "where it heats air, and the rest of its window",
        f"{norise.BACK_K:g} K up from the lowest, so that ripple is no return; or power off",
        norise,
    ),
    Kind.RISE_UNPOWERED: KindPage(
        "heat without power",
        f"{unpowered.LEAST_RISE_K:g} K in two windows, faster than "
        f"{unpowered.LEAST_RATE_C_S:g} K/s",
        f"{unpowered.WAIT_S:g} s of after-heat, or {unpowered.LAGS:g} times the learned lag, then "
        "two windows",
        "the first window that does not rise, or power",
        unpowered,
    ),
    Kind.JOINT_JUMP: KindPage(
        "several channels jump at one instant",
        f"{_JUMP}, on two channels within {joint.SPACINGS:g} spacings of their readings",
        "none: the second channel's reading",
        "none: one moment",
        joint,
    ),
}


def events_page() -> str:
    """The page as Markdown."""
    parts = [_HEAD, "\n| kind | severity | delay | joining |\n| --- | --- | --- | --- |\n"]
    parts += [
        f"| [`{kind}`](#{kind}) | {_severity(kind)} | {PAGES[kind].delay} | "
        f"{spelt_whole(KINDS[kind].join_s)} |\n"
        for kind in Kind
    ]
    return "".join([*parts, *map(_kind, Kind)])


def _kind(kind: Kind) -> str:
    page, rule = PAGES[kind], KINDS[kind]
    return (
        f"\n## `{kind}`\n\n{page.means[0].upper()}{page.means[1:]}. *{_severity(kind)}*\n\n"
        f"- least: {page.least}\n"
        f"- delay: {page.delay}\n"
        f"- deadband: {page.deadband}\n"
        f"- joining: {spelt_whole(rule.join_s)}; {rule.why_joined}\n"
        f"- blind: {blindness(page.module)}\n"
    )


def _severity(kind: Kind) -> str:
    spec = KINDS[kind]
    return f"{spec.severity}; low: {READS_LOW}" if spec.may_read_low else spec.severity


def blindness(module: ModuleType) -> str:
    """A detector's own words on what it cannot see, from its docstring."""
    words = " ".join((module.__doc__ or "").split())
    start = words.find("Blind ")
    if start < 0:
        raise ValueError(f"{module.__name__} does not say what it is blind to")
    told = words[start + len("Blind ") :]
    return told[: told.find(". ")] if ". " in told else told.rstrip(".")


def spelt_whole(seconds: float) -> str:
    """A delay without a needless tenth."""
    return f"{seconds:g} s" if seconds < 120.0 else spelt(seconds)


if __name__ == "__main__":
    print(events_page(), end="")
