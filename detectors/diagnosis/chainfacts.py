"""What a chain's facts say: to the priors, of its leads, of an offset's size, in checks' words.

Nothing is guessed where they do not tell.

Leads: with two wires a contact adds ohms, and a break reads at the upper end. Of three, a contact
in the lead whose drop is subtracted takes ohms away, and a current lead that parts reads at the
lower end, with `open` and `low` together. Of four, a contact does nothing, and a current lead that
parts reads at the lower end. `shared.circuit` works it out.

Offsets: leads add the same ohms at any temperature; another reference scales the ohms; another
curve changes degrees that are far from 0 °C.
"""

import math
from collections.abc import Iterable, Iterator

import msgspec

from detectors.diagnosis.case import Case, Fact, number, offset_k, word
from detectors.diagnosis.table import Blank
from shared import platinum
from shared.budget import Conditions, filter_at
from shared.chain import UNTOLD as UNTOLD_CHAIN
from shared.chain import Chain
from shared.chainstate import LEADS
from shared.circuit import contacts_of
from shared.converter import REFERENCES
from shared.events import Event
from shared.filters import CHOPPER_HZ, corner_of
from shared.leads import path_ohm, read_ohm, share_read
from shared.terminals import across_ohm
from shared.tolerance import TOLERANCES
from shared.words import Kind

SMALL_FILTER_HZ = corner_of(CHOPPER_HZ[0], 0.4)
LARGE_FILTER_HZ = corner_of(CHOPPER_HZ[0], 1.0 / 3.0)
"""Corners above and below which an input filter is small or large: it lets more than 40 % of
20 kHz through (judgement), or a third, which `shared.filters.capacitance_range` asks for."""
LONG_CABLE_M = 0.8
ELEMENTS_OHM = (100.0, 1000.0)
"""R0 of the usual elements, Pt100 and Pt1000 (IEC 60751)."""
UNTOLD = 0.5
"""Weight of what only three or four wires do, where nobody told how many there are. Judgement;
two are the usual fit (common practice)."""
UNFLAGGED = 0.3
"""Part of a low end that is taken for a parted lead where no flag tells. Judgement."""
ZERO, ZERO_CODES = 1e-3, 3.0
"""R/R0, and codes, up to which a reading is 0 with noise; a short inside has more. Judgement."""
ABSURD_K = 150.0
"""A jump that no heater, no seat and no contact with some ohms makes: open or shorted."""
TEMPERATE_C = 23.0
"""Taken where the event does not say what the others read."""
NEAR = 0.35
"""A fit within this part of the size, and within what the element's class leaves open at least;
lead lengths and gauges are known no better."""
EDGE = 0.6
"""What a fit at the edge of its range has lost of its strength. Judgement."""
BEYOND_LEADS_OHM = 4.0
"""More than leads have: 6 m of two AWG 30 wires (copper wire table; computed)."""
ASSUMED_STRENGTH = 0.6
"""Of a fit to references that nobody has told: among so many ratios some fit by chance."""
REFERENCE_NEAR = 0.006
"""Relative nearness of a ratio of references: 0.6 % is 1.6 °C at room temperature."""
COLD_C, HOT_C = 20.0, 300.0
"""A capacitor must filter where the source is smallest and settle where it is largest."""
SPARE = 1.2
"""Capacitors hold their value to ± 20 %, as `Conditions.capacitance_spread` has it."""
SURELY = 10.0
"""Times the least that filters: as much as is advised where a steady bias sets no limit."""
E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
"""IEC 60063: values that are sold."""
ROOM_C = (20.0, 25.0)
RESISTORS = (1.1, 1.2, 1.8)
"""R/R0 of trial resistors, 26 to 208 °C: 1.0 is 0 °C, where hosts call a sensor faulty."""
_SOURCE = ("r0_ohm", "reference_ohm", "wires", "bits", "capacitance_nf")


