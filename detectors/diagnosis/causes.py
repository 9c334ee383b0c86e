"""Causes: how often each is behind a fault, what chain facts do to that, what comes first then."""

from msgspec.structs import replace

from detectors.diagnosis.checks import MAINS, OFF
from detectors.diagnosis.table import PHYSICS, TRADE, ChainSign, Weight, blocks
from shared.words import Cause

PRIORS = (
    Weight(Cause.LOOSE_CONNECTION, 16, "screw terminals and crimps are the usual weak spot"),
    Weight(Cause.BROKEN_LEAD, 9, "thin leads bend with every move"),
    Weight(Cause.INPUT_FILTER, 8, "boards come with little capacitance", TRADE),
    Weight(Cause.CABLE_PICKUP, 7, "sensor leads run beside motor leads, unscreened", TRADE),
    Weight(Cause.BUS_WIRING, 6, "only where the converter hangs on loose wires", TRADE),
    Weight(Cause.SENSOR_SEATING, 6, "a sensor held by friction works its way out"),
    Weight(Cause.HEATER_CIRCUIT, 5, "heater leads and their switch wear as well"),
    Weight(Cause.SETTLING_AFTER_RESTART, 5, "seen after many restarts, harmless", TRADE),
    Weight(Cause.NETWORK, 5, "wireless links drop"),
    Weight(Cause.SENSOR_FAILED, 5, "elements are robust; heat and bending still end some"),
    Weight(Cause.LEAD_RESISTANCE, 5, "two wires are the usual fit", TRADE),
    Weight(Cause.WIRE_COUNT_SETTING, 4, "straps are easily overlooked", TRADE),
    Weight(Cause.HOST_LOAD, 4, "small computers also do other work"),
    Weight(Cause.SUPPLY, 4, "a weak supply shows on several channels"),
    Weight(Cause.REFERENCE_SETTING, 3, "boards differ in their reference", TRADE),
    Weight(Cause.GROUND_LOOP, 3, "needs a screen or sensor that touches the frame"),
    Weight(Cause.MAINS_PICKUP, 3, "converters reject the mains when set for it"),
    Weight(Cause.CURVE_SETTING, 2, "other curves are rare"),
    Weight(None, 6, "there are faults that this table does not know"),
)
"""Relative weights; they are brought to a sum of 1."""

_CHAIN: tuple[ChainSign | Weight, ...] = (
    ChainSign("bus-flying"),
    Weight(Cause.BUS_WIRING, 6.0, "the bus dislikes long flying leads", TRADE),
    ChainSign("bus-plugged"),
    Weight(Cause.BUS_WIRING, 0.5, "a board that plugs in does better", TRADE),
    ChainSign("two-wires"),
    Weight(Cause.LEAD_RESISTANCE, 2.5, "nothing subtracts the leads", PHYSICS),
    Weight(Cause.WIRE_COUNT_SETTING, 1.5, "straps may expect three", TRADE),
    ChainSign("leads-cancelled"),
    Weight(Cause.LEAD_RESISTANCE, 0.15, "the converter subtracts them", PHYSICS),
    Weight(Cause.WIRE_COUNT_SETTING, 1.5, "if the straps are set for it", TRADE),
    ChainSign("strapped-otherwise"),
    Weight(Cause.WIRE_COUNT_SETTING, 20.0, "it reads wrong or not at all", TRADE),
    ChainSign("host-reference-differs"),
    Weight(Cause.REFERENCE_SETTING, 20.0, "readings scale with it", PHYSICS),
    ChainSign("host-curve-differs"),
    Weight(Cause.CURVE_SETTING, 20.0, "degrees follow the curve", PHYSICS),
    ChainSign("cable-moves"),
    Weight(Cause.BROKEN_LEAD, 1.5, "bending breaks strands"),
    Weight(Cause.LOOSE_CONNECTION, 1.3, "pulling works terminals loose"),
    ChainSign("cable-still"),
    Weight(Cause.BROKEN_LEAD, 0.4, "nothing bends it"),
    ChainSign("unscreened-long"),
    Weight(Cause.CABLE_PICKUP, 1.6, "nothing keeps the field out", TRADE),
    ChainSign("unscreened-heavy"),
    Weight(Cause.CABLE_PICKUP, 1.6, "a long way beside motor leads", TRADE),
    ChainSign("screened"),
    Weight(Cause.CABLE_PICKUP, 0.4, "the screen keeps the field out"),
    Weight(Cause.GROUND_LOOP, 4.0, "a screen joined at both ends is a loop"),
    ChainSign("small-filter"),
    Weight(Cause.INPUT_FILTER, 2.5, "more capacitance cures such noise", TRADE),
    ChainSign("large-filter"),
    Weight(Cause.INPUT_FILTER, 0.2, "the inputs have capacitance enough", TRADE),
)

