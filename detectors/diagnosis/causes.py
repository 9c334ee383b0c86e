"""Priors: how often each cause is behind a fault, and what the chain's facts do to that."""

from detectors.diagnosis.table import (
    PHYSICS,
    TRADE,
    ChainSign,
    Modifier,
    Prior,
)
from shared.filters import CHOPPER_HZ, corner_of
from shared.words import Cause

PRIORS = (
    Prior(Cause.LOOSE_CONNECTION, 16, "screw terminals and crimps are the usual weak spot"),
    Prior(Cause.BROKEN_LEAD, 9, "thin leads bend with every move"),
    Prior(Cause.INPUT_FILTER, 8, "boards come with little capacitance", TRADE),
    Prior(Cause.CABLE_PICKUP, 7, "sensor leads run beside motor leads, unscreened", TRADE),
    Prior(Cause.BUS_WIRING, 6, "only where the converter hangs on loose wires", TRADE),
    Prior(Cause.SENSOR_SEATING, 6, "a sensor held by friction works its way out"),
    Prior(Cause.HEATER_CIRCUIT, 5, "heater leads and their switch wear as well"),
    Prior(Cause.SETTLING_AFTER_RESTART, 5, "seen after many restarts, harmless", TRADE),
    Prior(Cause.NETWORK, 5, "wireless links drop"),
    Prior(Cause.SENSOR_FAILED, 5, "elements are robust; heat and bending still end some"),
    Prior(Cause.LEAD_RESISTANCE, 5, "two wires are the usual fit", TRADE),
    Prior(Cause.WIRE_COUNT_SETTING, 4, "straps are easily overlooked", TRADE),
    Prior(Cause.HOST_LOAD, 4, "small computers also do other work"),
    Prior(Cause.SUPPLY, 4, "a weak supply shows on several channels"),
    Prior(Cause.REFERENCE_SETTING, 3, "boards differ in their reference", TRADE),
    Prior(Cause.GROUND_LOOP, 3, "needs a screen or sensor that touches the frame"),
    Prior(Cause.MAINS_PICKUP, 3, "converters reject the mains when set for it"),
    Prior(Cause.CURVE_SETTING, 2, "other curves are rare"),
    Prior(None, 6, "there are faults that this table does not know"),
)
"""Relative weights; they are brought to a sum of 1."""

SMALL_FILTER_HZ = corner_of(CHOPPER_HZ[0], 0.4)
LARGE_FILTER_HZ = corner_of(CHOPPER_HZ[0], 1.0 / 3.0)
"""Corners above and below which an input filter is small or large: it lets more than 40 % of
20 kHz through (judgement), or a third, which `shared.filters.capacitance_range` asks for."""
PT100_OHM = 100.0
LONG_CABLE_M = 0.8

CHAIN_SIGNS = {
    sign.name: sign
    for sign in (
        ChainSign(
            "bus-flying",
            (Modifier(Cause.BUS_WIRING, 6.0, "the bus dislikes long flying leads", TRADE),),
        ),
        ChainSign(
            "bus-plugged",
            (Modifier(Cause.BUS_WIRING, 0.5, "a board that plugs in does better", TRADE),),
        ),
        ChainSign(
            "two-wires",
            (
                Modifier(Cause.LEAD_RESISTANCE, 2.5, "nothing subtracts the leads", PHYSICS),
                Modifier(Cause.WIRE_COUNT_SETTING, 1.5, "straps may expect three", TRADE),
            ),
        ),
        ChainSign(
            "leads-cancelled",
            (
                Modifier(Cause.LEAD_RESISTANCE, 0.15, "the converter subtracts them", PHYSICS),
                Modifier(Cause.WIRE_COUNT_SETTING, 1.5, "if the straps are set for it", TRADE),
            ),
        ),
        ChainSign(
            "strapped-otherwise",
            (Modifier(Cause.WIRE_COUNT_SETTING, 20.0, "it reads wrong or not at all", TRADE),),
        ),
        ChainSign(
            "host-reference-differs",
            (Modifier(Cause.REFERENCE_SETTING, 20.0, "readings scale with it", PHYSICS),),
        ),
        ChainSign(
            "host-curve-differs",
            (Modifier(Cause.CURVE_SETTING, 20.0, "degrees follow the curve", PHYSICS),),
        ),
        ChainSign(
            "cable-moves",
            (
                Modifier(Cause.BROKEN_LEAD, 1.5, "bending breaks strands"),
                Modifier(Cause.LOOSE_CONNECTION, 1.3, "pulling works terminals loose"),
            ),
        ),
        ChainSign(
            "cable-still",
            (Modifier(Cause.BROKEN_LEAD, 0.4, "nothing bends it"),),
        ),
        ChainSign(
            "unscreened-long",
            (Modifier(Cause.CABLE_PICKUP, 1.6, "nothing keeps the field out", TRADE),),
        ),
        ChainSign(
            "unscreened-heavy",
            (Modifier(Cause.CABLE_PICKUP, 1.6, "a long way beside motor leads", TRADE),),
        ),
        ChainSign(
            "screened",
            (
                Modifier(Cause.CABLE_PICKUP, 0.4, "the screen keeps the field out"),
                Modifier(Cause.GROUND_LOOP, 4.0, "a screen joined at both ends is a loop"),
            ),
        ),
        ChainSign(
            "small-filter",
            (Modifier(Cause.INPUT_FILTER, 2.5, "more capacitance cures such noise", TRADE),),
        ),
        ChainSign(
            "large-filter",
            (Modifier(Cause.INPUT_FILTER, 0.2, "the inputs have capacitance enough", TRADE),),
        ),
    )
}
