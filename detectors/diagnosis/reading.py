"""Facts on what the reading did: at an end of its range, in jumps, in noise.

Which end an open lead reads at, and which way a contact moves it, is the circuit's to say
(`chainfacts.ways_of`).
"""

import math
from collections.abc import Iterator, Sequence

from detectors.diagnosis.case import (
    Case,
    Fact,
    amount,
    count_of,
    each_s,
    end_s,
    is_place,
    number,
    times,
    word,
)
from detectors.diagnosis.chainfacts import ABSURD_K, is_empty, open_at_low, ways_of
from detectors.table.scale import is_end_shaped
from shared.circuit import HIGHEST
from shared.events import Event
from shared.kinds import KINDS, Shape
from shared.words import Kind

LASTING_S = 30.0
"""An open or short longer than this is a state, not a moment."""
TENTH = (0.095, 0.186)
"""A tenth of R/R0 between 0 °C, less some, and the lower end of the curve: no short has so much."""
TENTH_C = (-227.0, -200.0)
"""The same in °C: R/R0 of 0.1 is −220 or −223 °C, by the curve's whole formula or its quadratic
alone (computed); a short of a few Ω lies below −230."""
NO_LEAP = 0.1
"""Part of a reading by which heat may move it from one reading to the next, with room."""
TEN = 9.5
"""R/R0 that no platinum has, and ten times what it has from 0 °C on, less some."""
ONE_WAY = 0.85
"""Share of spikes with one sign from which on they count as going one way."""
ENOUGH_SPIKES = 4
ENOUGH_BREAKS = 0.2
"""Share of breaks among breaks and spikes from which on they count fully. Judgement."""
ENOUGH_SIZES = 8
SMALL_OHM = 6.0
"""Of a Pt100: excursions of many contacts are larger by then. Judgement."""
PT100_OHM = 100.0
ENOUGH_FLIPS = 0.2
"""Share of spikes that are flipped bits from which on they count fully; chance gives 0.01."""
DISBELIEVED = 0.1
"""Strength of what a reading says of heat while it is no reading at all."""
BEGINS_S = 60.0
"""What heat did is told from windows that begin this long before the reading went false."""
HUM_MOST_K = 15.0
"""Hum that a converter lets through is far smaller. Judgement."""
OFTEN = 5
"""Breaks from which on noise and tones at the same time are made of them."""
DOUBTED = 0.3
"""Strength of what power says of heat while the reading jumps about and power follows it."""
MANY_JUMPS = 10
ALIKE, APART = 0.25, 0.5
"""Spread of the logarithms of sizes up to which they are alike, from which on they are not:
0.25 is about a quarter up or down. Judgement."""
ENOUGH_SIZED, SURELY_SIZED = 4.0, 12.0
TWO = 2
ENOUGH_JOINT = 3
"""Jumps together from which on they tell of each channel as well. Judgement."""


def ends(case: Case) -> Iterator[Fact]:
    """Of a reading at an end of its range: open, shorted, silent, or another element's."""
    high, low = case.of(Kind.CODE_HIGH), case.of(Kind.CODE_LOW)
    if tens := _by_ten(case):
        yield from tens
        return
    parted = open_at_low(case)
    few = ways_of(case.chain).share_low
    if high and few:
        yield Fact("open-at-upper-end", "at the upper end, where few leads read open", few)
    yield from _end(high, "open", "upper", 1.0)
    yield from _end(low, "open", "lower", parted)
    yield from _end(low, "short", "lower", 1.0 - parted)
    if parted and is_empty(case):
        yield Fact("empty-terminal", "low and open at once, which no lead of two wires does")
    elif parted:
        yield Fact("open-at-low-end", "low and open at once: no current in the element", parted)
    # A shorted element still has some ohms; no answer at all reads as zeros. Degrees do not
    # tell zero from a few ohms.
    most = max((abs(event.value) for event in low if event.unit != "°C"), default=math.nan)
    if parted < 1.0 and most > 0.0:
        shown = times(count_of(low), "its low code", "low codes")
        words = f"{shown} above zero: a converter that still measures"
        yield Fact("low-but-alive", words, 1.0 - parted)
    elif parted < 1.0 and most == 0.0:
        yield Fact("exactly-zero", "exactly zero, as when nobody answers", 1.0 - parted)
    if high and low:
        yield Fact("both-ends", "the code goes to its upper and to its lower end")


