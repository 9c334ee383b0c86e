"""Words of checks that come from the chain: which capacitor, how many ohms, which share.

Nothing is guessed: where the chain does not tell what a figure needs, there is none.
"""

import math

from detectors.diagnosis.table import Blank
from shared import platinum
from shared.budget import Conditions, filter_at
from shared.chain import Chain
from shared.leads import share_read
from shared.terminals import across_ohm

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
_LEADS = ("wires", "lead_m")


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
    low = max(least_nf - there, there)
    high = most_nf / SPARE - there
    sold = [n for n in _sold() if low <= n <= high]
    return (sold[0], sold[-1]) if sold else None


def _sold() -> list[float]:
    return [value * 10.0**decade for decade in range(-2, 5) for value in E6]


def _capacitance(chain: Chain) -> str | None:
    pair = added_nf(chain)
    if pair is None:
        return None
    low, high = pair
    return f"{low:g} nF more" if low == high else f"{low:g} to {high:g} nF more"


def _cold_ohms(chain: Chain) -> str | None:
    if not chain.knows("r0_ohm"):
        return None
    low, high = (platinum.ohms(at, chain.r0_ohm, chain.element_curve) for at in ROOM_C)
    if not chain.knows(*_LEADS):
        return f"{low:.0f} to {high:.0f} Ω at 20 to 25 °C, and what the leads have"
    low, high = (across_ohm(chain, at) for at in ROOM_C)
    return f"{low:.1f} to {high:.1f} Ω at 20 to 25 °C, leads and all"


def _resistors(chain: Chain) -> str | None:
    if not chain.knows("r0_ohm"):
        return None
    one, or_, then = (part * chain.r0_ohm for part in RESISTORS)
    return f"{one:g} or {or_:g} Ω, then {then:g} Ω,"


def _share(chain: Chain) -> str | None:
    """By how much of what a pair of leads reads, the converter's reading is off."""
    if not chain.knows("wires"):
        return None
    if chain.wires == 2:
        return "Two wires have no such pair: take both leads from length and gauge."
    share, _ = share_read(chain)
    if math.isinf(share):
        return None
    if share == 0.0:
        return "This board subtracts it: only what two leads differ by counts."
    return f"The reading should be off by {0.5 * share:g} times that."


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
