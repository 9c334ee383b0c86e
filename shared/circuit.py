"""What a converter reads through its sensor's leads: a resistive network, solved by nodal analysis.

End A of the element goes to the terminals force + and sense +, end B to sense − and
force −. Two wires are fitted at force + and force −; a third one at sense +; a fourth
one at sense −. A board that is set for two wires joins force and sense at both ends;
one set for three joins them at end B alone. The inputs are:

one-source            a current from force + to force −; set for three wires, the drop from
                      force + to sense + is subtracted, which stands for the lone lead's
two-sources           set for three wires: like currents into sense + and into the lone end,
                      back through force +; the voltage between the two is read. Set for two
                      or four wires it is one source
bias-over-reference   a fixed voltage over the reference and the loop; what is sensed is
                      compared with the reference's drop; subtraction as with one source

Solved by modified nodal analysis (Ho, Ruehli and Brennan 1975): Kirchhoff's current law
at every node, Ohm's law in every branch, so that 0 Ω and an open branch are no special
cases. What is assumed: sources reach the bias voltage and no further; a sense input whose
lead is open is pulled to the bias through 10 MΩ; where no current passes the reference,
the inputs are compared with the bias.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from shared.chain import Chain, Excitation

Lead = Literal["force+", "sense+", "sense-", "force-"]
"""A lead, by the terminal that it goes to."""
Leads = Mapping[Lead, float]
"""Resistance of leads in Ω, contacts included; inf: open."""

FITTED: dict[int, tuple[Lead, ...]] = {
    2: ("force+", "force-"),
    3: ("force+", "sense+", "force-"),
    4: ("force+", "sense+", "sense-", "force-"),
}
"""Leads that there are, by wires fitted."""
AT_A: tuple[Lead, ...] = ("force+", "sense+")

LEAST_OHM = 1e-6
"""Of a lead, so that the current in a loop of straps and leads is one number."""
PULL_OHM = 10e6
"""From the bias to a sense input that hangs open. An assumption: some MΩ are usual."""
SOURCE_OHM = 1e12
"""Of a current source, and of what insulates the element: next to open."""
FLOWS = 0.1
"""Part of the usual current below which none flows: far below what a reading of full scale
leaves, far above what a pull lets through."""
HIGH_INPUT = 0.85
"""Part of the bias at and above which an input has lost its element: at full scale it stands
at 0.83 of it."""
HIGHEST, LOWEST = 0.98, 0.01
"""Parts of full scale at which a converter's usual comparisons say `high` and `low`. Assumed."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """A converter's inputs, as set and as wired."""

    wires: int
    strapped: int
    excitation: Excitation = "bias-over-reference"
    bridged: bool = False
    """Whether terminals without a wire are joined to their neighbour."""
    reference_ohm: float = 402.0
    r0_ohm: float = 100.0
    bias_v: float = 1.8

    @property
    def amperes(self) -> float:
        """What a source gives: as much as the bias drives through reference and R0."""
        return self.bias_v / (self.reference_ohm + self.r0_ohm)

    @property
    def has_two_sources(self) -> bool:
        return self.excitation == "two-sources" and self.strapped == 3


@dataclass(frozen=True, slots=True)
class Seen:
    """What the converter makes of it."""

    ohm: float
    """Resistance that the code stands for, before it saturates; it may be below 0."""
    flags: tuple[str, ...]
    """`open`: no current, or an input at the bias; `high`, `low`: the code at an end;
    `short`: low though a current flows and no input is open."""


def inputs_of(chain: Chain, bridged: bool = False) -> Inputs:
    """Inputs of a chain."""
    return Inputs(
        wires=chain.wires,
        strapped=chain.strapped,
        excitation=chain.excitation,
        bridged=bridged,
        reference_ohm=chain.reference_ohm,
        r0_ohm=chain.r0_ohm,
        bias_v=chain.bias_v,
    )


class _Network:
    """Branches between named nodes. `V(a) − V(b) = emf − r · i`, i flowing from b to a."""

    def __init__(self) -> None:
        self._nodes: dict[str, int] = {}
        self._branches: list[tuple[int, int, float, float]] = []

    def join(self, a: str, b: str, ohm: float, emf_v: float = 0.0) -> int:
        """A branch; its number. The node `0` is the ground."""
        self._branches.append((self._node(a), self._node(b), ohm, emf_v))
        return len(self._branches) - 1

    def _node(self, name: str) -> int:
        return -1 if name == "0" else self._nodes.setdefault(name, len(self._nodes))

    def replace(self, branch: int, ohm: float, emf_v: float) -> None:
        a, b, _, _ = self._branches[branch]
        self._branches[branch] = (a, b, ohm, emf_v)

    def solved(self) -> tuple[dict[str, float], list[float]]:
        """Voltages of the nodes, and currents of the branches, V and A."""
        nodes, size = len(self._nodes), len(self._nodes) + len(self._branches)
        matrix, right = np.zeros((size, size)), np.zeros(size)
        for number, (a, b, ohm, emf_v) in enumerate(self._branches):
            row = nodes + number
            # Ohm's law, scaled so that 0 Ω and an open branch are ordinary numbers.
            by, times = (1.0, ohm) if ohm <= 1.0 else (1.0 / ohm, 1.0)
            for node, sign in ((a, 1.0), (b, -1.0)):
                if node >= 0:
                    matrix[node, row] += sign
                    matrix[row, node] += sign * by
            matrix[row, row] = times
            right[row] = emf_v * by
        found = np.linalg.solve(matrix, right)
        volts = {name: float(found[at]) for name, at in self._nodes.items()}
        return {**volts, "0": 0.0}, [float(each) for each in found[nodes:]]


def seen(inputs: Inputs, element_ohm: float, leads: Leads) -> Seen:
    """What is read of an element, Ω (inf: parted), through leads; those left out have 0 Ω."""
    net = _Network()
    net.join("A", "B", element_ohm)
    for node in ("A", "B"):
        net.join(node, "0", SOURCE_OHM)
    for lead in FITTED[inputs.wires]:
        net.join(lead, "A" if lead in AT_A else "B", max(leads.get(lead, 0.0), LEAST_OHM))
    _terminals(net, inputs, leads)
    return _two_sources(net, inputs) if inputs.has_two_sources else _one_current(net, inputs)


def _terminals(net: _Network, inputs: Inputs, leads: Leads) -> None:
    """Straps and bridges between terminals, and pulls of what hangs open."""
    fitted = FITTED[inputs.wires]
    pairs: tuple[tuple[Lead, Lead, bool], ...] = (
        ("force+", "sense+", inputs.strapped == 2),
        ("force-", "sense-", inputs.strapped <= 3),
    )
    for force, sense, is_strapped in pairs:
        if is_strapped or (inputs.bridged and sense not in fitted):
            net.join(force, sense, 0.0)
        elif sense not in fitted or math.isinf(leads.get(sense, 0.0)):
            net.join(sense, "0", PULL_OHM, inputs.bias_v)


def _one_current(net: _Network, inputs: Inputs) -> Seen:
    """One current through the loop, from a source or from the bias over the reference."""
    net.join("force-", "0", 0.0)
    if inputs.excitation == "bias-over-reference":
        feed = net.join("force+", "0", inputs.reference_ohm, inputs.bias_v)
        volts, currents = net.solved()
    else:
        feed = _source(net, "force+", inputs)
        volts, currents = _limited(net, (("force+", feed),), inputs)
    sensed_v = volts["sense+"] - volts["sense-"]
    if inputs.strapped == 3:
        sensed_v -= volts["force+"] - volts["sense+"]
    flowing = currents[feed]
    per_ampere = inputs.amperes
    if inputs.excitation == "bias-over-reference":
        none_flows = inputs.bias_v / inputs.reference_ohm
        per_ampere = flowing if _flows(flowing, inputs) else none_flows
    return _judged(sensed_v / per_ampere, flowing, (volts["sense+"], volts["sense-"]), inputs)


def _two_sources(net: _Network, inputs: Inputs) -> Seen:
    """Two currents that come back through the third lead."""
    net.join("force+", "0", 0.0)
    nodes = ("force-", "sense+")
    feeds = [(node, _source(net, node, inputs)) for node in nodes]
    volts, currents = _limited(net, feeds, inputs)
    sensed_v = volts["force-"] - volts["sense+"]
    least = min(currents[feed] for _, feed in feeds)
    at_inputs = (volts["force-"], volts["sense+"])
    return _judged(sensed_v / inputs.amperes, least, at_inputs, inputs)


def _source(net: _Network, node: str, inputs: Inputs) -> int:
    return net.join(node, "0", SOURCE_OHM, inputs.amperes * SOURCE_OHM)


def _limited(
    net: _Network, feeds: "tuple[tuple[str, int], ...] | list[tuple[str, int]]", inputs: Inputs
) -> tuple[dict[str, float], list[float]]:
    """Solved with sources that give no more than the bias voltage."""
    volts, currents = net.solved()
    for node, feed in feeds:
        if volts[node] > inputs.bias_v:
            net.replace(feed, 0.0, inputs.bias_v)
            volts, currents = net.solved()
    return volts, currents


def _flows(amperes: float, inputs: Inputs) -> bool:
    return amperes > FLOWS * inputs.amperes


def _judged(ohm: float, amperes: float, at_inputs: tuple[float, ...], inputs: Inputs) -> Seen:
    """The reading with what the usual comparisons say of it."""
    flows = _flows(amperes, inputs)
    is_open = not flows or max(at_inputs) >= HIGH_INPUT * inputs.bias_v
    part = ohm / inputs.reference_ohm
    flags = ["open"] if is_open else []
    flags += ["high"] if part >= HIGHEST else ["low"] if part <= LOWEST else []
    if part <= LOWEST and not is_open:
        flags.append("short")
    return Seen(ohm, tuple(flags))


@lru_cache(maxsize=256)
def lead_effect(
    wires: int, excitation: Excitation, lead: Lead, strapped: int | None = None
) -> float:
    """How many Ω more are read for one Ω more in a lead; below 0: fewer. KeyError: no such lead.

    Leads that share a strapped terminal are taken as equal.
    """
    if lead not in FITTED[wires]:
        raise KeyError(lead)
    inputs = Inputs(wires, strapped or wires, excitation)
    # Exact where the reading is linear in the lead, else the slope to a millionth.
    least, most = (
        seen(inputs, inputs.r0_ohm, {**dict.fromkeys(FITTED[wires], 1.0), lead: ohm}).ohm
        for ohm in (1.0 - 1e-3, 1.0 + 1e-3)
    )
    return round((most - least) / 2e-3, 5) + 0.0


End = Literal["upper", "lower", "stays"]


@lru_cache(maxsize=256)
def reads_broken(
    wires: int, excitation: Excitation, lead: Lead | None, strapped: int | None = None
) -> tuple[End, tuple[str, ...]]:
    """Where the reading goes when a lead parts, or the element itself (None); and the flags."""
    inputs = Inputs(wires, strapped or wires, excitation)
    element = math.inf if lead is None else inputs.r0_ohm
    found = seen(inputs, element, {} if lead is None else {lead: math.inf})
    if "high" in found.flags:
        return "upper", found.flags
    return ("lower" if "low" in found.flags else "stays"), found.flags


@dataclass(frozen=True, slots=True)
class Contacts:
    """What contacts and breaks of a chain's leads may do to its reading."""

    raises: bool
    """Whether ohms in some lead read higher."""
    lowers: bool
    share_low: float
    """Part of the leads whose break reads at the lower end, with `open` and `low` together."""


