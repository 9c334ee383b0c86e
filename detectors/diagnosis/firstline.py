"""What comes first: a line for each cause, and the lines that stop the heat.

Low is the dangerous way: a loop that follows a reading below the truth heats too far, and a
heater that is on by itself obeys nobody. Such a finding leads every headline.
"""

from collections.abc import Mapping, Sequence

from detectors.diagnosis.case import number
from detectors.diagnosis.checks import MAINS, OFF
from shared.events import Event, RankedCause
from shared.kinds import KINDS, Shape
from shared.words import Cause, Kind

PULL_THE_PLUG = "pull the plug now, a command does not help, do not heat again"
SWITCH_OFF = "switch the heater off"

FALLS = 3
"""Downward jumps from which on they are repeated: one or two may be noise. Judgement."""
MOSTLY = 0.5
LOW_K = 5.0
"""A reading that is so far below the others at rest is farther below when it is hot."""
SEATED_OUT = 0.5
"""Probability from which on a sensor is taken to be out of its seat."""

FIRST_LINES: Mapping[Cause, tuple[str, str]] = {
    Cause.HEATER_CIRCUIT: (
        "if it is on by itself pull the plug, else switch it off; no heat before leads and switch "
        "were looked at",
        f"Burning. {OFF} {MAINS}",
    ),
    Cause.SENSOR_SEATING: (
        f"{SWITCH_OFF}: out of its bore it reads low, and the block glows",
        f"Burning, and a block that stays hot for many minutes. {OFF}",
    ),
    Cause.LOOSE_CONNECTION: (
        f"{SWITCH_OFF} where the reading falls; find the contact first",
        f"A board is near mains in many machines. {OFF}",
    ),
    Cause.BROKEN_LEAD: (
        "measure the lead before you bend it: bending may close the break",
        OFF,
    ),
    Cause.SENSOR_FAILED: (
        f"{SWITCH_OFF}: no loop can follow this sensor",
        f"Replacing it is work on a block that may be hot. {OFF}",
    ),
    Cause.WIRE_COUNT_SETTING: (
        "do not heat before the straps fit the wires: the reading may be low",
        OFF,
    ),
    Cause.REFERENCE_SETTING: (
        "do not heat before setting and resistor agree: it may read low",
        "A wrong setting heats without a fault in sight. Watch the next heat-up from beside it.",
    ),
    Cause.CURVE_SETTING: (
        "do not heat before element and setting agree: it may read far too low",
        "A wrong setting heats without a fault in sight. Watch the next heat-up from beside it.",
    ),
    Cause.LEAD_RESISTANCE: (
        "reckon the leads with `ohmvigil budget`: they make it read too high",
        f"A correction that is too large overheats. {OFF}",
    ),
    Cause.INPUT_FILTER: (
        "see with `ohmvigil budget` what capacitance this chain allows",
        f"Too much makes it read low and overheat: watch the first heat-up. {OFF}",
    ),
    Cause.CABLE_PICKUP: ("lead the sensor's cable away from motor and heater leads", OFF),
    Cause.GROUND_LOOP: (
        "leave protective earth as it is; look at screen and bare sensor leads",
        f"Earth on a heated bed saves lives. {OFF} {MAINS}",
    ),
    Cause.MAINS_PICKUP: (
        "look at the mains setting, then for a mains lead beside the sensor's",
        MAINS,
    ),
    Cause.BUS_WIRING: (
        "look at the wires from converter to controller, unplugged, ground first",
        OFF,
    ),
    Cause.SUPPLY: (
        "look at the low-voltage plugs of the supply, unplugged",
        f"The supply's other side is mains. {MAINS}",
    ),
    Cause.SETTLING_AFTER_RESTART: (
        "wait a minute, and heat only once the reading is right",
        "What has not settled in a minute is a fault.",
    ),
    Cause.HOST_LOAD: (
        "see what else the host does",
        "A machine whose host stalls goes on heating: stay beside it.",
    ),
    Cause.NETWORK: (
        "look at the link: while it is down nothing is watched",
        "Silence is no all-clear: stay beside a machine that heats.",
    ),
}
"""For each cause, what comes first, and what can hurt."""


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