CHAIN_SIGNS = {
    sign.name: replace(sign, given=tuple(rows)) for sign, rows in blocks(_CHAIN, ChainSign)
}
"""What each chain fact does to the priors, by its name."""

SWITCH_OFF = "switch the heater off"

_UNSEEN = "A wrong setting heats without a fault in sight. Watch the next heat-up from beside it."

_FIRST = {
    Cause.HEATER_CIRCUIT: "if it is on by itself pull the plug, else switch it off; "
    "no heat before leads and switch were looked at",
    Cause.SENSOR_SEATING: f"{SWITCH_OFF}: out of its bore it reads low, and the block glows",
    Cause.LOOSE_CONNECTION: f"{SWITCH_OFF} where the reading falls; find the contact first",
    Cause.BROKEN_LEAD: "measure the lead before you bend it: bending may close the break",
    Cause.SENSOR_FAILED: f"{SWITCH_OFF}: no loop can follow this sensor",
    Cause.WIRE_COUNT_SETTING: "do not heat before the straps fit the wires: the reading may be low",
    Cause.REFERENCE_SETTING: "do not heat before setting and resistor agree: it may read low",
    Cause.CURVE_SETTING: "do not heat before element and setting agree: it may read far too low",
    Cause.LEAD_RESISTANCE: "reckon the leads with `ohmvigil budget`: they make it read too high",
    Cause.INPUT_FILTER: "see with `ohmvigil budget` what capacitance this chain allows",
    Cause.CABLE_PICKUP: "lead the sensor's cable away from motor and heater leads",
    Cause.GROUND_LOOP: "leave protective earth as it is; look at screen and bare sensor leads",
    Cause.MAINS_PICKUP: "look at the mains setting, then for a mains lead beside the sensor's",
    Cause.BUS_WIRING: "look at the wires from converter to controller, unplugged, ground first",
    Cause.SUPPLY: "look at the low-voltage plugs of the supply, unplugged",
    Cause.SETTLING_AFTER_RESTART: "wait a minute, and heat only once the reading is right",
    Cause.HOST_LOAD: "see what else the host does",
    Cause.NETWORK: "look at the link: while it is down nothing is watched",
}
_HURTS = {
    Cause.HEATER_CIRCUIT: f"Burning. {OFF} {MAINS}",
    Cause.SENSOR_SEATING: f"Burning, and a block that stays hot for many minutes. {OFF}",
    Cause.LOOSE_CONNECTION: f"A board is near mains in many machines. {OFF}",
    Cause.BROKEN_LEAD: OFF,
    Cause.SENSOR_FAILED: f"Replacing it is work on a block that may be hot. {OFF}",
    Cause.WIRE_COUNT_SETTING: OFF,
    Cause.REFERENCE_SETTING: _UNSEEN,
    Cause.CURVE_SETTING: _UNSEEN,
    Cause.LEAD_RESISTANCE: f"A correction that is too large overheats. {OFF}",
    Cause.INPUT_FILTER: f"Too much makes it read low and overheat: watch the first heat-up. {OFF}",
    Cause.CABLE_PICKUP: OFF,
    Cause.GROUND_LOOP: f"Earth on a heated bed saves lives. {OFF} {MAINS}",
    Cause.MAINS_PICKUP: MAINS,
    Cause.BUS_WIRING: OFF,
    Cause.SUPPLY: f"The supply's other side is mains. {MAINS}",
    Cause.SETTLING_AFTER_RESTART: "What has not settled in a minute is a fault.",
    Cause.HOST_LOAD: "A machine whose host stalls goes on heating: stay beside it.",
    Cause.NETWORK: "Silence is no all-clear: stay beside a machine that heats.",
}

FIRST_LINES = {cause: (_FIRST[cause], _HURTS[cause]) for cause in _FIRST}
"""For each cause, what comes first, and what can hurt."""
