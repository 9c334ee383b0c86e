"""Facts on what the reading did between the ends of its range."""

import math
from collections.abc import Iterator

from detectors.diagnosis.case import (
    ABSURD_K,
    Case,
    Fact,
    is_place,
    number,
    times,
    word,
)
from detectors.diagnosis.causes import PT100_OHM
from detectors.diagnosis.ends import by_ten
from detectors.diagnosis.ways import Ways, ways_of
from shared.events import Event
from shared.kinds import KINDS, Shape
from shared.words import Kind

ONE_WAY = 0.85
"""Share of spikes with one sign from which on they count as going one way."""
ENOUGH_SPIKES = 4
ENOUGH_BREAKS = 0.2
"""Share of breaks among breaks and spikes from which on they count fully. Judgement."""
ENOUGH_SIZES = 8
SMALL_OHM = 6.0
"""Of a Pt100: excursions of many contacts are larger by then. Judgement."""
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
FALLING_C_PER_S = -0.05
"""A powered reading that falls this fast gets no heat at all. Judgement."""
FASTER, AS_FAST = 1.6, 0.6
"""A fall over the learned cooling without power: above, no block cools so; down to here it
is cooling. Judgement."""
RISING_C_PER_S = 0.05
"""One that rises no faster may as well be warmed by the air alone. Judgement."""


def transients(case: Case) -> Iterator[Fact]:
    for event in case.of(Kind.STARTUP_TRANSIENT):
        took = number(event, "settled_s", "duration_s")
        within = f" within {took:.0f} s" if took is not None else ""
        yield Fact("settles-by-itself", f"absurd after a restart, right by itself{within}")


def is_absurd(event: Event) -> bool:
    """Whether a lasting jump, or an offset, is where no temperature can be."""
    size_k = number(event, "delta_c", "offset_c")
    return size_k is not None and abs(size_k) > ABSURD_K


def breaks(case: Case) -> Iterator[Fact]:
    found = case.of(Kind.CONTACT_BREAK)
    if not found:
        return
    count = sum(event.count for event in found)
    # Noise with bursts makes an odd one look like a contact.
    share = count / (count + sum(event.count for event in case.of(Kind.SPIKE)))
    strength = min(0.6 + 0.1 * count, 1.0) * min(share / ENOUGH_BREAKS, 1.0)
    # Detectors tally the share of open ones since the log began.
    full = min(max(number(found[-1], "full") or 0.0, 0.0), 1.0)
    opened = max(round(full * count), 1) if full > 0.0 else 0
    sizes = [abs(size) for event in found if (size := number(event, "delta_ohm")) is not None]
    added = f", up to {max(sizes):.1f} Ω" if sizes and not full else ""
    if full < 1.0:
        shown = times(max(count - opened, 1), "once", "times")
        words = f"some ohms more for a moment, {shown}{added}"
        partial = strength * (1.0 - full)
        raises = ways_of(case.chain).raises
        yield from _shared("breaks-partial", "rises-of-no-lead", words, partial, raises)
        if sizes and not full and count >= ENOUGH_SIZES and max(sizes) <= _small_ohm(case):
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


def _small_ohm(case: Case) -> float:
    """A stray voltage over the bias' current: ohms in proportion to R0."""
    chain = case.chain
    times_pt100 = chain.r0_ohm / PT100_OHM if chain is not None and chain.knows("r0_ohm") else 1.0
    return SMALL_OHM * times_pt100


def sizes(case: Case) -> Iterator[Fact]:
    """Whether jumps are all of about one size: detectors tally their spread."""
    found = [event for event in case.of_shape(Shape.JUMP) if number(event, "sized")]
    if not found or case.of(Kind.CODE_LOW, Kind.BIT_FLIP, Kind.JOINT_JUMP):
        return
    # Those of the kind that came most often, as they were tallied last.
    most = max(found, key=lambda event: (number(event, "sized") or 0.0, event.start_s))
    many, spread = number(most, "sized") or 0.0, number(most, "size_spread")
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
    found, flips = case.of(Kind.SPIKE), case.of(Kind.BIT_FLIP)
    if found:
        yield from _spikes(found, ways_of(case.chain))
    if flips:
        count = sum(event.count for event in flips)
        # By chance a spike or two among many equals a flipped bit.
        others = [*found, *case.of(Kind.CONTACT_BREAK)]
        share = count / (count + sum(event.count for event in others))
        strength = min(0.6 + 0.2 * count, 1.0) * min(share / ENOUGH_FLIPS, 1.0)
        shown = "one spike is" if count == 1 else f"{count} spikes are each"
        yield Fact("bit-flips", f"{shown} one flipped bit of the code", strength)


def _spikes(found: list[Event], ways: Ways) -> Iterator[Fact]:
    """Which way they go, over all of them: detectors tally the share since the log began."""
    count = sum(event.count for event in found)
    share = number(found[-1], "positive_share")
    shown = times(count, "one spike", "spikes")
    strength = min(0.5 + 0.1 * count, 1.0)
    if count < ENOUGH_SPIKES or share is None:
        size = number(found[-1], "delta_ohm", "delta_c")
        if size is not None:
            # A few signs say little about which way they go.
            yield from _one_way(size > 0.0, f"{shown} {'up' if size > 0 else 'down'}", 0.3, ways)
    elif share >= ONE_WAY:
        yield from _one_way(True, f"{shown}, nearly all upward", strength, ways)
    elif share <= 1.0 - ONE_WAY:
        yield from _one_way(False, f"{shown}, nearly all downward", strength, ways)
    else:
        yield Fact("spikes-both-ways", f"{shown}, both ways", strength)


