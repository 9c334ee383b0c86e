"""Facts on an offset at room temperature: does its size fit the chain?

Leads add the same ohms at any temperature; another reference scales the ohms; another
curve changes degrees that are far from 0 °C. Each is worked out from the chain's own
facts, so a fit is a finding and not a guess.
"""

import math
from collections.abc import Iterable, Iterator

import msgspec

from detectors.diagnosis.case import ABSURD_K, Case, Fact, number
from shared import platinum
from shared.chain import UNTOLD, Chain
from shared.chainstate import LEADS
from shared.converter import REFERENCES
from shared.events import Event
from shared.leads import path_ohm, read_ohm
from shared.tolerance import TOLERANCES
from shared.words import Kind

ROOM_C = 23.0
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


def offsets(case: Case) -> Iterator[Fact]:
    for event in case.of(Kind.OFFSET_COLD):
        degrees = number(event, "offset_c")
        if degrees is None:
            degrees = event.value if event.unit == "°C" else None
        if degrees is None:
            continue
        if abs(degrees) > ABSURD_K:
            # No offset, but no sensor: all that is seen of it where no codes are sent.
            end, word = ("open", "open") if degrees > 0.0 else ("short", "shorted")
            yield Fact(f"{end}-from-first", f"{word} from the first reading on", 0.8)
            continue
        way = "high" if degrees > 0.0 else "low"
        shown = f"{abs(degrees):.1f} °C too {way} at room temperature"
        yield Fact(f"offset-{way}", shown)
        chain = case.chain or UNTOLD
        true_ohm, read = _ohms(chain, event, degrees)
        if abs(read) > BEYOND_LEADS_OHM:
            yield Fact("offset-beyond-leads", f"{abs(read):.0f} Ω: far more than leads have")
        if chain.knows(*LEADS):
            yield from _fits(chain, event, true_ohm, read)
        if chain.knows("reference_ohm"):
            yield from _references(chain, true_ohm, read, (chain.believed_reference_ohm,), 1.0)
        elif abs(read) > BEYOND_LEADS_OHM:
            # What the host is set for isn't known either: any of the usual ones. Less than
            # leads may have fits one or the other by chance.
            believed = [times * chain.r0_ohm for times in REFERENCES]
            yield from _references(chain, true_ohm, read, believed, ASSUMED_STRENGTH)


def _ohms(chain: Chain, event: Event, degrees: float) -> tuple[float, float]:
    """True Ω at room temperature, and by how much more it reads."""
    true_c = number(event, "others_c")
    true_c = ROOM_C if true_c is None else true_c
    true_ohm = platinum.ohms(true_c, chain.r0_ohm, chain.element_curve)
    read = number(event, "offset_ohm")
    if read is None:
        read = platinum.ohms(true_c + degrees, chain.r0_ohm, chain.element_curve) - true_ohm
    return true_ohm, read


def _references(
    chain: Chain, true_ohm: float, read: float, believed: Iterable[float], strength: float
) -> Iterator[Fact]:
    ratio = (true_ohm + read) / true_ohm
    for taken in believed:
        for times in REFERENCES:
            fitted = times * chain.r0_ohm
            would = taken / fitted
            if abs(would - 1.0) > 2.0 * REFERENCE_NEAR and abs(ratio - would) < REFERENCE_NEAR:
                words = f"it fits a reference of {fitted:g} Ω taken for {taken:g} Ω"
                far = abs(ratio - would) / REFERENCE_NEAR
                yield Fact("offset-fits-reference", words, strength * (1.0 - EDGE * far))


def _fits(chain: Chain, event: Event, true_ohm: float, read: float) -> Iterator[Fact]:
    others_c = number(event, "others_c")
    true_c = ROOM_C if others_c is None else others_c
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