def _end(events: Sequence[Event], name: str, end: str, weight: float) -> Iterator[Fact]:
    """What a code at an end says, as far as it is that of an open, or of a shorted, input."""
    if weight == 0.0:
        return
    what = "open" if name == "open" else "shorted"
    moments = 0
    for event in events:
        given = number(event, "duration_s", "longest_s")
        lasts_s = math.inf if event.end_s is None else each_s(event) if given is None else given
        if number(event, "first_reading"):
            yield Fact(f"{name}-from-first", f"{what} from the first reading on", weight)
        elif event.count == 1 and lasts_s >= LASTING_S:
            yield Fact(f"{name}-lasting", f"{what} all the time since it began", weight)
        else:
            moments += event.count
    if moments:
        words = f"code at its {end} end for moments, {times(moments, 'once', 'times')}"
        yield Fact(f"{name}-moments", words, weight)


def _by_ten(case: Case) -> list[Fact]:
    """Facts on readings that are those of another element, by ten."""
    found = (_off_by_ten(case, event) for event in case.of_shape(Shape.END))
    return [fact for fact in found if fact is not None]


def _off_by_ten(case: Case, event: Event) -> Fact | None:
    """Whether a reading that did not leap beyond the curve is that of another element by ten."""
    ohm, r0_ohm, degrees = (number(event, name) for name in ("signal", "r0_ohm", "celsius"))
    if ohm is None or not r0_ohm:
        # Hosts show degrees beyond the curve as well.
        is_first = degrees is not None and number(event, "first_reading")
        if degrees is None or not is_first or not TENTH_C[0] <= degrees <= TENTH_C[1]:
            return None
        words = f"{degrees:.0f} °C from the first reading on: about a tenth of the ohms"
        return Fact("a-tenth", words, 0.8)
    if _leapt(event, ohm):
        return None
    shown = f"{ohm:.0f} Ω without a leap to it: about"
    if TENTH[0] <= ohm / r0_ohm <= TENTH[1]:
        return Fact("a-tenth", f"{shown} a tenth of what it should be")
    if case.chain is not None and case.chain.knows("reference_ohm"):
        is_at_end = ohm >= HIGHEST * case.chain.reference_ohm
    else:
        is_at_end = event.unit == "codes" and is_end_shaped(event.value)
    if ohm / r0_ohm >= TEN and not is_at_end:
        return Fact("ten-times", f"{shown} ten times what it should be")
    return None


def _leapt(event: Event, ohm: float) -> bool:
    """Whether it came from elsewhere, as leads do that part: heat passes a limit slowly."""
    before = number(event, "before")
    if number(event, "first_reading"):
        return False
    return before is None or abs(before - ohm) > NO_LEAP * max(abs(ohm), abs(before))


def breaks(case: Case) -> Iterator[Fact]:
    found = case.of(Kind.CONTACT_BREAK)
    if not found:
        return
    count = count_of(found)
    # Noise with bursts makes an odd one look like a contact.
    share = count / (count + count_of(case.of(Kind.SPIKE)))
    strength = min(0.6 + 0.1 * count, 1.0) * min(share / ENOUGH_BREAKS, 1.0)
    # Detectors tally the share of open ones since the log began.
    full = min(max(amount(found[-1], "full"), 0.0), 1.0)
    opened = max(round(full * count), 1) if full > 0.0 else 0
    sizes = [abs(size) for event in found if (size := number(event, "delta_ohm")) is not None]
    if full < 1.0:
        added = f", up to {max(sizes):.1f} Ω" if sizes and not full else ""
        shown = times(max(count - opened, 1), "once", "times")
        words = f"some ohms more for a moment, {shown}{added}"
        partial = strength * (1.0 - full)
        raises = ways_of(case.chain).raises
        yield from _shared("breaks-partial", "rises-of-no-lead", words, partial, raises)
        # A stray voltage over the bias' current makes ohms in proportion to R0.
        chain = case.chain
        r0_ohm = chain.r0_ohm if chain is not None and chain.knows("r0_ohm") else PT100_OHM
        is_small = bool(sizes) and max(sizes) <= SMALL_OHM * (r0_ohm / PT100_OHM)
        if is_small and not full and count >= ENOUGH_SIZES:
            yield Fact("breaks-small", f"never more than {max(sizes):.1f} Ω", strength)
    if full > 0.0:
        words = f"wholly open for a moment, {times(opened, 'once', 'times')}"
        yield Fact("breaks-full", words, strength)


