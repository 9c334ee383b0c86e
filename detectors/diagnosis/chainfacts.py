"""Chain facts that bear on the priors, as facts in plain words."""

from collections.abc import Iterator

import msgspec

from detectors.diagnosis.case import Fact
from detectors.diagnosis.causes import LARGE_FILTER_HZ, LONG_CABLE_M, SMALL_FILTER_HZ
from shared.budget import Conditions, filter_at
from shared.chain import Chain
from shared.converter import REFERENCES

ELEMENTS_OHM = (100.0, 1000.0)
"""R0 of the usual elements, Pt100 and Pt1000 (IEC 60751)."""


def chain_facts(chain: Chain | None) -> tuple[Fact, ...]:
    """Facts of a chain; none where the chain is not known. Names are of `CHAIN_SIGNS`."""
    return () if chain is None else tuple(_facts(chain))


def _facts(chain: Chain) -> Iterator[Fact]:
    if chain.knows("bus"):
        yield _bus(chain)
    if chain.knows("wires"):
        yield from _wires(chain)
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


def _bus(chain: Chain) -> Fact:
    if chain.bus == "flying":
        shown = f"the converter hangs on {1000.0 * chain.bus_m:.0f} mm of loose bus wires"
        return Fact("bus-flying", shown, 1.0 if chain.bus_m >= 0.1 else 0.6)
    return Fact("bus-plugged", "the converter plugs into the controller")


def _wires(chain: Chain) -> Iterator[Fact]:
    if chain.wires == 2:
        yield Fact("two-wires", "two wires: their resistance adds to the reading")
    elif chain.strapped == chain.wires:
        yield Fact("leads-cancelled", f"{chain.wires} wires: the leads are subtracted")
    if chain.strapped != chain.wires:
        shown = f"{chain.wires} wires on a board set for {chain.strapped}"
        yield Fact("strapped-otherwise", shown)


def _cable(chain: Chain) -> Iterator[Fact]:
    if chain.knows("moving"):
        moves = "moves with" if chain.moving else "does not move with"
        name = "cable-moves" if chain.moving else "cable-still"
        yield Fact(name, f"the cable {moves} the machine")
    if not chain.knows("screened"):
        return
    if chain.screened:
        yield Fact("screened", "the cable is screened")
    elif chain.knows("moving", "lead_m") and chain.moving and chain.lead_m >= LONG_CABLE_M:
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
    elements = (chain.r0_ohm,) if chain.knows("r0_ohm") else ELEMENTS_OHM
    for r0_ohm in elements:
        usual = [times * r0_ohm for times in REFERENCES]
        for reference in [chain.reference_ohm] if chain.knows("reference_ohm") else usual:
            yield msgspec.structs.replace(chain, r0_ohm=r0_ohm, reference_ohm=reference)