# Facts that bear on the priors.
def chain_facts(chain: Chain | None) -> Iterator[Fact]:
    """Facts of a chain, by the names of `CHAIN_SIGNS`; none where the chain is not known."""
    if chain is None:
        return
    if chain.knows("bus") and chain.bus == "flying":
        shown = f"the converter hangs on {1000.0 * chain.bus_m:.0f} mm of loose bus wires"
        yield Fact("bus-flying", shown, 1.0 if chain.bus_m >= 0.1 else 0.6)
    elif chain.knows("bus"):
        yield Fact("bus-plugged", "the converter plugs into the controller")
    if chain.knows("wires"):
        if chain.wires == 2:
            yield Fact("two-wires", "two wires: their resistance adds to the reading")
        elif chain.strapped == chain.wires:
            yield Fact("leads-cancelled", f"{chain.wires} wires: the leads are subtracted")
        if chain.strapped != chain.wires:
            shown = f"{chain.wires} wires on a board set for {chain.strapped}"
            yield Fact("strapped-otherwise", shown)
    if chain.knows("reference_ohm") and chain.believed_reference_ohm != chain.reference_ohm:
        shown = (
            f"the host counts with {chain.believed_reference_ohm:g} Ω, "
            f"the board has {chain.reference_ohm:g} Ω"
        )
        yield Fact("host-reference-differs", shown)
    if chain.believed_curve != chain.element_curve or chain.believed_r0_ohm != chain.r0_ohm:
        yield Fact("host-curve-differs", "the host counts with another element")
    yield from _cable(chain)
    if chain.knows("capacitance_nf"):
        yield from _filter(chain)


def _cable(chain: Chain) -> Iterator[Fact]:
    if chain.knows("moving") and chain.moving:
        yield Fact("cable-moves", "the cable moves with the machine")
    elif chain.knows("moving"):
        yield Fact("cable-still", "the cable does not move with the machine")
    if chain.knows("screened") and chain.screened:
        yield Fact("screened", "the cable is screened")
    elif chain.knows("screened", "moving", "lead_m") and chain.moving:
        if chain.lead_m >= LONG_CABLE_M:
            yield Fact("unscreened-long", f"{chain.lead_m:g} m of moving cable without a screen")
        if chain.lead_m >= 2.0 * LONG_CABLE_M:
            yield Fact("unscreened-heavy", "a long cable beside others, without a screen")


def _filter(chain: Chain) -> Iterator[Fact]:
    """Whether the input filter is small or large, by its corner when hot.

    What was not told of element and reference may be any usual one: then all must agree.
    """
    corners = [filter_at(each, Conditions()).corner_hz for each in _may_be(chain)]
    low, high = min(corners), max(corners)
    at = f"{low / 1000.0:.2g}" if high < 1.1 * low else f"{low / 1000.0:.2g} to {high / 1000.0:.2g}"
    shown = f"{chain.capacitance_nf:g} nF across the inputs: corner at {at} kHz"
    if low >= SMALL_FILTER_HZ:
        yield Fact("small-filter", shown)
    elif high <= LARGE_FILTER_HZ:
        yield Fact("large-filter", shown)


def _may_be(chain: Chain) -> Iterator[Chain]:
    for r0_ohm in (chain.r0_ohm,) if chain.knows("r0_ohm") else ELEMENTS_OHM:
        usual = [times * r0_ohm for times in REFERENCES]
        for reference in [chain.reference_ohm] if chain.knows("reference_ohm") else usual:
            yield msgspec.structs.replace(chain, r0_ohm=r0_ohm, reference_ohm=reference)


# What contacts and breaks of the leads can do.
class Ways(msgspec.Struct, frozen=True):
    """How far each is possible, 0…1."""

    raises: float
    """Ohms in a lead read higher."""
    lowers: float
    """Ohms in a lead read lower."""
    opens_low: float
    """A lead that parts reads at the lower end."""
    share_low: float = 0.0
    """Part of the leads that read so; 0 where nobody told."""


def ways_of(chain: Chain | None) -> Ways:
    """What this chain's leads can do."""
    if chain is None or not chain.knows("wires"):
        return Ways(1.0, UNTOLD, UNTOLD)
    found = contacts_of(chain.wires, chain.excitation, chain.strapped)
    opens_low = float(found.share_low > 0.0)
    return Ways(float(found.raises), float(found.lowers), opens_low, found.share_low)


def open_at_low(case: Case) -> float:
    """How far a code at its lower end is an open input, 0…1."""
    low, flags = case.of(Kind.CODE_LOW), case.of(Kind.CONVERTER_FLAG)
    is_told = any("open" in word(event, "flags") for event in flags)
    if not low or case.of(Kind.CODE_HIGH) or (flags and not is_told):
        return 0.0
    if is_told and is_empty(case):
        return 1.0
    part = 1.0 if is_told else UNFLAGGED * all(_is_zero(event) for event in low)
    return ways_of(case.chain).opens_low * part


