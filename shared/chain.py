"""Facts of a sensor chain: element, leads, filter, converter, bus, and the host's settings."""

from typing import Literal

import msgspec

from shared.converter import step_ohm
from shared.platinum import CURVES, Curve

Excitation = Literal["bias-over-reference", "one-source", "two-sources"]
"""How a converter drives its current through the element, see `shared.circuit`."""


class Chain(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One sensor chain, as fitted. The defaults are those of the simulated printer's chain.

    These are the keys of `[channels.NAME.chain]` in a profile and of `[channels.NAME.chain]`
    in a scenario. A profile need not give them all: `told` says which it gave, and only
    these are facts.
    """

    told: tuple[str, ...] | None = None
    """Keys that somebody gave; None: all. Worked out on load, never given."""

    r0_ohm: float = 100.0
    """Resistance of the element at 0 °C, Ω: 100 for Pt100, 1000 for Pt1000."""
    curve: str = "iec-60751"
    """Platinum curve of the element, a name from `shared.platinum.CURVES`."""
    tolerance: Literal["AA", "A", "B", "C"] = "B"
    """Tolerance class of IEC 60751."""
    construction: Literal["film", "wire-wound"] = "film"
    """How the element is made; IEC 60751 gives film the narrower ranges."""
    element_drift_k: float = 0.1
    """How far the element may have moved with use, half width, K: judgement."""
    hysteresis_k: float = 0.05
    """How far it may differ between heating and cooling, half width, K: judgement."""
    insulation_mohm: float = 100.0
    """Insulation across the element, MΩ: at least 100 cold by IEC 60751 (from memory)."""
    self_heating_k_per_mw: float = 0.05
    """Rise of the element over its seat per mW, K: about 0.05 clamped in metal, 0.4 in air."""
    wires: Literal[2, 3, 4] = 2
    """Wires fitted between element and converter."""
    strapped_for: Literal[2, 3, 4] | None = None
    """Wire count that the board is set for; None: the same as fitted."""
    excitation: Excitation = "bias-over-reference"
    """How the converter drives the element: a bias over reference and element, or one or two
    current sources."""
    lead_awg: int | None = 30
    """Gauge of one lead; None when `lead_mm2` or `lead_ohm_per_m` says it."""
    lead_mm2: float | None = None
    lead_ohm_per_m: float | None = None
    lead_m: float = 1.2
    """Length of one lead, one way, m."""
    contact_ohm: float = 0.01
    """Resistance of one connector contact, Ω."""
    lead_mismatch: float = 0.02
    """How far two leads of the cable may differ, relative."""
    stranded: bool = False
    """Whether the wires are stranded: ± 15 % instead of ± 5 % of their gauge's resistance."""
    series_ohm: float = 0.0
    """Resistor in each sensing line, Ω: it carries no current, and feeds the filter."""
    screened: bool = False
    moving: bool = True
    """Whether the cable moves with the machine."""
    capacitance_nf: float = 100.0
    """Capacitance across the converter's inputs, nF."""
    input: Literal["reference", "divider", "amplifier"] = "reference"
    """How the resistance becomes a part of full scale: see `shared.inputs`."""
    span_low_ohm: float = 50.0
    span_high_ohm: float = 250.0
    """What an amplifier makes 0 and full scale of, Ω."""
    reference_ohm: float = 402.0
    """Of a divider: its pull-up."""
    reference_tolerance: float = 0.001
    """Relative, so 0.001 is 0.1 %."""
    reference_ppm_per_k: float = 25.0
    """Drift of the reference with its temperature, 1e-6 per kelvin."""
    bits: int = 16
    offset_of_scale: float = 5e-5
    gain_error: float = 5e-5
    inl_of_scale: float = 5e-5
    """Offset, gain and linearity of the converter, half widths, parts of full scale."""
    bias_v: float = 1.8
    bias: Literal["switched", "continuous"] = "switched"
    """A continuous bias has always settled, and heats the element all the time."""
    noise_codes: float = 0.5
    """Noise of the converter itself, standard deviation in codes."""
    conversion_ms: float = 20.0
    """How long one conversion averages, ms."""
    averages: int = 1
    """Conversions that make one reading."""
    period_ms: float | None = None
    """From one conversion to the next, ms; None: on end."""
    wait_ms: float = 1.2
    """Time from switching the bias on to the start of a conversion."""
    mains_hz: float = 50.0
    bus: Literal["plugged", "flying"] = "plugged"
    """How the converter reaches the controller: plugged in, or by flying leads."""
    bus_m: float = 0.0
    """Length of the flying leads, m."""
    host_r0_ohm: float | None = None
    """What the host believes, where it differs from what is fitted."""
    host_curve: str | None = None
    host_reference_ohm: float | None = None
    rounding_c: float = 0.01
    """Step to which the host rounds the degrees it sends, °C."""

    @property
    def strapped(self) -> int:
        """Wire count that the board is set for."""
        return self.strapped_for or self.wires

    @property
    def element_curve(self) -> Curve:
        return CURVES[self.curve]

    @property
    def believed_r0_ohm(self) -> float:
        return self.host_r0_ohm if self.host_r0_ohm is not None else self.r0_ohm

    @property
    def believed_reference_ohm(self) -> float:
        if self.host_reference_ohm is not None:
            return self.host_reference_ohm
        return self.reference_ohm

    @property
    def believed_curve(self) -> Curve:
        return CURVES[self.host_curve or self.curve]

    @property
    def step_ohm(self) -> float:
        """One code in Ω."""
        return step_ohm(self.reference_ohm, self.bits)

    def knows(self, *keys: str) -> bool:
        """Whether all these facts were told."""
        return self.told is None or set(keys) <= set(self.told)


EXAMPLE = Chain()
"""The chain of the simulated printer: a two-wire Pt100, 402 Ω (E96), 16 bits."""
UNTOLD = Chain(told=())
"""A chain of which nothing was told. Its values stand for nothing."""
FEWEST_BITS, MOST_BITS = 8, 24
"""Of converters for platinum sensors (common practice)."""
SCALE = ("r0_ohm", "reference_ohm", "bits")
"""The facts that turn a code into Ω and degrees."""

_POSITIVE = {
    "r0_ohm": 1e6,
    "lead_mm2": 100.0,
    "lead_ohm_per_m": 1e4,
    "reference_ohm": 1e7,
    "bias_v": 100.0,
    "insulation_mohm": 1e6,
    "span_high_ohm": 1e6,
    "period_ms": 1e5,
    "conversion_ms": 1e4,
    "mains_hz": 400.0,
    "host_r0_ohm": 1e6,
    "host_reference_ohm": 1e7,
}
_NOT_NEGATIVE = {
    "lead_m": 1000.0,
    "contact_ohm": 1e4,
    "capacitance_nf": 1e6,
    "reference_tolerance": 1.0,
    "bus_m": 1000.0,
    "self_heating_k_per_mw": 100.0,
    "lead_mismatch": 1.0,
    "element_drift_k": 100.0,
    "hysteresis_k": 100.0,
    "series_ohm": 1e6,
    "span_low_ohm": 1e6,
    "offset_of_scale": 1.0,
    "gain_error": 1.0,
    "inl_of_scale": 1.0,
    "reference_ppm_per_k": 1e4,
    "noise_codes": 1e4,
    "wait_ms": 1e4,
    "rounding_c": 10.0,
}


def check_chain(chain: Chain) -> None:
    """Raise ValueError when a fact is impossible; it begins with the key and names the bound."""
    for key, high in (_POSITIVE | _NOT_NEGATIVE).items():
        value = getattr(chain, key)
        if value is None or (0.0 < value <= high) or (value == 0.0 and key in _NOT_NEGATIVE):
            continue
        low = "0 or more" if key in _NOT_NEGATIVE else "more than 0"
        raise ValueError(f"{key} is {value:g}; it must be {low} and at most {high:g}")
    if not chain.span_low_ohm < chain.span_high_ohm:
        bound = f"it must be more than span_low_ohm, {chain.span_low_ohm:g}"
        raise ValueError(f"span_high_ohm is {chain.span_high_ohm:g}; {bound}")
    whole = (("bits", FEWEST_BITS, MOST_BITS), ("lead_awg", 0, 50), ("averages", 1, 10_000))
    for key, low_, high_ in whole:
        value = getattr(chain, key)
        if value is not None and not low_ <= value <= high_:
            raise ValueError(f"{key} is {value}; it must be {low_} to {high_}")
    for key in ("curve", "host_curve"):
        name = getattr(chain, key)
        if name is not None and name not in CURVES:
            raise ValueError(f"{key} is '{name}'; it must be one of {', '.join(CURVES)}")
