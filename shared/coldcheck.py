"""The cold check: channels at rest and at one temperature should agree.

Each channel is compared with the others. What it reads too much is either resistance
in its leads, or a gain error (reference, R0); one temperature alone can hardly tell
which, and two channels alone cannot tell which of them is off.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shared import platinum
from shared.chain import Chain
from shared.converter import REFERENCES
from shared.leads import path_ohm, share_read
from shared.reach import element_ohm
from shared.tolerance import TOLERANCES
from shared.twopoint import Estimate, Point, Split, split

NEAR_K = 1.0
"""How far channels at rest may truly differ (half width); the caller knows better."""
_MIX_UP_LEAST = 0.05
"""References nearer than this differ by what leads and contacts add, which is the likelier."""
_GAIN_LIMIT = 5.0
"""A gain error beyond this many reference tolerances calls for a wrong setting."""


@dataclass(frozen=True, slots=True)
class ColdReading:
    """One channel at rest: mean reading in Ω and its standard uncertainty.

    Readings of one `moment` are at one temperature; give more moments where the
    machine stood at rest at different temperatures.
    """

    channel: str
    chain: Chain
    seen_ohm: float
    standard_ohm: float
    moment: int = 0


@dataclass(frozen=True, slots=True)
class ChannelCold:
    """What the cold check says of one channel."""

    channel: str
    others_c: float
    """Temperature by the other channels, leads by their facts taken off."""
    implied_leads_ohm: Estimate
    """What the leads must add to the reading if they are all that is wrong."""
    expected_leads_ohm: float
    """What they add by the chain's facts."""
    implied_gain: Estimate
    """Relative gain error if that is all that is wrong and the leads are as in the facts."""
    is_off: bool
    prefers: str
    """`offset`, `gain`, `both`, `neither` or `cannot tell`."""
    why: str


@dataclass(frozen=True, slots=True)
class ColdCheck:
    """Result of the cold check; empty `channels` when there was nothing to compare."""

    channels: tuple[ChannelCold, ...]
    odd_one: str | None
    """The one channel that disagrees with all others, which agree; else None."""
    could_not_tell: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Thermometer:
    reading: ColdReading
    leads_ohm: float
    celsius: float
    standard_k: float


def cold_check(
    readings: Sequence[ColdReading], near_k: float = NEAR_K, copper_c: float = 25.0
) -> ColdCheck:
    """Compare channels at rest. Readings that no element can give are left out and named."""
    open_questions: list[str] = []
    usable: list[_Thermometer] = []
    for reading in readings:
        one = _thermometer(reading, copper_c)
        if math.isnan(one.celsius):
            open_questions.append(f"{reading.channel}: reads beyond its element's range")
        else:
            usable.append(one)
    names = list(dict.fromkeys(one.reading.channel for one in usable))
    if len(names) < 2:
        open_questions.append("whether they agree: two channels are needed")
        return ColdCheck((), None, tuple(open_questions))
    found = [_judge(name, usable, near_k) for name in names]
    channels = tuple(one for one in found if one is not None)
    off = [one for one in channels if one.is_off]
    odd_one = None
    if off and len(names) == 2:
        open_questions.append("which of the two channels is off: a third would tell")
    elif off:
        worst = max(off, key=lambda one: abs(_z(one)))
        rest = [one for one in usable if one.reading.channel != worst.channel]
        others = [_judge(name, rest, near_k) for name in names if name != worst.channel]
        if any(one is not None and one.is_off for one in others):
            open_questions.append("which channels are off: more than one disagrees")
        else:
            odd_one = worst.channel
    open_questions += [
        f"{one.channel}: leads from gain ({one.why})" for one in off if one.prefers == "cannot tell"
    ]
    return ColdCheck(channels, odd_one, tuple(open_questions))