def _is_zero(event: Event) -> bool:
    """Whether nothing is left but the converter's noise, as without a current."""
    ohm, r0_ohm = number(event, "signal"), number(event, "r0_ohm")
    if ohm is not None and r0_ohm:
        return abs(ohm) <= ZERO * r0_ohm
    return event.unit == "codes" and abs(event.value) <= ZERO_CODES


def is_empty(case: Case) -> bool:
    """Whether no lead can read so: from the first reading on, that is an empty terminal."""
    first = any(number(event, "first_reading") for event in case.of(Kind.CODE_LOW))
    return first and not ways_of(case.chain).opens_low


# Whether the size of an offset at room temperature fits.
def offset_fits(case: Case) -> Iterator[Fact]:
    """Each is worked out from the chain's own facts, so a fit is a finding and not a guess."""
    chain = case.chain or UNTOLD_CHAIN
    for event in case.of(Kind.OFFSET_COLD):
        degrees = offset_k(event)
        if degrees is None or abs(degrees) > ABSURD_K:
            continue
        given_c = number(event, "others_c")
        true_c = TEMPERATE_C if given_c is None else given_c
        true_ohm = platinum.ohms(true_c, chain.r0_ohm, chain.element_curve)
        read = number(event, "offset_ohm")
        if read is None:
            read = platinum.ohms(true_c + degrees, chain.r0_ohm, chain.element_curve) - true_ohm
        if abs(read) > BEYOND_LEADS_OHM:
            yield Fact("offset-beyond-leads", f"{abs(read):.0f} Ω: far more than leads have")
        if chain.knows(*LEADS):
            yield from _fits(chain, true_c, true_ohm, read)
        if chain.knows("reference_ohm"):
            yield from _references(chain, true_ohm, read, (chain.believed_reference_ohm,), 1.0)
        elif abs(read) > BEYOND_LEADS_OHM:
            # What the host is set for isn't known either: any of the usual ones. Less than
            # leads may have fits one or the other by chance.
            believed = [times * chain.r0_ohm for times in REFERENCES]
            yield from _references(chain, true_ohm, read, believed, ASSUMED_STRENGTH)


def _references(
    chain: Chain, true_ohm: float, read: float, believed: Iterable[float], strength: float
) -> Iterator[Fact]:
    ratio = (true_ohm + read) / true_ohm
    for taken in believed:
        for fitted in (times * chain.r0_ohm for times in REFERENCES):
            would = taken / fitted
            if abs(would - 1.0) > 2.0 * REFERENCE_NEAR and abs(ratio - would) < REFERENCE_NEAR:
                words = f"it fits a reference of {fitted:g} Ω taken for {taken:g} Ω"
                far = abs(ratio - would) / REFERENCE_NEAR
                yield Fact("offset-fits-reference", words, strength * (1.0 - EDGE * far))


def _fits(chain: Chain, true_c: float, true_ohm: float, read: float) -> Iterator[Fact]:
    least = class_ohm(chain, true_c)
    leads = read_ohm(chain, true_ohm) - true_ohm
    if fit := _fit(read, leads, least):
        yield Fact("offset-fits-leads", f"its {abs(read):.2f} Ω are what the leads have", fit)
    for count in (2, 3, 4):
        straps = _straps_ohm(chain, true_ohm, count)
        if count != chain.strapped and (fit := _fit(read, straps, least)):
            words = f"its {abs(read):.2f} Ω fit a board set for {count} wires"
            yield Fact("offset-fits-straps", words, fit)
    for name, curve in platinum.CURVES.items():
        as_read = platinum.ohms(true_c, chain.r0_ohm, curve) - true_ohm
        if name != chain.curve and (fit := _fit(read, as_read, least)):
            yield Fact("offset-fits-curve", f"it fits an element of curve {name}", fit)


def class_ohm(chain: Chain, true_c: float) -> float:
    """What the element's tolerance class leaves open at this temperature, Ω (IEC 60751)."""
    limit_c = TOLERANCES[chain.tolerance].limit_c(true_c)
    curve = chain.element_curve
    at_limit = platinum.ohms(true_c + limit_c, chain.r0_ohm, curve)
    return at_limit - platinum.ohms(true_c, chain.r0_ohm, curve)


