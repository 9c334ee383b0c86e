"""Error budget of a sensor chain: known offsets, and the uncertainty of what is left.

An offset is an error whose sign and size follow from the facts (leads that nothing
cancels, self-heating, a wrong setting); it can be corrected. Uncertainty is what the
facts leave open, by the GUM (see `shared.uncertainty`). Both are at one temperature.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import msgspec
import numpy as np

from shared import filters, platinum
from shared.chain import Chain
from shared.inputs import ohm_of_scale, part_of_scale
from shared.leads import COPPER_PER_K, lead_ohm, path_ohm, read_ohm, share_read
from shared.reach import element_ohm, shown_c
from shared.tolerance import TOLERANCES
from shared.uncertainty import (
    Combined,
    Distribution,
    Input,
    Model,
    Simulated,
    monte_carlo,
    propagate,
)
from shared.updates import Floats


class Conditions(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where and how far conditions vary. Spreads are half widths; the last four are ours."""

    temperature_c: float = 210.0
    copper_c: float = 25.0
    """Mean temperature of the leads, °C."""
    copper_spread_k: float = 10.0
    board_spread_k: float = 15.0
    """How far the reference's temperature strays from where its tolerance holds."""
    bridged: bool = False
    """Whether terminals without a wire are bridged to their neighbours."""
    lead_spread: float | None = None
    """Relative spread of a lead's resistance against its gauge or section; None: 5 %, stranded
    15 %, since lay and strands differ from maker to maker."""
    contact_spread: float = 1.0
    """Relative; 1 lets a contact be anything from 0 to twice its figure."""
    self_heating_spread: float = 0.5
    capacitance_spread: float = 0.2


@dataclass(frozen=True, slots=True)
class Offset:
    """A known error, alone: in Ω at the converter (0 where it is none there) and in °C."""

    name: str
    ohm: float
    celsius: float


@dataclass(frozen=True, slots=True)
class Filter:
    """The input filter at one temperature, and the conversion behind it."""

    source_ohm: float
    tau_s: float
    corner_hz: float
    passes: tuple[tuple[float, float], ...]
    """(frequency in Hz, part of the amplitude let through) at chopper frequencies."""
    mains: tuple[float, ...]
    """Part of the amplitude at 50 and 60 Hz that reaches a reading, worst within ± 0.5 Hz."""
    missing: float
    """Part of the voltage still missing when the conversion starts."""
    settled: bool
    """Whether that is less than half a code of full scale."""
    capacitance: filters.CapacitanceRange


@dataclass(frozen=True, slots=True)
class Budget:
    """Everything about one chain at one temperature."""

    temperature_c: float
    """What is true."""
    shown_c: float
    """What the host shows, all offsets in."""
    offsets: tuple[Offset, ...]
    combined: Combined
    filter: Filter

    @property
    def offset_c(self) -> float:
        """All offsets together, °C (not their sum: effects mix)."""
        return self.shown_c - self.temperature_c


def self_heating_mw(chain: Chain, temperature_c: float, copper_c: float = 25.0) -> float:
    """Power that a steady bias makes in the element, mW."""
    element = element_ohm(chain, temperature_c)
    loop = chain.reference_ohm + element + 2.0 * path_ohm(chain, copper_c)
    current = chain.bias_v / loop
    return 1000.0 * current * current * element


def filter_at(chain: Chain, at: Conditions) -> Filter:
    """The input filter of a chain at a temperature."""
    source = filters.source_ohm(chain, element_ohm(chain, at.temperature_c), at.copper_c)
    farad = chain.capacitance_nf * 1e-9
    corner = filters.corner_hz(source, farad)
    tau_s = filters.time_constant_s(source, farad)
    wait_s = chain.wait_ms / 1000.0 if chain.bias == "switched" else math.inf
    missing = filters.settling_error(wait_s, tau_s)
    conversion_s = chain.conversion_ms / 1000.0
    period_s = conversion_s if chain.period_ms is None else chain.period_ms / 1000.0
    return Filter(
        source_ohm=source,
        tau_s=tau_s,
        corner_hz=corner,
        passes=tuple((hz, filters.attenuation(hz, corner)) for hz in filters.CHOPPER_HZ),
        mains=filters.mains_passes(conversion_s, period_s, chain.averages, corner),
        missing=missing,
        settled=missing <= 2.0 ** -(chain.bits + 1),
        capacitance=filters.capacitance_range(source, chain.bits, wait_s),
    )