def _thermometer(reading: ColdReading, copper_c: float) -> _Thermometer:
    """A reading as a temperature, leads by the facts taken off, with its uncertainty."""
    chain = reading.chain
    share, _ = share_read(chain)
    leads = share * path_ohm(chain, copper_c) if math.isfinite(share) else 0.0
    celsius = platinum.celsius(reading.seen_ohm - leads, chain.r0_ohm, chain.element_curve)
    if math.isnan(celsius):
        return _Thermometer(reading, leads, celsius, math.nan)
    slope = chain.r0_ohm * platinum.slope(celsius, chain.element_curve)
    limit = TOLERANCES[chain.tolerance].limit_c(celsius) / math.sqrt(3.0)
    reference = chain.reference_tolerance * reading.seen_ohm / slope / math.sqrt(3.0)
    standard = math.hypot(reading.standard_ohm / slope, limit, reference)
    return _Thermometer(reading, leads, celsius, standard)


def _judge(name: str, usable: Sequence[_Thermometer], near_k: float) -> ChannelCold | None:
    """One channel against the others, over all moments that hold both."""
    points: list[Point] = []
    temperatures: list[float] = []
    own = [one for one in usable if one.reading.channel == name]
    for one in own:
        others = [
            other
            for other in usable
            if other.reading.channel != name and other.reading.moment == one.reading.moment
        ]
        if others:
            weights = [1.0 / other.standard_k**2 for other in others]
            total = math.fsum(weights)
            pairs = zip(weights, others, strict=True)
            mean_c = math.fsum(weight * other.celsius for weight, other in pairs) / total
            chain = one.reading.chain
            slope = chain.r0_ohm * platinum.slope(mean_c, chain.element_curve)
            apart = near_k / math.sqrt(3.0)
            standard = slope * math.hypot(one.standard_k, math.sqrt(1.0 / total), apart)
            known = element_ohm(chain, mean_c)
            points.append(Point(known, one.reading.seen_ohm - one.leads_ohm, standard))
            temperatures.append(mean_c)
    if not points:
        return None
    result = split(points)
    leads = own[0].leads_ohm
    excess = result.offset_alone_ohm
    implied = Estimate(leads + excess.value, excess.standard)
    is_off = result.prefers != "neither"
    prefers, why = _preference(result, implied, own[0].reading.chain)
    others_c = math.fsum(temperatures) / len(temperatures)
    return ChannelCold(name, others_c, implied, leads, result.gain_alone, is_off, prefers, why)


def _preference(result: Split, implied: Estimate, chain: Chain) -> tuple[str, str]:
    """Leads or gain: by two temperatures where they tell, else by what each can be."""
    if result.prefers in ("neither", "offset", "gain", "both"):
        return result.prefers, "" if result.prefers == "neither" else "two temperatures"
    share, _ = share_read(chain)
    if implied.interval[1] < 0.0 and share >= 0.0:
        return "gain", "leads cannot have less than no resistance"
    mixed = mixed_up(chain, result.gain_alone)
    if mixed is not None:
        return "cannot tell", f"{mixed} would read the same"
    size = abs(result.gain_alone.value) - 2.0 * result.gain_alone.standard
    if size > _GAIN_LIMIT * chain.reference_tolerance and implied.value > 0.0:
        percent = 100.0 * chain.reference_tolerance
        return "offset", f"a {percent:g} % reference cannot be so far out, unless set wrong"
    return "cannot tell", "one temperature"


def mixed_up(chain: Chain, gain: Estimate) -> str | None:
    """A mix-up of standard references that would give a gain, relative; None where none does."""
    low, high = gain.interval
    taken = chain.believed_reference_ohm
    for fitted in (times * chain.r0_ohm for times in REFERENCES):
        would = taken / fitted - 1.0
        if abs(would) >= _MIX_UP_LEAST and low <= would <= high:
            return f"{taken:g} Ω set for {fitted:g} Ω fitted"
    return None


def _z(one: ChannelCold) -> float:
    away = one.implied_leads_ohm.value - one.expected_leads_ohm
    return away / one.implied_leads_ohm.standard