@lru_cache(maxsize=64)
def contacts_of(wires: int, excitation: Excitation, strapped: int | None = None) -> Contacts:
    """What the leads of this circuit can do, over all of them."""
    leads = FITTED[wires]
    effects = [lead_effect(wires, excitation, lead, strapped) for lead in leads]
    ends = [reads_broken(wires, excitation, lead, strapped)[0] for lead in leads]
    return Contacts(max(effects) > 0.0, min(effects) < 0.0, ends.count("lower") / len(ends))


@lru_cache(maxsize=64)
def shares(inputs: Inputs) -> tuple[float, float] | None:
    """Parts of a lead's L, and of the excess m of one at end B, that are read; None: open."""
    fitted = FITTED[inputs.wires]

    def read(at_b: float) -> Seen:
        ohm = {lead: 1.0 if lead in AT_A else at_b for lead in fitted}
        return seen(inputs, inputs.r0_ohm, ohm)

    alike, unlike = read(1.0), read(2.0)
    if "open" in alike.flags:
        return None
    share, of_mismatch = alike.ohm - inputs.r0_ohm, unlike.ohm - alike.ohm
    # Leads of 1 and 2 Ω leave halves at the finest: what is beyond is rounding.
    return round(share, 6) + 0.0, round(of_mismatch, 6) + 0.0
