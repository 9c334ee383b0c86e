"""Likelihoods: what the reading did. See `table.py` for how to read a row."""

from detectors.diagnosis.table import PHYSICS, TRADE, Family, Given, Sign
from shared.words import Cause

SHAPE = Family.SHAPE

OPEN_AND_SHORT = (
    Sign(
        "open-from-first",
        SHAPE,
        0.005,
        0.03,
        (
            Given(Cause.BROKEN_LEAD, 0.70, "before any good reading: wiring first", TRADE),
            Given(Cause.LOOSE_CONNECTION, 0.35, "a plug not fully home", TRADE),
            Given(Cause.BUS_WIRING, 0.35, "a data line stuck high reads as open", TRADE),
            Given(Cause.WIRE_COUNT_SETTING, 0.60, "empty terminals hang open", PHYSICS),
            Given(Cause.SENSOR_FAILED, 0.30, "an element that has parted"),
            Given(Cause.SUPPLY, 0.15, "a board on the wrong supply reads nonsense", TRADE),
        ),
    ),
    Sign(
        "open-lasting",
        SHAPE,
        0.005,
        0.03,
        (
            Given(Cause.BROKEN_LEAD, 0.60, "a lead that has parted stays open"),
            Given(Cause.LOOSE_CONNECTION, 0.20, "a loose contact closes again"),
            Given(Cause.SENSOR_FAILED, 0.45, "an element that has parted"),
            Given(Cause.BUS_WIRING, 0.12, "a data line stuck high"),
        ),
    ),
    Sign(
        "open-moments",
        SHAPE,
        0.01,
        0.04,
        (
            Given(Cause.LOOSE_CONNECTION, 0.60, "a contact that opens and closes"),
            Given(Cause.BROKEN_LEAD, 0.55, "strands that part and meet"),
            Given(Cause.BUS_WIRING, 0.30, "a data line that errs high"),
            Given(Cause.SENSOR_FAILED, 0.10, "a crack that opens when hot"),
        ),
    ),
    Sign(
        "short-from-first",
        SHAPE,
        0.005,
        0.03,
        (
            Given(Cause.BUS_WIRING, 0.30, "no answer reads as zeros", TRADE),
            Given(Cause.SENSOR_FAILED, 0.50, "an element with an inner short"),
            Given(Cause.SUPPLY, 0.25, "a board without its supply reads nothing", TRADE),
            Given(Cause.BROKEN_LEAD, 0.12, "insulation pinched at assembly"),
            Given(Cause.WIRE_COUNT_SETTING, 0.10, "a strap that joins both inputs"),
        ),
    ),
    Sign(
        "short-lasting",
        SHAPE,
        0.005,
        0.03,
        (
            Given(Cause.SENSOR_FAILED, 0.60, "heat has ended the insulation inside"),
            Given(Cause.BROKEN_LEAD, 0.08, "worn insulation rarely stays in touch"),
            Given(Cause.BUS_WIRING, 0.15, "a data line stuck low"),
            Given(Cause.SUPPLY, 0.10, "a converter without supply"),
        ),
    ),
    Sign(
        "short-moments",
        SHAPE,
        0.01,
        0.04,
        (
            Given(Cause.BUS_WIRING, 0.40, "a data line that errs low"),
            Given(Cause.BROKEN_LEAD, 0.20, "worn insulation that touches"),
            Given(Cause.SENSOR_FAILED, 0.15, "an inner short that comes and goes"),
            Given(Cause.SUPPLY, 0.15, "a converter that loses its supply"),
        ),
    ),
    Sign(
        "low-but-alive",
        SHAPE,
        0.30,
        0.40,
        (
            Given(Cause.SENSOR_FAILED, 0.80, "a short inside still has some ohms", PHYSICS),
            Given(Cause.BROKEN_LEAD, 0.60, "worn leads that touch have some ohms", PHYSICS),
            Given(Cause.BUS_WIRING, 0.05, "no answer reads as zeros", TRADE),
            Given(Cause.SUPPLY, 0.10, "a converter without supply does not answer"),
        ),
    ),
    Sign(
        "exactly-zero",
        SHAPE,
        0.30,
        0.40,
        (
            Given(Cause.BUS_WIRING, 0.85, "no answer reads as zeros", TRADE),
            Given(Cause.SUPPLY, 0.70, "a converter without supply does not answer"),
            Given(Cause.SENSOR_FAILED, 0.10, "a short inside still has some ohms", PHYSICS),
            Given(Cause.BROKEN_LEAD, 0.10, "worn leads that touch have some ohms", PHYSICS),
        ),
    ),
    Sign(
        "both-ends",
        SHAPE,
        0.005,
        0.02,
        (
            Given(Cause.BUS_WIRING, 0.50, "all ones and all zeros come from the bus", PHYSICS),
            Given(Cause.SUPPLY, 0.12, "a converter that restarts"),
        ),
    ),
    Sign(
        "breaks-partial",
        SHAPE,
        0.01,
        0.03,
        (
            Given(Cause.LOOSE_CONNECTION, 0.70, "a worn contact adds ohms"),
            Given(Cause.BROKEN_LEAD, 0.45, "few strands left add ohms"),
            Given(Cause.GROUND_LOOP, 0.45, "a current that switches looks like added ohms"),
            Given(Cause.SENSOR_FAILED, 0.08, "a cracked film adds ohms"),
        ),
    ),
    Sign(
        "breaks-small",
        SHAPE,
        0.20,
        0.30,
        (
            Given(Cause.GROUND_LOOP, 0.80, "a stray current makes few ohms, again and again"),
            Given(Cause.LOOSE_CONNECTION, 0.20, "a worn contact adds many ohms as well"),
            Given(Cause.BROKEN_LEAD, 0.20, "strands that part add many ohms as well"),
        ),
    ),
    Sign(
        "breaks-full",
        SHAPE,
        0.01,
        0.03,
        (
            Given(Cause.BROKEN_LEAD, 0.60, "strands part wholly"),
            Given(Cause.LOOSE_CONNECTION, 0.50, "a terminal lets go"),
            Given(Cause.BUS_WIRING, 0.10, "all ones look like an open input"),
            Given(Cause.SENSOR_FAILED, 0.08, "a crack that opens"),
        ),
    ),
)

