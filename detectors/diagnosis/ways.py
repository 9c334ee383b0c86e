"""What contacts and breaks of a sensor's leads can do to its reading, by its circuit.

Two wires: a contact adds ohms, a break reads at the upper end. Three: a contact in the lead
whose drop is subtracted takes ohms away, and a current lead that parts reads at the lower
end, with `open` and `low` together. Four: a contact does nothing, and a current lead that
parts reads at the lower end. `shared.circuit` works it out.
"""

from dataclasses import dataclass

from detectors.diagnosis.case import Case, number, word
from shared.chain import Chain
from shared.circuit import contacts_of
from shared.events import Event
from shared.words import Kind

UNTOLD = 0.5
"""Weight of what only three or four wires do, where nobody told how many there are. Judgement;
two are the usual fit (common practice)."""
UNFLAGGED = 0.3
"""Part of a low end that is taken for a parted lead where no flag tells. Judgement."""

ZERO, ZERO_CODES = 1e-3, 3.0
"""R/R0, and codes, up to which a reading is 0 with noise; a short inside has more. Judgement."""


@dataclass(frozen=True, slots=True)
class Ways:
    """How far each is possible, 0…1."""

    raises: float
    """Ohms in a lead read higher."""
    lowers: float
    """Ohms in a lead read lower."""
    opens_low: float
    """A lead that parts reads at the lower end."""
    share_low: float = 0.0
    """Part of the leads that read so; 0 where nobody told."""


def ways_of(chain: Chain | None) -> Ways:
    """What this chain's leads can do."""
    if chain is None or not chain.knows("wires"):
        return Ways(1.0, UNTOLD, UNTOLD)
    found = contacts_of(chain.wires, chain.excitation, chain.strapped)
    return Ways(
        float(found.raises), float(found.lowers), float(found.share_low > 0.0), found.share_low
    )


def open_at_low(case: Case) -> float:
    """How far a code at its lower end is an open input, 0…1."""
    low = case.of(Kind.CODE_LOW)
    if not low or case.of(Kind.CODE_HIGH):
        return 0.0
    flags = case.of(Kind.CONVERTER_FLAG)
    is_told = any("open" in word(event, "flags") for event in flags)
    if flags and not is_told:
        return 0.0
    if is_told and is_empty(case):
        return 1.0
    part = 1.0 if is_told else UNFLAGGED * all(_is_zero(event) for event in low)
    return ways_of(case.chain).opens_low * part


def _is_zero(event: Event) -> bool:
    """Whether nothing is left but the converter's noise, as without a current."""
    ohm, r0_ohm = number(event, "signal"), number(event, "r0_ohm")
    if ohm is not None and r0_ohm:
        return abs(ohm) <= ZERO * r0_ohm
    return event.unit == "codes" and abs(event.value) <= ZERO_CODES


def is_empty(case: Case) -> bool:
    """Whether no lead can read so: from the first reading on, that is an empty terminal."""
    first = any(number(event, "first_reading") for event in case.of(Kind.CODE_LOW))
    return first and not ways_of(case.chain).opens_low