SOLID_SPREAD, STRANDED_SPREAD = 0.05, 0.15


Part = TypeVar("Part", float, Floats)


def held_back(chain: Chain, part: Part, missing: Part | float) -> Part:
    """Part of full scale while part of the voltage is still missing; any shape.

    The capacitor holds the voltage across the element back; against a reference, what it
    lacks stands across that: p (1 − e)/(1 + e p).
    """
    if chain.input == "reference":
        return part * (1.0 - missing) / (1.0 + missing * part)
    return part * (1.0 - missing)


def inputs_of(chain: Chain, at: Conditions) -> tuple[Input, ...]:
    """The input quantities of the reading, in the order of the chain."""
    limit = TOLERANCES[chain.tolerance].limit_c(at.temperature_c)
    lead = at.lead_spread
    if lead is None:
        lead = STRANDED_SPREAD if chain.stranded else SOLID_SPREAD
    contact = at.contact_spread * chain.contact_ohm
    drift = chain.reference_ppm_per_k * 1e-6 * at.board_spread_k
    even = Distribution.RECTANGULAR
    return (
        Input("element", even, limit, "°C", 0.0, f"element, class {chain.tolerance}"),
        Input("element drift", even, chain.element_drift_k, "°C", 0.0, "element, drift with use"),
        Input("hysteresis", even, chain.hysteresis_k, "°C", 0.0, "element, hysteresis"),
        Input("insulation", even, 1.0, "1", 1.0, "insulation leakage"),
        Input("self-heating", even, at.self_heating_spread, "1", 1.0, "self-heating"),
        Input("lead", even, lead, "1", 0.0, "lead against its gauge"),
        Input("copper", even, at.copper_spread_k, "K", at.copper_c, "temperature of the leads"),
        Input("mismatch", even, chain.lead_mismatch, "1", 0.0, "leads unlike each other"),
        Input("contact-a", even, contact, "Ω", chain.contact_ohm, "contacts at end A"),
        Input("contact-b", even, contact, "Ω", chain.contact_ohm, "contacts at end B"),
        Input("capacitance", even, at.capacitance_spread, "1", 1.0, "settling (capacitance)"),
        Input("reference", even, chain.reference_tolerance, "1", 0.0, "reference tolerance"),
        Input("drift", even, drift, "1", 0.0, "reference drift"),
        Input("offset", even, chain.offset_of_scale, "1", 0.0, "converter offset"),
        Input("gain", even, chain.gain_error, "1", 0.0, "converter gain"),
        Input("linearity", even, chain.inl_of_scale, "1", 0.0, "converter linearity (INL)"),
        Input("quantisation", even, 0.5, "code", 0.0, "quantisation"),
        Input("noise", Distribution.NORMAL, chain.noise_codes, "code", 0.0, "converter noise"),
        Input("rounding", even, chain.rounding_c / 2.0, "°C", 0.0, "host's rounding"),
    )