def _straps_ohm(chain: Chain, true_ohm: float, count: int) -> float:
    """Offset in Ω with the board set for another number of wires; NaN for an open input."""
    other = msgspec.structs.replace(chain, strapped_for=count)
    seen = read_ohm(other, true_ohm)
    if math.isinf(seen):
        seen = read_ohm(other, true_ohm, bridged=True)
    return seen - true_ohm if abs(seen - true_ohm) > 0.1 * path_ohm(chain) else math.nan


def _fit(read: float, would: float, least: float) -> float:
    """How well a size is the expected one, 0…1; 0 where that is no more than `least`, Ω."""
    if not math.isfinite(would) or abs(would) < least:
        return 0.0
    far = abs(read - would) / max(NEAR * abs(would), least)
    return 0.0 if far > 1.0 else 1.0 - EDGE * far


# Words of checks: which capacitor, how many ohms, which share.
def added_nf(chain: Chain) -> tuple[float, float] | None:
    """Least and most capacitance to add across the sense inputs, nF, of the E6 series.

    From the filter's corner and settling at both ends of the heat (`shared.budget`): with
    what is there it lets a third of 20 kHz through or less, and settles in the wait before
    a conversion. At least as much as is there, or nothing would be seen of it. None where
    the chain does not tell enough, or nothing fits.
    """
    is_steady = chain.knows("bias") and chain.bias == "continuous"
    if not chain.knows(*_SOURCE) or not (is_steady or chain.knows("wait_ms")):
        return None
    if chain.input == "amplifier":
        return None
    ends = [filter_at(chain, Conditions(temperature_c=at)).capacitance for at in (COLD_C, HOT_C)]
    least_nf = 1e9 * max(end.lowest_f for end in ends)
    most_nf = min(1e9 * min(end.highest_f for end in ends), SURELY * least_nf)
    there = chain.capacitance_nf
    low, high = max(least_nf - there, there), most_nf / SPARE - there
    sold = [value * 10.0**decade for decade in range(-2, 5) for value in E6]
    fits = [each for each in sold if low <= each <= high]
    return (fits[0], fits[-1]) if fits else None


def _capacitance(chain: Chain) -> str | None:
    pair = added_nf(chain)
    if pair is None:
        return None
    low, high = pair
    return f"{low:g} nF more" if low == high else f"{low:g} to {high:g} nF more"


def _cold_ohms(chain: Chain) -> str | None:
    if not chain.knows("r0_ohm"):
        return None
    if not chain.knows("wires", "lead_m"):
        low, high = (platinum.ohms(at, chain.r0_ohm, chain.element_curve) for at in ROOM_C)
        return f"{low:.0f} to {high:.0f} Ω at 20 to 25 °C, and what the leads have"
    low, high = (across_ohm(chain, at) for at in ROOM_C)
    return f"{low:.1f} to {high:.1f} Ω at 20 to 25 °C, leads and all"


def _resistors(chain: Chain) -> str | None:
    one, or_, then = (part * chain.r0_ohm for part in RESISTORS)
    return f"{one:g} or {or_:g} Ω, then {then:g} Ω," if chain.knows("r0_ohm") else None


def _share(chain: Chain) -> str | None:
    """By how much of what a pair of leads reads, the converter's reading is off."""
    if not chain.knows("wires"):
        return None
    if chain.wires == 2:
        return "Two wires have no such pair: take both leads from length and gauge."
    share, _ = share_read(chain)
    if share == 0.0:
        return "This board subtracts it: only what two leads differ by counts."
    return (
        None if math.isinf(share) else f"The reading should be off by {0.5 * share:g} times that."
    )


CAPACITANCE = Blank(
    "capacitance", "what `ohmvigil budget` allows for the chain", _capacitance, needs=True
)
COLD_OHMS = Blank(
    "ohms", "108 to 110 Ω for a Pt100, ten times that for a Pt1000, and the leads", _cold_ohms
)
TRIAL = Blank("resistors", "110 or 120 Ω, then 180 Ω (Pt1000: ten times that),", _resistors)
SHARE = Blank(
    "share",
    "On a board set for two wires, the reading of three wires is off by 0.75 of that, of four "
    "by 0.5; two wires have no such pair: take both leads from length and gauge.",
    _share,
)
