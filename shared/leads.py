"""Copper leads, and what a converter reads of an element through them.

Resistance of copper: round copper wire by gauge (d = 0.127 mm · 92^((36−n)/39),
ρ = 0.017241 Ω·mm²/m at 20 °C, the annealed copper standard IEC 60028) or the
highest resistance that IEC 60228 allows a plain class 5 conductor.

Which drop a wire count cancels, with a lead (and its contact) of L at end A of the
element, and L + m at end B:

    fitted  set for 2     set for 3            set for 4
    2       2 L + m       open, or 2 L + m     open, or 2 L + m
    3       1.5 L + m     m                    open, or L + m
    4       L + m/2       −L/2 + m/2           0

`shared.circuit` gives it, for any way of excitation. Set for three, the converter subtracts
the drop of a lead at end A from what it senses; that stands for the lead at end B as long
as both are alike. "Open" holds while the terminals without a wire are empty; the second
value when they are bridged to their neighbour. Wires beyond the count set for share a
terminal.
"""

import math

from shared.chain import Chain
from shared.circuit import Inputs, shares

COPPER_OHM_MM2_PER_M = 0.017241
COPPER_PER_K = 0.00393
"""Relative change of copper's resistance per kelvin, about 20 °C."""
COPPER_REFERENCE_C = 20.0

CLASS_5_OHM_PER_KM = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98}
"""IEC 60228, class 5, plain copper: highest Ω/km at 20 °C by nominal section in mm²."""
_CLASS_5_OHM_MM2_PER_KM = 19.5
"""What the small sections of class 5 share; used for sections that are not listed."""

OPEN_OHM = math.inf
"""What `read_ohm` gives when an input hangs open: no defined reading, beyond any code."""


def awg_diameter_mm(gauge: float) -> float:
    """Diameter of a round wire of this gauge, mm (0 is gauge 1/0, −1 is 2/0)."""
    return float(0.127 * 92.0 ** ((36.0 - gauge) / 39.0))


def awg_ohm_per_m(gauge: float) -> float:
    """Resistance of a round copper wire at 20 °C, Ω/m."""
    return COPPER_OHM_MM2_PER_M / (math.pi / 4.0 * awg_diameter_mm(gauge) ** 2)


def section_ohm_per_m(section_mm2: float) -> float:
    """Highest resistance of a class 5 conductor at 20 °C, Ω/m, by nominal section."""
    listed = CLASS_5_OHM_PER_KM.get(section_mm2, _CLASS_5_OHM_MM2_PER_KM / section_mm2)
    return listed / 1000.0


def at_copper_c(ohm_at_20: float, copper_c: float) -> float:
    """A copper resistance that was given at 20 °C, at another temperature."""
    return ohm_at_20 * (1.0 + COPPER_PER_K * (copper_c - COPPER_REFERENCE_C))


def lead_ohm_per_m(chain: Chain) -> float:
    """Resistance of one lead at 20 °C, Ω/m: the chain's own figure, section, or gauge."""
    if chain.lead_ohm_per_m is not None:
        return chain.lead_ohm_per_m
    if chain.lead_mm2 is not None:
        return section_ohm_per_m(chain.lead_mm2)
    return awg_ohm_per_m(chain.lead_awg) if chain.lead_awg is not None else 0.0


def lead_ohm(chain: Chain, copper_c: float = 25.0) -> float:
    """Resistance of one lead's copper, one way, Ω, without its contact."""
    return at_copper_c(lead_ohm_per_m(chain) * chain.lead_m, copper_c)


def path_ohm(chain: Chain, copper_c: float = 25.0) -> float:
    """Resistance of one lead and its contact, Ω."""
    return lead_ohm(chain, copper_c) + chain.contact_ohm


def share_read(chain: Chain, bridged: bool = False) -> tuple[float, float]:
    """How much of a lead's L, and of its mismatch m, stays in the reading.

    See the table above; (inf, 0) when an input hangs open. `bridged` says that
    terminals without a wire are bridged to their neighbour.
    """
    found = shares(Inputs(chain.wires, chain.strapped, chain.excitation, bridged))
    return (OPEN_OHM, 0.0) if found is None else found


def read_ohm(
    chain: Chain,
    element_ohm: float,
    copper_c: float = 25.0,
    mismatch_ohm: float = 0.0,
    bridged: bool = False,
) -> float:
    """Resistance in Ω that the converter sees for this element; inf for an open input.

    `mismatch_ohm` is how much a lead at end B, contact included, exceeds one at end A.
    """
    share, share_of_mismatch = share_read(chain, bridged)
    if math.isinf(share):
        return OPEN_OHM
    return element_ohm + share * path_ohm(chain, copper_c) + share_of_mismatch * mismatch_ohm
