"""Facts on a reading at an end of its range: open, shorted, silent, or another element's.

Which end an open lead reads at is the circuit's to say, see `ways.py`.
"""

import math
from collections.abc import Iterator, Sequence

from detectors.diagnosis.case import Case, Fact, duration_s, number, times
from detectors.diagnosis.ways import is_empty, open_at_low, ways_of
from detectors.scale import is_end_shaped
from shared.circuit import HIGHEST
from shared.events import Event
from shared.kinds import Shape
from shared.words import Kind

LASTING_S = 30.0
"""An open or short longer than this is a state, not a moment."""
TENTH = (0.095, 0.186)
"""A tenth of R/R0 between 0 °C, less some, and the lower end of the curve: no short has so much."""
TENTH_C = (-227.0, -200.0)
"""The same in °C: R/R0 of 0.1 is −220 or −223 °C, by the curve's whole formula or its quadratic
alone (computed); a short of a few Ω lies below −230."""
NO_LEAP = 0.1
"""Part of a reading by which heat may move it from one reading to the next, with room."""
TEN = 9.5
"""R/R0 that no platinum has, and ten times what it has from 0 °C on, less some."""


def rails(case: Case) -> Iterator[Fact]:
    high, low = case.of(Kind.CODE_HIGH), case.of(Kind.CODE_LOW)
    if tens := by_ten(case):
        yield from tens
        return
    parted = open_at_low(case)
    yield from _end(high, "open", "upper", 1.0)
    few = ways_of(case.chain).share_low
    if high and few:
        yield Fact("open-at-upper-end", "at the upper end, where few leads read open", few)
    yield from _end(low, "open", "lower", parted)
    yield from _end(low, "short", "lower", 1.0 - parted)
    if parted and is_empty(case):
        yield Fact("empty-terminal", "low and open at once, which no lead of two wires does")
    elif parted:
        yield Fact("open-at-low-end", "low and open at once: no current in the element", parted)
    if parted < 1.0:
        yield from _dead(low, 1.0 - parted)
    if high and low:
        yield Fact("both-ends", "the code goes to its upper and to its lower end")


def _end(events: Sequence[Event], name: str, end: str, weight: float) -> Iterator[Fact]:
    """What a code at an end says, as far as it is that of an open, or of a shorted, input."""
    if weight == 0.0:
        return
    what = "open" if name == "open" else "shorted"
    moments = 0
    for event in events:
        lasting = _lasting(event, name, what, weight)
        if lasting is None:
            moments += event.count
        else:
            yield lasting
    if moments:
        shown = times(moments, "once", "times")
        words = f"code at its {end} end for moments, {shown}"
        yield Fact(f"{name}-moments", words, weight)


def by_ten(case: Case) -> list[Fact]:
    """Facts on readings that are those of another element, by ten."""
    ends = case.of_shape(Shape.END)
    return [fact for event in ends if (fact := _off_by_ten(case, event)) is not None]


def _off_by_ten(case: Case, event: Event) -> Fact | None:
    """Whether a reading that did not leap beyond the curve is that of another element by ten."""
    ohm, r0_ohm = number(event, "signal"), number(event, "r0_ohm")
    if ohm is None or not r0_ohm:
        return _tenth_of_degrees(event)
    if _leapt(event, ohm):
        return None
    times_r0 = ohm / r0_ohm
    if TENTH[0] <= times_r0 <= TENTH[1]:
        words = f"{ohm:.0f} Ω without a leap to it: about a tenth of what it should be"
        return Fact("a-tenth", words)
    chain = case.chain
    if chain is not None and chain.knows("reference_ohm"):
        is_at_end = ohm >= HIGHEST * chain.reference_ohm
    else:
        is_at_end = event.unit == "codes" and is_end_shaped(event.value)
    if times_r0 >= TEN and not is_at_end:
        words = f"{ohm:.0f} Ω without a leap to it: about ten times what it should be"
        return Fact("ten-times", words)
    return None


def _tenth_of_degrees(event: Event) -> Fact | None:
    """The same from degrees, which hosts show beyond the curve as well."""
    degrees = number(event, "celsius")
    if degrees is None or not number(event, "first_reading"):
        return None
    if not TENTH_C[0] <= degrees <= TENTH_C[1]:
        return None
    words = f"{degrees:.0f} °C from the first reading on: about a tenth of the ohms"
    return Fact("a-tenth", words, 0.8)


def _leapt(event: Event, ohm: float) -> bool:
    """Whether it came from elsewhere, as leads do that part: heat passes a limit slowly."""
    before = number(event, "before")
    if number(event, "first_reading") or before is None:
        return not number(event, "first_reading")
    return abs(before - ohm) > NO_LEAP * max(abs(ohm), abs(before))


def _dead(low: Sequence[Event], weight: float) -> Iterator[Fact]:
    """A shorted element still has some ohms; no answer at all reads as zeros."""
    # Degrees do not tell zero from a few ohms.
    told = [abs(event.value) for event in low if event.unit != "°C"]
    most = max(told, default=math.nan)
    if most > 0.0:
        shown = times(sum(event.count for event in low), "its low code", "low codes")
        words = f"{shown} above zero: a converter that still measures"
        yield Fact("low-but-alive", words, weight)
    elif most == 0.0:
        yield Fact("exactly-zero", "exactly zero, as when nobody answers", weight)


def _lasting(event: Event, name: str, what: str, weight: float) -> Fact | None:
    if number(event, "first_reading"):
        return Fact(f"{name}-from-first", f"{what} from the first reading on", weight)
    if event.count == 1 and duration_s(event) >= LASTING_S:
        return Fact(f"{name}-lasting", f"{what} all the time since it began", weight)
    if event.count == 1 and event.end_s is None:
        return Fact(f"{name}-lasting", f"{what} since it began", 0.7 * weight)
    return None
