"""What fits a converter's code range, what one step is worth, and what wrong settings show."""

import math
from dataclasses import dataclass

import msgspec

from shared import platinum
from shared.chain import Chain
from shared.converter import REFERENCES, code_of
from shared.inputs import ohm_of_scale, part_of_scale, step_ohm_at
from shared.leads import read_ohm
from shared.platinum import CURVES, HIGHEST_C, LOWEST_C


@dataclass(frozen=True, slots=True)
class Reach:
    """Temperatures that a chain can tell, and what ends them."""

    lowest_c: float
    highest_c: float
    lowest_code: int
    highest_code: int
    ended_by: str
    """`curve` when the whole curve fits, `code` when the code saturates before."""


def element_ohm(chain: Chain, temperature_c: float) -> float:
    """Resistance of the fitted element at a temperature, Ω."""
    return platinum.ohms(temperature_c, chain.r0_ohm, chain.element_curve)


def code_at(
    chain: Chain, temperature_c: float, copper_c: float = 25.0, bridged: bool = False
) -> int:
    """Code that the converter gives at a temperature; leads included."""
    seen = read_ohm(chain, element_ohm(chain, temperature_c), copper_c, bridged=bridged)
    return code_of(part_of_scale(chain, seen), 1.0, chain.bits)


def shown_c(chain: Chain, seen_ohm: float) -> float:
    """What the host shows, by its own settings, when the converter sees this resistance, °C.

    Not rounded to codes. NaN beyond the curve.
    """
    believed = ohm_of_scale(chain, part_of_scale(chain, seen_ohm), chain.believed_reference_ohm)
    return platinum.celsius(believed, chain.believed_r0_ohm, chain.believed_curve)


def step_c(chain: Chain, temperature_c: float) -> float:
    """What one code is worth in degrees at a temperature, K."""
    step = step_ohm_at(chain, element_ohm(chain, temperature_c))
    return step / chain.r0_ohm / platinum.slope(temperature_c, chain.element_curve)


def reach(chain: Chain, copper_c: float = 25.0, bridged: bool = False) -> Reach:
    """Range of the chain: the curve's, or less where the code saturates first.

    `highest_c` is NaN when nothing is in range (an input hangs open).
    """
    top_code = (1 << chain.bits) - 1
    top = ohm_of_scale(chain, top_code / (1 << chain.bits), chain.reference_ohm)
    bottom = ohm_of_scale(chain, 0.0, chain.reference_ohm)
    lead_share = read_ohm(chain, 0.0, copper_c, bridged=bridged)
    lowest, highest = LOWEST_C, HIGHEST_C
    ended_by = "curve"
    if element_ohm(chain, LOWEST_C) + lead_share < bottom:
        lowest = platinum.celsius(bottom - lead_share, chain.r0_ohm, chain.element_curve)
    if element_ohm(chain, HIGHEST_C) + lead_share > top:
        ended_by = "code"
        highest = platinum.celsius(top - lead_share, chain.r0_ohm, chain.element_curve)
    return Reach(
        lowest_c=lowest,
        highest_c=highest,
        lowest_code=0 if math.isnan(lowest) else code_at(chain, lowest, copper_c, bridged),
        highest_code=(
            top_code if math.isnan(highest) else code_at(chain, highest, copper_c, bridged)
        ),
        ended_by=ended_by,
    )


@dataclass(frozen=True, slots=True)
class Misreading:
    """What would be shown at given true temperatures if one fact were another."""

    what: str
    key: str
    value: float | str
    shown_c: tuple[float, ...]
    """One per temperature asked for; NaN where the host could show none."""


def wrong_settings(chain: Chain, temperatures_c: tuple[float, ...]) -> tuple[Misreading, ...]:
    """What the host would show of this element and reference under other settings.

    The settings tried are the other curves, the standard references about four times R0, and ten
    times or a tenth of R0. Leads are left out, so only the setting shows.
    """
    trials: list[tuple[str, str, float | str]] = [
        (f"curve {name}", "host_curve", name) for name in CURVES if name != chain.curve
    ]
    for times in REFERENCES:
        ohm = times * chain.r0_ohm
        if not math.isclose(ohm, chain.reference_ohm, rel_tol=0.005):
            trials.append((f"reference {ohm:g} Ω", "host_reference_ohm", ohm))
    tenfold = (chain.r0_ohm / 10.0, chain.r0_ohm * 10.0)
    trials.extend((f"R0 {r0:g} Ω", "host_r0_ohm", r0) for r0 in tenfold)
    found = []
    for what, key, value in trials:
        wrong = msgspec.structs.replace(chain, **{key: value})
        shown = tuple(shown_c(wrong, element_ohm(chain, each)) for each in temperatures_c)
        found.append(Misreading(what, key, value, shown))
    return tuple(found)


def other_straps(
    chain: Chain, temperatures_c: tuple[float, ...], copper_c: float = 25.0, bridged: bool = False
) -> tuple[Misreading, ...]:
    """What would be shown with the board set for two, three or four wires."""
    found = []
    for count in (2, 3, 4):
        other = msgspec.structs.replace(chain, strapped_for=count)
        shown = tuple(
            shown_c(other, read_ohm(other, element_ohm(chain, each), copper_c, bridged=bridged))
            for each in temperatures_c
        )
        found.append(Misreading(f"set for {count} wires", "strapped_for", count, shown))
    return tuple(found)
