"""From events and chain facts to evidence.

Every `Fact` bears the name of a row in the table of signs. What one event tells by a figure beyond
some bound is a row of `PLAIN` here; what several tell together is drawn by a function of `reading`,
`context` or `chainfacts`. What detectors put into `Event.facts` is used where it is there, and
nothing is guessed where it isn't:

    first_reading    not 0 when no good reading came before
    signal, before, r0_ohm, celsius   reading at an end, the one before, R0, its degrees
    full             share of breaks that were wholly open
    positive_share   share of occurrences toward open
    moving           share of occurrences while the carriage moved
    duration_s       length of one occurrence
    delta_ohm, delta_c   size of one occurrence
    flags            converter flags, joined by `;`
    message          the host's words
    says             its word in place of a reading
    offset_c, offset_ohm   offset at room temperature; others_c what the others say
    power_excess     change of the power that a hold takes, as part of it
    events, all_events   occurrences in the tied state, and all
    rate_c_s         rise or fall of the reading while power is on
    fell_s           for how long it fell then, where that was minutes
    ended, since and others of the link: see `detectors/kinds/linkstory.py`
    settled_s        how long a startup transient took
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping

import msgspec

from detectors.diagnosis import context, reading
from detectors.diagnosis.case import Case, Fact, amount, number, offset_k, word
from detectors.diagnosis.chainfacts import ABSURD_K, offset_fits
from detectors.diagnosis.context import link_shape
from shared.events import Event
from shared.words import EVERY_CHANNEL, Kind

FALLING_C_PER_S = -0.05
"""A powered reading that falls this fast gets no heat at all. Judgement."""
FASTER, AS_FAST = 1.6, 0.6
"""A fall over the learned cooling without power: above, no block cools so; down to here it
is cooling. Judgement."""
RISING_C_PER_S = 0.05
"""One that rises no faster may as well be warmed by the air alone. Judgement."""
EVER_LATER = 2.0
"""Updates in a row, each later than the one before, that chance may give. Judgement."""


class Plain(msgspec.Struct, frozen=True):
    """A fact that an event of a kind bears by itself; any kind where `kind` is None.

    Where it names a figure, that has to be given, to lie above `above`, and to be `most` at most.
    """

    name: str
    kind: Kind | None
    figure: str = ""
    above: float = -math.inf
    most: float = math.inf
    words: str = "{text}"
    strength: float = 1.0

    def is_of(self, event: Event, figures: Mapping[str, float]) -> bool:
        value = figures.get(self.figure, math.nan) if self.figure else 0.0
        return self.kind in (None, event.kind) and self.above < value <= self.most


_LOW, _NO_RISE, _STEP, _COLD = -math.inf, Kind.NO_RISE, Kind.STEP, Kind.OFFSET_COLD
_FASTER = "falls {times_cooling:.1f} times as fast as it can cool"
_FALLS = "falls by {falls_c_min:.1f} °C a minute at power"
_AS_FAST = "falls as fast as it cools without power"
_RISES = "rises, but far less than the power gives"
_FELL_ON = "fell for {fell_s:.0f} s on end, with power"
_NEVER = "it never followed the power again"
_SETTLES = "absurd after a restart, right by itself"
_LEAPS = "no heat and no seat does that: {text}"
"""Where no codes are sent, this is all that an end of the range shows."""
_HIGH, _TOO_LOW = (f"{{off_k:.1f}} °C too {way} at room temperature" for way in ("high", "low"))
_OPEN, _SHORTED = (f"{end} from the first reading on" for end in ("open", "shorted"))
_LOST = "{others_lost:.0f} of {others_of:.0f} other hosts watched here were lost with it"
_NONE_LOST = "none of {others_of:.0f} other hosts watched here was lost"
_LATER = "updates had come later and later before"

OF_HEAT = (
    Plain("no-rise", _NO_RISE),
    Plain("falls-faster-than-it-cools", _NO_RISE, "times_cooling", FASTER, words=_FASTER),
    Plain("falls-as-it-cools", _NO_RISE, "times_cooling", AS_FAST, FASTER, _AS_FAST),
    Plain("cools-at-full-power", _NO_RISE, "rate_c_s", _LOW, FALLING_C_PER_S, _FALLS),
    Plain("rises-less-than-it-should", _NO_RISE, "rate_c_s", RISING_C_PER_S, words=_RISES),
    Plain("fell-on", _NO_RISE, "fell_s", 0.0, words=_FELL_ON),
    Plain("heats-again", _NO_RISE, "follows", 0.0, words="then it followed the power again"),
    Plain("never-followed", _NO_RISE, "follows", _LOW, 0.0, _NEVER),
    Plain("rise-unpowered", Kind.RISE_UNPOWERED),
    Plain("sags-with-power", Kind.DRIFT, "more_power", 0.0),
    Plain("drifts", Kind.DRIFT, "more_power", _LOW, 0.0),
)
"""Facts that weigh as far as the reading is believed."""

PLAIN = (
    Plain("no-reading", Kind.STALE, "says_none", 0.0),
    Plain(
        "settles-by-itself",
        Kind.STARTUP_TRANSIENT,
        "took_s",
        words=_SETTLES + " within {took_s:.0f} s",
    ),
    Plain("settles-by-itself", Kind.STARTUP_TRANSIENT, words=_SETTLES),
    Plain("open-lasting", _STEP, "leaps", 0.0, words=_LEAPS, strength=0.7),
    Plain("lasting-step", _STEP, "leaps", -1.0, 0.0, strength=0.8),
    Plain("short-lasting", _STEP, "leaps", _LOW, -1.0, words=_LEAPS, strength=0.7),
    Plain("open-from-first", _COLD, "offset_k", ABSURD_K, words=_OPEN, strength=0.8),
    Plain("offset-high", _COLD, "offset_k", 0.0, ABSURD_K, _HIGH),
    Plain("offset-low", _COLD, "offset_k", -ABSURD_K, 0.0, _TOO_LOW),
    Plain("short-from-first", _COLD, "offset_k", _LOW, -ABSURD_K, _SHORTED, 0.8),
    Plain("updates-ever-later", None, "ever_later_of_host", EVER_LATER, words=_LATER),
    Plain("other-hosts-too", None, "hosts_spared", _LOW, 0.5, _LOST),
    Plain("other-hosts-not", None, "hosts_lost", _LOW, 0.0, _NONE_LOST),
)


def figures_of(case: Case, event: Event) -> dict[str, float]:
    """Facts of an event as finite numbers, and what follows from them."""
    found = {name: value for name in event.facts if (value := number(event, name)) is not None}
    rate, cooling = found.get("rate_c_s"), found.get("cooling_c_s")
    if rate is not None:
        found["falls_c_min"] = -60.0 * rate
        if cooling is not None and cooling < FALLING_C_PER_S:
            found["times_cooling"] = rate / cooling
    found["says_none"] = float(word(event, "says") != "")
    is_back = event.end_s is not None and found.get("followed") != 0.0
    # Heat that only missed the sensor would have been back sooner: this one came anew.
    fell_on = "fell_s" in found
    found["follows"] = math.nan if is_back and fell_on else float(is_back)
    found["more_power"] = amount(event, "power_excess")
    if (took_s := number(event, "settled_s", "duration_s")) is not None:
        found["took_s"] = took_s
    found["leaps"] = reading.is_absurd(event) * (1.0 if event.value > 0.0 else -1.0)
    if (degrees := offset_k(event)) is not None:
        found |= {"offset_k": degrees, "off_k": abs(degrees)}
    is_link = case.channel == EVERY_CHANNEL and event.kind in (Kind.LINK_LOSS, Kind.STALE)
    if is_link and link_shape(event) != "own-machine":
        found["ever_later_of_host"] = amount(event, "ever_later")
        if of := amount(event, "others_of"):
            lost = found["hosts_lost"] = found["others_lost"] = amount(event, "others_lost")
            found["hosts_spared"] = (of - lost) / of
    return found


def plain(case: Case) -> Iterator[Fact]:
    """Facts of the rows above."""
    for event in case.events:
        figures = figures_of(case, event)
        told = {**figures, "text": event.text}
        for row in (*OF_HEAT, *PLAIN):
            if row.is_of(event, figures):
                weight = reading.believed(case, event) if row in OF_HEAT else 1.0
                yield Fact(row.name, row.words.format_map(told), row.strength * weight)


DRAWN: tuple[Callable[[Case], Iterable[Fact]], ...] = (
    plain,
    reading.ends,
    reading.breaks,
    reading.sizes,
    reading.spikes,
    reading.flips,
    reading.noise,
    reading.stillness,
    reading.joint_jumps,
    offset_fits,
    context.motion,
    context.ties,
    context.once,
    context.restarts,
    context.flags,
    context.others,
    context.host,
    context.link,
)


def facts_of(case: Case) -> tuple[Fact, ...]:
    """Facts of a case, each name once with its strongest bearing, in a steady order."""
    found: dict[str, Fact] = {}
    for draw in DRAWN:
        for fact in draw(case):
            known = found.get(fact.name)
            if known is None or fact.strength > known.strength:
                found[fact.name] = fact
    return tuple(found.values())