SHAPES = (
    Sign(
        "jumps-alike",
        Family.WHERE,
        0.10,
        0.15,
        (
            Given(Cause.GROUND_LOOP, 0.70, "the same current, the same error", PHYSICS),
            Given(Cause.BROKEN_LEAD, 0.25, "what is left of the strands"),
            Given(Cause.SUPPLY, 0.20, "the same load, the same sag"),
            Given(Cause.LOOSE_CONNECTION, 0.03, "a contact never adds the same ohms twice"),
        ),
    ),
    Sign(
        "jumps-differ",
        Family.WHERE,
        0.60,
        0.60,
        (
            Given(Cause.GROUND_LOOP, 0.20, "the same current, the same error", PHYSICS),
            Given(Cause.LOOSE_CONNECTION, 0.80, "a contact never adds the same ohms twice"),
        ),
    ),
    Sign(
        "spikes-both-ways",
        SHAPE,
        0.02,
        0.08,
        (
            Given(Cause.INPUT_FILTER, 0.50, "pick-up has no preferred sign", TRADE),
            Given(Cause.CABLE_PICKUP, 0.50, "pick-up has no preferred sign", TRADE),
            Given(Cause.BUS_WIRING, 0.50, "a wrong code lies anywhere"),
            Given(Cause.GROUND_LOOP, 0.35, "a current that switches, and power that answers"),
            Given(Cause.MAINS_PICKUP, 0.10, "hum swings both ways"),
        ),
    ),
    Sign(
        "spikes-toward-open",
        SHAPE,
        0.02,
        0.08,
        (
            Given(Cause.LOOSE_CONNECTION, 0.45, "a contact can only add ohms", PHYSICS),
            Given(Cause.BROKEN_LEAD, 0.35, "a break can only add ohms", PHYSICS),
            Given(Cause.GROUND_LOOP, 0.30, "one current, one way", PHYSICS),
            Given(Cause.BUS_WIRING, 0.20, "a wrong code may lie above"),
            Given(Cause.INPUT_FILTER, 0.15, "rectified bursts may favour one sign"),
            Given(Cause.CABLE_PICKUP, 0.15, "rectified bursts may favour one sign"),
        ),
    ),
    Sign(
        "spikes-toward-short",
        SHAPE,
        0.02,
        0.08,
        (
            Given(Cause.GROUND_LOOP, 0.40, "one current, one way", PHYSICS),
            Given(Cause.BUS_WIRING, 0.30, "a wrong code may lie below"),
            Given(Cause.SUPPLY, 0.30, "a sagging supply takes from the code"),
            Given(Cause.BROKEN_LEAD, 0.10, "worn insulation that touches"),
            Given(Cause.SENSOR_FAILED, 0.15, "an inner short that comes and goes"),
            Given(Cause.INPUT_FILTER, 0.15, "rectified bursts may favour one sign"),
            Given(Cause.CABLE_PICKUP, 0.15, "rectified bursts may favour one sign"),
        ),
    ),
    Sign(
        "bit-flips",
        SHAPE,
        0.003,
        0.02,
        (
            Given(Cause.BUS_WIRING, 0.85, "one wrong bit is made on the bus", PHYSICS),
            Given(Cause.SUPPLY, 0.08, "a converter at the edge of its supply"),
        ),
    ),
    Sign(
        "noise-louder",
        SHAPE,
        0.03,
        0.10,
        (
            Given(Cause.INPUT_FILTER, 0.50, "too little capacitance lets it in", TRADE),
            Given(Cause.CABLE_PICKUP, 0.50, "the cable picks it up", TRADE),
            Given(Cause.GROUND_LOOP, 0.60, "currents in the frame"),
            Given(Cause.SUPPLY, 0.20, "ripple on the supply"),
            Given(Cause.MAINS_PICKUP, 0.20, "hum folded down by sampling"),
            Given(Cause.LOOSE_CONNECTION, 0.15, "a contact that crackles"),
            Given(Cause.BROKEN_LEAD, 0.15, "strands that crackle"),
        ),
    ),
    Sign(
        "mains-tone",
        SHAPE,
        0.005,
        0.03,
        (
            Given(Cause.MAINS_PICKUP, 0.80, "a steady tone at the folded mains", PHYSICS),
            Given(Cause.GROUND_LOOP, 0.10, "a loop carries hum too"),
            Given(Cause.CABLE_PICKUP, 0.05, "motor bursts make no steady tone"),
            Given(Cause.INPUT_FILTER, 0.02, "filters are no cure for so low a tone", PHYSICS),
        ),
    ),
    Sign(
        "tone-began",
        Family.WHEN,
        0.30,
        0.30,
        (
            Given(Cause.MAINS_PICKUP, 0.12, "the mains hums from the start", PHYSICS),
            Given(Cause.GROUND_LOOP, 0.60, "a heater's switching, from when it is on"),
        ),
    ),
    Sign(
        "breaks-regular",
        Family.WHEN,
        0.05,
        0.06,
        (
            Given(Cause.BROKEN_LEAD, 0.45, "a place that is passed again and again"),
            Given(Cause.LOOSE_CONNECTION, 0.08, "shaking keeps no time"),
            Given(Cause.GROUND_LOOP, 0.30, "a heater switches at regular intervals"),
            Given(Cause.SUPPLY, 0.15, "so does what loads the supply"),
        ),
    ),
    Sign(
        "frozen",
        SHAPE,
        0.01,
        0.05,
        (
            Given(Cause.BUS_WIRING, 0.50, "no answer: the host keeps the last", TRADE),
            Given(Cause.SUPPLY, 0.12, "a converter that has stopped"),
            Given(Cause.SENSOR_FAILED, 0.10, "a converter that has failed"),
            Given(Cause.HOST_LOAD, 0.10, "a host that repeats itself"),
        ),
    ),
    Sign(
        "lasting-step",
        SHAPE,
        0.02,
        0.10,
        (
            Given(Cause.LOOSE_CONNECTION, 0.20, "a contact that has come to rest elsewhere"),
            Given(Cause.SENSOR_FAILED, 0.25, "an element that has changed"),
            Given(Cause.BROKEN_LEAD, 0.20, "some strands gone for good"),
            Given(Cause.SUPPLY, 0.15, "a reference that has moved"),
            Given(Cause.SENSOR_SEATING, 0.15, "a sensor that has jumped out"),
        ),
    ),
    Sign(
        "joint-jumps",
        SHAPE,
        0.005,
        0.04,
        (
            Given(Cause.SUPPLY, 0.65, "what all share is their supply"),
            Given(Cause.GROUND_LOOP, 0.40, "what all share is their ground"),
            Given(Cause.BUS_WIRING, 0.12, "what all share is their bus"),
            Given(Cause.SETTLING_AFTER_RESTART, 0.12, "all converters started anew", TRADE),
        ),
    ),
    Sign(
        "joint-once",
        Family.WHEN,
        0.30,
        0.50,
        (
            Given(Cause.SETTLING_AFTER_RESTART, 0.80, "once for each start", TRADE),
            Given(Cause.SUPPLY, 0.15, "a weak supply sags again"),
            Given(Cause.GROUND_LOOP, 0.04, "the current comes again and again"),
        ),
    ),
    Sign(
        "joint-of-many",
        Family.WHERE,
        0.20,
        0.40,
        (
            Given(Cause.SUPPLY, 0.90, "a supply feeds them all", PHYSICS),
            Given(Cause.GROUND_LOOP, 0.15, "one current passes few of them"),
            Given(Cause.BUS_WIRING, 0.20, "few converters share one bus"),
        ),
    ),
    Sign(
        "joint-of-two",
        Family.WHERE,
        0.40,
        0.40,
        (
            Given(Cause.SUPPLY, 0.10, "a supply feeds them all", PHYSICS),
            Given(Cause.GROUND_LOOP, 0.85, "the current passes these two"),
            Given(Cause.BUS_WIRING, 0.60, "these two share a bus"),
        ),
    ),
    Sign(
        "settles-by-itself",
        SHAPE,
        0.01,
        0.03,
        (
            Given(Cause.SETTLING_AFTER_RESTART, 0.90, "absurd, then right within a minute", TRADE),
            Given(Cause.SUPPLY, 0.06, "a supply that comes up slowly"),
            Given(Cause.BUS_WIRING, 0.05, "a bus that fails at the start"),
        ),
    ),
)

READING_SIGNS = (*OPEN_AND_SHORT, *SHAPES)
"""Facts on what the reading did."""