def _one_way(up: bool, words: str, strength: float, ways: Ways) -> Iterator[Fact]:
    """Jumps that go one way: whether a contact can do that is for the circuit to say."""
    if up:
        yield from _shared("spikes-toward-open", "rises-of-no-lead", words, strength, ways.raises)
    else:
        yield from _shared("falls-of-a-lead", "spikes-toward-short", words, strength, ways.lowers)


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
        if _is_of_breaks(case, event) or (number(event, "amplitude_c") or 0.0) > HUM_MOST_K:
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
    found = [each for each in of if _overlap(each, event)]
    is_tied = event.kind is Kind.INTERFERENCE and event.facts.get("of") != "noise"
    return not is_tied and sum(each.count for each in found) >= OFTEN


def _overlap(one: Event, other: Event) -> bool:
    ends = [math.inf if event.end_s is None else event.end_s for event in (one, other)]
    return max(one.start_s, other.start_s) <= min(ends)


def _about(ratio: float) -> str:
    """A ratio to about two figures, as nobody needs more."""
    return f"{ratio:.1f}" if ratio < 9.95 else f"{float(f'{ratio:.2g}'):.0f}"


def stillness(case: Case) -> Iterator[Fact]:
    ends = [step for step in case.of(Kind.STEP) if is_absurd(step)]
    for event in case.of(Kind.FROZEN):
        if any(abs(step.start_s - event.start_s) <= BEGINS_S for step in ends):
            # It stands still at an end of its range: that is open or shorted, not frozen.
            continue
        yield Fact("frozen", event.text)


def jumps(case: Case) -> Iterator[Fact]:
    for event in case.of(Kind.STEP):
        if is_absurd(event):
            # Where no codes are sent, this is all that an end of the range shows.
            end = "open" if event.value > 0.0 else "short"
            yield Fact(f"{end}-lasting", f"no heat and no seat does that: {event.text}", 0.7)
        else:
            yield Fact("lasting-step", event.text, 0.8)
    for event in case.of(Kind.JOINT_JUMP):
        yield from _joint(event, 1.0)
        if event.count == 1 and len(case.of(Kind.JOINT_JUMP)) == 1:
            yield Fact("joint-once", "once in the whole log")
    shared = [
        event
        for event in case.others
        if event.kind is Kind.JOINT_JUMP and case.channel in word(event, "names").split(", ")
    ]
    together = sum(event.count for event in shared)
    if together >= ENOUGH_JOINT:
        # What jumps together is told of all of them; how far it is this one's story too.
        own = sum(event.count for event in case.of_shape(Shape.JUMP))
        for event in shared:
            yield from _joint(event, together / max(own, together))


def _joint(event: Event, strength: float) -> Iterator[Fact]:
    """One event of jumps that several channels made together."""
    shown = times(event.count, "one jump", "jumps")
    yield Fact("joint-jumps", f"{shown} of several channels at one instant", strength)
    at_once = number(event, "channels")
    if at_once is not None:
        name = "joint-of-many" if at_once > TWO else "joint-of-two"
        yield Fact(name, f"{at_once:.0f} channels jump at once", strength)


def heat(case: Case) -> Iterator[Fact]:
    """Heat against power; of little weight while the reading itself is frozen or at an end."""
    for event in case.of(Kind.NO_RISE):
        part = _believed(case, event)
        yield Fact("no-rise", event.text, part)
        slope = number(event, "rate_c_s")
        cooling = number(event, "cooling_c_s")
        if slope is not None and cooling is not None and cooling < FALLING_C_PER_S:
            if slope < FASTER * cooling:
                words = f"falls {slope / cooling:.1f} times as fast as it can cool"
                yield Fact("falls-faster-than-it-cools", words, part)
            elif cooling * FASTER <= slope <= AS_FAST * cooling:
                yield Fact("falls-as-it-cools", "falls as fast as it cools without power", part)
        if slope is not None and slope < FALLING_C_PER_S:
            words = f"falls by {-slope * 60.0:.1f} °C a minute at power"
            yield Fact("cools-at-full-power", words, part)
        elif slope is not None and slope > RISING_C_PER_S:
            words = "rises, but far less than the power gives"
            yield Fact("rises-less-than-it-should", words, part)
        followed = number(event, "followed") != 0.0
        if event.end_s is not None and followed:
            yield Fact("heats-again", "then it followed the power again", part)
        else:
            yield Fact("never-followed", "it never followed the power again", part)
    for event in case.of(Kind.RISE_UNPOWERED):
        yield Fact("rise-unpowered", event.text, _believed(case, event))
    for event in case.of(Kind.DRIFT):
        is_more = (number(event, "power_excess") or 0.0) > 0.0
        yield Fact("sags-with-power" if is_more else "drifts", event.text, _believed(case, event))


def _believed(case: Case, event: Event) -> float:
    """Strength of what a reading says of heat."""
    false = [
        *case.of_shape(Shape.STILL, Shape.END),
        *(step for step in case.of(Kind.STEP, Kind.OFFSET_COLD) if is_absurd(step)),
    ]
    is_false = any(
        _lasts_into(other, event) and other.start_s <= event.start_s + BEGINS_S for other in false
    )
    if is_false or by_ten(case):
        return DISBELIEVED
    jumps = sum(each.count for each in case.of_shape(Shape.JUMP) if _overlap(each, event))
    return DOUBTED if jumps >= MANY_JUMPS and event.kind is Kind.DRIFT else 1.0


def _lasts_into(other: Event, event: Event) -> bool:
    """Whether another event holds while this one begins; steps and offsets hold from then on."""
    is_over = other.kind not in (Kind.STEP, Kind.OFFSET_COLD) and other.end_s is not None
    return not is_over or (other.end_s or 0.0) >= event.start_s