def _shared(name: str, other: str, words: str, strength: float, share: float) -> Iterator[Fact]:
    """One finding as two facts, where the circuit leaves both open."""
    if share > 0.0:
        yield Fact(name, words, strength * share)
    if share < 1.0:
        yield Fact(other, words, strength * (1.0 - share))


def sizes(case: Case) -> Iterator[Fact]:
    """Whether jumps are all of about one size: detectors tally their spread."""
    found = [event for event in case.of_shape(Shape.JUMP) if number(event, "sized")]
    if not found or case.of(Kind.CODE_LOW, Kind.BIT_FLIP, Kind.JOINT_JUMP):
        return
    # Those of the kind that came most often, as they were tallied last.
    most = max(found, key=lambda event: (amount(event, "sized"), event.start_s))
    many, spread = amount(most, "sized"), number(most, "size_spread")
    if spread is None or many < ENOUGH_SIZED:
        return
    strength = min(many / SURELY_SIZED, 1.0)
    if spread <= ALIKE:
        size = abs(number(most, "delta_ohm", "delta_c") or most.value)
        unit = "Ω" if number(most, "delta_ohm") is not None else "K"
        yield Fact("jumps-alike", f"jumps all of about one size, {size:.2g} {unit}", strength)
    elif spread >= APART:
        yield Fact("jumps-differ", "jumps of many sizes", strength)


def spikes(case: Case) -> Iterator[Fact]:
    """Which way spikes go, over all of them: detectors tally the share since the log began."""
    found = case.of(Kind.SPIKE)
    if not found:
        return
    count, share = count_of(found), number(found[-1], "positive_share")
    shown = times(count, "one spike", "spikes")
    strength = min(0.5 + 0.1 * count, 1.0)
    if count < ENOUGH_SPIKES or share is None:
        size = number(found[-1], "delta_ohm", "delta_c")
        if size is None:
            return
        # A few signs say little about which way they go.
        is_up, strength = size > 0.0, 0.3
        shown += " up" if is_up else " down"
    elif 1.0 - ONE_WAY < share < ONE_WAY:
        yield Fact("spikes-both-ways", f"{shown}, both ways", strength)
        return
    else:
        is_up = share >= ONE_WAY
        shown += f", nearly all {'upward' if is_up else 'downward'}"
    # Whether a contact can do that is for the circuit to say.
    ways = ways_of(case.chain)
    if is_up:
        yield from _shared("spikes-toward-open", "rises-of-no-lead", shown, strength, ways.raises)
    else:
        yield from _shared("falls-of-a-lead", "spikes-toward-short", shown, strength, ways.lowers)


def flips(case: Case) -> Iterator[Fact]:
    count = count_of(case.of(Kind.BIT_FLIP))
    if count:
        # By chance a spike or two among many equals a flipped bit.
        share = count / (count + count_of(case.of(Kind.SPIKE, Kind.CONTACT_BREAK)))
        strength = min(0.6 + 0.2 * count, 1.0) * min(share / ENOUGH_FLIPS, 1.0)
        shown = times(count, "one spike is", "spikes are each")
        yield Fact("bit-flips", f"{shown} one flipped bit of the code", strength)


def noise(case: Case) -> Iterator[Fact]:
    """Noise and tones; of little weight where breaks that come and go make them."""
    tones = case.of(Kind.MAINS_BEAT)
    for event in case.of(Kind.NOISE_RISE, Kind.INTERFERENCE):
        if is_place(event.tied_to):
            continue
        # A tone is noise as well, and has been named already.
        is_named = tones and event.tied_to is None
        strength = 0.2 if is_named or _is_of_breaks(case, event) else 0.8
        ratio = number(event, "ratio") if event.kind is Kind.NOISE_RISE else None
        shown = event.text if ratio is None else f"noise {_about(ratio)} times its usual"
        yield Fact("noise-louder", shown, strength)
    for event in tones:
        if _is_of_breaks(case, event) or amount(event, "amplitude_c") > HUM_MOST_K:
            period_s = number(event, "period_s")
            every = "" if period_s is None else f", every {period_s:.1f} s"
            yield Fact("breaks-regular", f"it breaks at regular intervals{every}", 0.8)
            continue
        yield Fact("mains-tone", event.text)
        rises = case.of(Kind.NOISE_RISE)
        if any(rise.start_s <= event.start_s + BEGINS_S for rise in rises):
            yield Fact("tone-began", "the tone was not there from the start")


