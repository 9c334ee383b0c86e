"""What a multimeter reads between each two terminals of a sensor's plug.

With leads of L each and an element of R, joined at ends A and B:

    wires  pairs of one end   pairs across the element
    2      none               A–B            R + 2 L
    3      A–A' 2 L           A–B, A'–B      R + 2 L
    4      A–A', B–B' 2 L     the four A–B   R + 2 L

A meter's own error comes on top: its probes (short them and subtract), and what its maker
states, such as 0.8 % and 3 digits, usual for a hand-held one of 4000 counts (common practice).
"""

from dataclasses import dataclass

from shared import platinum
from shared.chain import Chain
from shared.leads import path_ohm

PAIRS: dict[int, tuple[tuple[str, bool], ...]] = {
    2: (("A-B", True),),
    3: (("A-A'", False), ("A-B", True), ("A'-B", True)),
    4: (
        ("A-A'", False),
        ("B-B'", False),
        ("A-B", True),
        ("A-B'", True),
        ("A'-B", True),
        ("A'-B'", True),
    ),
}
"""Pairs of terminals by wire count, and whether the element lies between them."""
METER_PART, METER_DIGITS = 0.008, 3
COUNTS = 4000
"""A range of 400 Ω steps by 0.1 Ω, one of 4 kΩ by 1 Ω."""


@dataclass(frozen=True, slots=True)
class Pair:
    """One pair of terminals: ohms expected, and the half width of a meter's error, Ω."""

    name: str
    ohm: float
    meter_ohm: float


def across_ohm(chain: Chain, temperature_c: float, copper_c: float = 25.0) -> float:
    """Ω across the element at the plug, both leads in."""
    element = platinum.ohms(temperature_c, chain.r0_ohm, chain.element_curve)
    return element + 2.0 * path_ohm(chain, copper_c)


def pairs_of(chain: Chain, temperature_c: float, copper_c: float = 25.0) -> list[Pair]:
    """Every pair of terminals of a sensor's plug."""
    across = across_ohm(chain, temperature_c, copper_c)
    same = 2.0 * path_ohm(chain, copper_c)
    found = []
    for name, holds_element in PAIRS[chain.wires]:
        ohm = across if holds_element else same
        found.append(Pair(name, ohm, meter_error_ohm(ohm)))
    return found


def meter_error_ohm(ohm: float, part: float = METER_PART, digits: int = METER_DIGITS) -> float:
    """Half width of a meter's error at a reading, Ω, in its lowest range that holds it."""
    step = 0.1
    while ohm >= COUNTS * step:
        step *= 10.0
    return part * ohm + digits * step