def model_of(chain: Chain, at: Conditions) -> Model:
    """The reading in °C as a function of the inputs of `inputs_of`."""
    share, share_b = share_read(chain, at.bridged)
    share_a = share - share_b
    mw = self_heating_mw(chain, at.temperature_c, at.copper_c)
    copper_at_20 = lead_ohm(chain, 20.0)
    filtered = filter_at(chain, at)
    wait_s = chain.wait_ms / 1000.0 if chain.bias == "switched" else math.inf
    waited = wait_s / filtered.tau_s if filtered.tau_s > 0.0 else math.inf
    codes = 1 << chain.bits

    def reading(x: Mapping[str, Floats]) -> Floats:
        rise = x["self-heating"] * (mw * chain.self_heating_k_per_mw)
        true_c = at.temperature_c + x["element"] + x["element drift"] + x["hysteresis"] + rise
        element = chain.r0_ohm * platinum.ratio_array(true_c, chain.element_curve)
        element = element / (1.0 + x["insulation"] * element / (1e6 * chain.insulation_mohm))
        warmth = 1.0 + COPPER_PER_K * (x["copper"] - 20.0)
        lead = copper_at_20 * warmth * (1.0 + x["lead"])
        end_a = lead + x["contact-a"]
        end_b = lead * (1.0 + x["mismatch"]) + x["contact-b"]
        seen = element + share_a * end_a + share_b * end_b
        missing = np.exp(-waited / x["capacitance"])
        stretch = (1.0 + x["reference"]) * (1.0 + x["drift"])
        part = held_back(chain, part_of_scale(chain, seen, stretch), missing)
        part = part * (1.0 + x["gain"]) + x["offset"] + x["linearity"]
        part = part + (x["quantisation"] + x["noise"]) / codes
        ohm = ohm_of_scale(chain, part, chain.believed_reference_ohm)
        shown = platinum.celsius_array(ohm, chain.believed_r0_ohm, chain.believed_curve)
        return shown + x["rounding"]

    return reading


def offsets_of(chain: Chain, at: Conditions) -> tuple[Offset, ...]:
    """Each known error alone, °C: what is shown of the bare element with it, less without."""
    element = element_ohm(chain, at.temperature_c)
    heating = self_heating_mw(chain, at.temperature_c, at.copper_c) * chain.self_heating_k_per_mw
    missing = filter_at(chain, at).missing

    def read(seen_ohm: float) -> float:
        return platinum.celsius(seen_ohm, chain.r0_ohm, chain.element_curve) - at.temperature_c

    leads = read_ohm(chain, element, at.copper_c, bridged=at.bridged)
    part = held_back(chain, part_of_scale(chain, element), missing)
    unsettled = ohm_of_scale(chain, part, chain.reference_ohm)
    insulated = element / (1.0 + element / (1e6 * chain.insulation_mohm))
    warmer = element_ohm(chain, at.temperature_c + heating)
    return (
        Offset("leads", leads - element, read(leads)),
        Offset("self-heating", warmer - element, heating),
        Offset("insulation", insulated - element, read(insulated)),
        Offset("settling", unsettled - element, read(unsettled)),
        Offset("settings", 0.0, shown_c(chain, element) - at.temperature_c),
    )


def budget(chain: Chain, at: Conditions) -> Budget:
    """Offsets, uncertainty and filter of a chain. NaN where nothing could be shown."""
    combined = propagate(model_of(chain, at), inputs_of(chain, at))
    return Budget(
        temperature_c=at.temperature_c,
        shown_c=combined.value,
        offsets=offsets_of(chain, at),
        combined=combined,
        filter=filter_at(chain, at),
    )


def shown_at(chain: Chain, at: Conditions) -> float:
    """What the host shows, all known errors in, °C; NaN where it can show nothing."""
    middle = {each.name: np.array([each.value]) for each in inputs_of(chain, at)}
    return float(model_of(chain, at)(middle)[0])


def simulate(chain: Chain, at: Conditions, against: Combined, draws: int = 100_000) -> Simulated:
    """The Monte Carlo check of a budget, at the same model and inputs."""
    return monte_carlo(model_of(chain, at), inputs_of(chain, at), against, draws)


MEAN_BOUND = 0.05
DEVIATION_BOUND = 0.02
COVERAGE_BOUND = 0.94
"""Bounds of `agrees`: shift of the mean in standard uncertainties, relative difference of the
standard uncertainties, and the least part that the expanded uncertainty must hold."""


def agrees(combined: Combined, simulated: Simulated) -> bool:
    """Whether Monte Carlo confirms the law of propagation within the bounds above."""
    shift = abs(simulated.value - combined.value) / combined.standard
    ratio = simulated.standard / combined.standard
    return (
        shift <= MEAN_BOUND
        and math.isclose(ratio, 1.0, abs_tol=DEVIATION_BOUND)
        and simulated.covered >= COVERAGE_BOUND
    )