def _is_of_breaks(case: Case, event: Event) -> bool:
    """Whether breaks, rather than noise, are what an event of noise has seen."""
    # A tone is made of breaks either way, noise of openings.
    is_tone = event.kind is Kind.MAINS_BEAT
    of = [each for each in case.of_contact() if is_tone or KINDS[each.kind].opens]
    is_tied = event.kind is Kind.INTERFERENCE and event.facts.get("of") != "noise"
    return not is_tied and count_of(each for each in of if _overlap(each, event)) >= OFTEN


def _overlap(one: Event, other: Event) -> bool:
    return max(one.start_s, other.start_s) <= min(end_s(one), end_s(other))


def _about(ratio: float) -> str:
    """A ratio to about two figures, as nobody needs more."""
    return f"{ratio:.1f}" if ratio < 9.95 else f"{float(f'{ratio:.2g}'):.0f}"


def is_absurd(event: Event) -> bool:
    """Whether a lasting jump, or an offset, is where no temperature can be."""
    size_k = number(event, "delta_c", "offset_c")
    return size_k is not None and abs(size_k) > ABSURD_K


def stillness(case: Case) -> Iterator[Fact]:
    ends = [step for step in case.of(Kind.STEP) if is_absurd(step)]
    for event in case.of(Kind.FROZEN):
        # At an end of its range it is open or shorted, not frozen.
        if not any(abs(step.start_s - event.start_s) <= BEGINS_S for step in ends):
            yield Fact("frozen", event.text)


def joint_jumps(case: Case) -> Iterator[Fact]:
    """Jumps that several channels made together: their own case, and each channel's."""
    own = case.of(Kind.JOINT_JUMP)
    shared = [
        event
        for event in case.others
        if event.kind is Kind.JOINT_JUMP and case.channel in word(event, "names").split(", ")
    ]
    together = count_of(shared)
    if together < ENOUGH_JOINT:
        shared = []
    # What jumps together is told of all of them; how far it is this one's story too.
    of_all = max(count_of(case.of_shape(Shape.JUMP)), together)
    strengths = [1.0] * len(own) + [together / max(of_all, 1)] * len(shared)
    for event, strength in zip((*own, *shared), strengths, strict=True):
        shown = times(event.count, "one jump", "jumps")
        words = f"{shown} of several channels at one instant"
        yield Fact("joint-jumps", words, strength)
        at_once = number(event, "channels")
        if at_once is not None:
            name = "joint-of-many" if at_once > TWO else "joint-of-two"
            yield Fact(name, f"{at_once:.0f} channels jump at once", strength)
    if count_of(own) == 1:
        yield Fact("joint-once", "once in the whole log")


def believed(case: Case, event: Event) -> float:
    """Strength of what a reading says of heat: little while it is frozen or at an end itself."""
    false = [
        *case.of_shape(Shape.STILL, Shape.END),
        *(step for step in case.of(Kind.STEP, Kind.OFFSET_COLD) if is_absurd(step)),
    ]
    is_false = any(
        _lasts_into(other, event) and other.start_s <= event.start_s + BEGINS_S for other in false
    )
    if is_false or _by_ten(case):
        return DISBELIEVED
    jumps = count_of(each for each in case.of_shape(Shape.JUMP) if _overlap(each, event))
    return DOUBTED if jumps >= MANY_JUMPS and event.kind is Kind.DRIFT else 1.0


def _lasts_into(other: Event, event: Event) -> bool:
    """Whether another event holds while this one begins; steps and offsets hold from then on."""
    return other.kind in (Kind.STEP, Kind.OFFSET_COLD) or end_s(other) >= event.start_s
