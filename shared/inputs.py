"""From a resistance to a part of full scale and back, for the inputs that people have.

With R_ref the chain's `reference_ohm`, and a part p of full scale (code = p · 2^bits):

    reference   the bias drives reference and sensor in series, and the sensor's voltage is
                measured against the reference's:  p = R / R_ref
    divider     R_ref is a pull-up to the supply that is also the measure:  p = R / (R + R_ref)
    amplifier   a board that makes a voltage of `span_low_ohm` … `span_high_ohm`:
                p = (R − low) / (high − low)

The formulas are Ohm's law. `stretch` is the factor by which the reference is larger than its
value; an amplifier's gain is smaller by it.
"""

from typing import TypeVar

from shared.chain import Chain
from shared.updates import Floats

Ohm = TypeVar("Ohm", float, Floats)


def part_of_scale(chain: Chain, ohm: Ohm, stretch: Ohm | float = 1.0) -> Ohm:
    """Part of full scale at a resistance in Ω, not bounded to 0…1; any shape."""
    reference = chain.reference_ohm * stretch
    if chain.input == "divider":
        return ohm / (ohm + reference)
    if chain.input == "amplifier":
        return (ohm / stretch - chain.span_low_ohm) / (chain.span_high_ohm - chain.span_low_ohm)
    return ohm / reference


def ohm_of_scale(chain: Chain, part: Ohm, reference_ohm: float) -> Ohm:
    """Resistance in Ω that a part of full scale stands for, with this reference; any shape."""
    if chain.input == "divider":
        return part * reference_ohm / (1.0 - part)
    if chain.input == "amplifier":
        return chain.span_low_ohm + part * (chain.span_high_ohm - chain.span_low_ohm)
    return part * reference_ohm


def step_ohm_at(chain: Chain, ohm: float) -> float:
    """Ω of one code at a resistance."""
    step = 1.0 / (1 << chain.bits)
    part = part_of_scale(chain, ohm)
    above = ohm_of_scale(chain, part + 0.5 * step, chain.reference_ohm)
    return above - ohm_of_scale(chain, part - 0.5 * step, chain.reference_ohm)
