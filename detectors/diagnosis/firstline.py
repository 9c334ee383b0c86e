"""What comes first: a line for each cause, and the lines that stop the heat.

Low is the dangerous way: a loop that follows a reading below the truth heats too far, and a
heater that is on by itself obeys nobody. Such a finding leads every headline.
"""

from collections.abc import Sequence

from detectors.diagnosis.case import number
from detectors.diagnosis.causes import SWITCH_OFF
from shared.events import Event, RankedCause
from shared.kinds import KINDS, Shape
from shared.words import Cause, Kind

PULL_THE_PLUG = "pull the plug now, a command does not help, do not heat again"

FALLS = 3
"""Downward jumps from which on they are repeated: one or two may be noise. Judgement."""
MOSTLY = 0.5
LOW_K = 5.0
"""A reading that is so far below the others at rest is farther below when it is hot."""
SEATED_OUT = 0.5
"""Probability from which on a sensor is taken to be out of its seat."""


def stop_line(events: Sequence[Event], leading: RankedCause | None = None) -> str:
    """What must be done at once for one channel's events and its first cause; often nothing."""
    if any(event.kind is Kind.RISE_UNPOWERED for event in events):
        return PULL_THE_PLUG
    out_of_seat = (
        leading is not None
        and leading.cause is Cause.SENSOR_SEATING
        and leading.probability >= SEATED_OUT
    )
    against_power = any(
        event.kind is Kind.NO_RISE
        or (event.kind is Kind.DRIFT and (number(event, "power_excess") or 0.0) > 0.0)
        for event in events
    )
    if out_of_seat or against_power or _falls(events) or _reads_low(events):
        return SWITCH_OFF
    return ""


def _reads_low(events: Sequence[Event]) -> bool:
    """Whether it stands at the lower end, comes there again and again, or reads low at rest."""
    return any(
        (event.kind is Kind.CODE_LOW and (event.is_active or event.count >= FALLS))
        or (event.kind is Kind.OFFSET_COLD and (number(event, "offset_c") or 0.0) <= -LOW_K)
        for event in events
    )


def _falls(events: Sequence[Event]) -> bool:
    """Whether jumps come again and again, and mostly downward."""
    fell = all_ = 0.0
    for event in events:
        spec = KINDS[event.kind]
        if spec.shape is Shape.JUMP and spec.may_read_low:
            share = number(event, "positive_share")
            down = float(event.value < 0.0) if share is None else 1.0 - share
            fell += event.count * down
            all_ += event.count
    return fell >= FALLS and fell > MOSTLY * all_
