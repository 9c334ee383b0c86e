"""Likelihoods: when, where, with which flags and words. See `table.py` for how to read a row."""

from detectors.diagnosis.table import PHYSICS, TRADE, Family, Given, Sign
from shared.words import Cause

WHEN = (
    Sign(
        "only-while-moving",
        Family.WHEN,
        0.15,
        0.25,
        (
            Given(Cause.INPUT_FILTER, 0.80, "once a print has begun: filter or cable", TRADE),
            Given(Cause.CABLE_PICKUP, 0.80, "once a print has begun: filter or cable", TRADE),
            Given(Cause.LOOSE_CONNECTION, 0.60, "pulling opens it"),
            Given(Cause.BROKEN_LEAD, 0.65, "bending opens it"),
            Given(Cause.GROUND_LOOP, 0.40, "motor currents in the frame"),
            Given(Cause.SUPPLY, 0.35, "motors load the supply"),
            Given(Cause.SENSOR_FAILED, 0.05, "an element does not know of motion"),
            Given(Cause.MAINS_PICKUP, 0.03, "the mains hums at rest as well"),
        ),
    ),
    Sign(
        "also-at-rest",
        Family.WHEN,
        0.40,
        0.40,
        (
            Given(Cause.INPUT_FILTER, 0.15, "most of what a filter must stop is motors", TRADE),
            Given(Cause.CABLE_PICKUP, 0.20, "heaters switch at rest as well", TRADE),
            Given(Cause.BROKEN_LEAD, 0.20, "nothing bends it"),
            Given(Cause.LOOSE_CONNECTION, 0.35, "warmth and shaking open it too"),
            Given(Cause.BUS_WIRING, 0.60, "the bus talks all the time"),
            Given(Cause.MAINS_PICKUP, 0.90, "the mains hums all the time"),
            Given(Cause.GROUND_LOOP, 0.75, "heaters draw current at rest as well"),
            Given(Cause.SENSOR_FAILED, 0.70, "an element does not know of motion"),
        ),
    ),
    Sign(
        "at-one-place",
        Family.WHEN,
        0.01,
        0.03,
        (
            Given(Cause.BROKEN_LEAD, 0.70, "the break opens where the cable bends most", TRADE),
            Given(Cause.LOOSE_CONNECTION, 0.12, "the cable pulls hardest at one end"),
            Given(Cause.CABLE_PICKUP, 0.03, "nearer to a motor there"),
        ),
    ),
    Sign(
        "at-no-one-place",
        Family.WHEN,
        0.30,
        0.35,
        (
            Given(Cause.BROKEN_LEAD, 0.10, "a break has its place"),
            Given(Cause.GROUND_LOOP, 0.60, "a current knows no place"),
            Given(Cause.SUPPLY, 0.60, "a sag knows no place"),
            Given(Cause.LOOSE_CONNECTION, 0.60, "shaking opens it anywhere"),
        ),
    ),
    Sign(
        "with-motion",
        Family.WHEN,
        0.02,
        0.06,
        (
            Given(Cause.INPUT_FILTER, 0.75, "motor currents are chopped", TRADE),
            Given(Cause.CABLE_PICKUP, 0.75, "motor currents are chopped", TRADE),
            Given(Cause.GROUND_LOOP, 0.30, "motor currents in the frame"),
            Given(Cause.LOOSE_CONNECTION, 0.20, "shaking moves the contact"),
            Given(Cause.BROKEN_LEAD, 0.15, "bending moves the break"),
            Given(Cause.SUPPLY, 0.10, "motors load the supply"),
        ),
    ),
    Sign(
        "with-heater",
        Family.WHEN,
        0.02,
        0.06,
        (
            Given(Cause.GROUND_LOOP, 0.80, "heater current finds a way through the screen"),
            Given(Cause.SUPPLY, 0.40, "the heater loads the supply"),
            Given(Cause.CABLE_PICKUP, 0.40, "sensor leads beside heater leads", TRADE),
            Given(Cause.INPUT_FILTER, 0.30, "switched heaters make bursts"),
        ),
    ),
    Sign(
        "with-fan",
        Family.WHEN,
        0.02,
        0.06,
        (
            Given(Cause.CABLE_PICKUP, 0.40, "fan leads share the cable"),
            Given(Cause.INPUT_FILTER, 0.35, "fans are chopped as well"),
            Given(Cause.GROUND_LOOP, 0.25, "fan current in the common wire"),
            Given(Cause.SUPPLY, 0.25, "the fan loads the supply"),
        ),
    ),
    Sign(
        "only-once",
        Family.WHEN,
        0.08,
        0.60,
        (
            Given(Cause.LOOSE_CONNECTION, 0.10, "a bad contact comes again"),
            Given(Cause.BUS_WIRING, 0.10, "a bad bus comes again"),
        ),
    ),
    Sign(
        "after-restart",
        Family.WHEN,
        0.05,
        0.08,
        (
            Given(Cause.SETTLING_AFTER_RESTART, 0.90, "within a minute of a restart", TRADE),
            Given(Cause.BUS_WIRING, 0.10, "a restart sets up the bus anew"),
            Given(Cause.SUPPLY, 0.15, "a supply that sagged restarts things"),
        ),
    ),
    Sign(
        "recurs-later",
        Family.WHEN,
        0.50,
        0.50,
        (Given(Cause.SETTLING_AFTER_RESTART, 0.03, "it does not recur in mid-print", TRADE),),
    ),
)

FLAGS = (
    Sign(
        "flag-range",
        Family.FLAGS,
        0.02,
        0.05,
        (
            Given(Cause.LOOSE_CONNECTION, 0.40, "input out of range: wiring first", TRADE),
            Given(Cause.BROKEN_LEAD, 0.30, "input out of range: wiring first", TRADE),
            Given(Cause.INPUT_FILTER, 0.35, "then too little filter", TRADE),
            Given(Cause.CABLE_PICKUP, 0.25, "bursts drive the inputs out of range"),
            Given(Cause.BUS_WIRING, 0.15, "flags read wrongly"),
            Given(Cause.SUPPLY, 0.15, "the supply itself is out of range"),
            Given(Cause.GROUND_LOOP, 0.15, "an input lifted above the supply"),
        ),
    ),
    Sign(
        "flag-open",
        Family.FLAGS,
        0.02,
        0.05,
        (
            Given(Cause.BROKEN_LEAD, 0.50, "the converter sees no element"),
            Given(Cause.LOOSE_CONNECTION, 0.50, "the converter sees no element"),
            Given(Cause.WIRE_COUNT_SETTING, 0.50, "an empty terminal looks open", PHYSICS),
            Given(Cause.SENSOR_FAILED, 0.40, "an element that has parted"),
            Given(Cause.CURVE_SETTING, 0.30, "a code at its end looks open"),
            Given(Cause.BUS_WIRING, 0.25, "flags read wrongly"),
        ),
    ),
    Sign(
        "flag-short",
        Family.FLAGS,
        0.02,
        0.05,
        (
            Given(Cause.SENSOR_FAILED, 0.45, "the element is bridged"),
            Given(Cause.BROKEN_LEAD, 0.25, "insulation worn through"),
            Given(Cause.BUS_WIRING, 0.25, "flags read wrongly"),
            Given(Cause.SUPPLY, 0.10, "a converter without supply"),
        ),
    ),
    Sign(
        "flag-not-connected",
        Family.FLAGS,
        0.01,
        0.04,
        (
            Given(Cause.BUS_WIRING, 0.60, "flying leads of the bus above all", TRADE),
            Given(Cause.LOOSE_CONNECTION, 0.25, "or the sensor's own wiring", TRADE),
            Given(Cause.BROKEN_LEAD, 0.20, "or the sensor's own wiring", TRADE),
            Given(Cause.SUPPLY, 0.15, "a converter without supply does not answer"),
        ),
    ),
    Sign(
        "flags-contradict",
        Family.FLAGS,
        0.005,
        0.02,
        (
            Given(Cause.BUS_WIRING, 0.60, "open and short at once is a wrong word", PHYSICS),
            Given(Cause.SUPPLY, 0.10, "a converter that restarts"),
        ),
    ),
)

WHERE = (
    Sign(
        "several-channels",
        Family.WHERE,
        0.03,
        0.10,
        (
            Given(Cause.SUPPLY, 0.60, "what all share is their supply"),
            Given(Cause.BUS_WIRING, 0.35, "what all share is their bus"),
            Given(Cause.GROUND_LOOP, 0.35, "what all share is their ground"),
            Given(Cause.HOST_LOAD, 0.30, "what all share is their host"),
            Given(Cause.SETTLING_AFTER_RESTART, 0.50, "all converters started anew", TRADE),
        ),
    ),
    Sign(
        "this-channel-alone",
        Family.WHERE,
        0.60,
        0.50,
        (
            Given(Cause.SUPPLY, 0.20, "a supply is shared"),
            Given(Cause.GROUND_LOOP, 0.35, "a ground is shared"),
            Given(Cause.HOST_LOAD, 0.05, "a busy host holds up all"),
            Given(Cause.NETWORK, 0.02, "the network carries all"),
        ),
    ),
    Sign(
        "host-started-anew",
        Family.SHAPE,
        0.02,
        0.20,
        (
            Given(Cause.SUPPLY, 0.30, "a supply that sagged restarts things"),
            Given(Cause.HOST_LOAD, 0.15, "a host that was restarted"),
        ),
    ),
)

WORDS = (
    Sign(
        "host-says-busy",
        Family.WORDS,
        0.01,
        0.03,
        (Given(Cause.HOST_LOAD, 0.60, "the host says so itself"),),
    ),
    Sign(
        "host-says-no-heat",
        Family.WORDS,
        0.05,
        0.08,
        (
            Given(Cause.HEATER_CIRCUIT, 0.40, "full power without heat"),
            Given(Cause.SENSOR_SEATING, 0.35, "full power, and the reading lags"),
        ),
    ),
    Sign(
        "host-says-beyond-limits",
        Family.WORDS,
        0.10,
        0.12,
        (
            Given(Cause.BROKEN_LEAD, 0.30, "an open lead reads beyond limits"),
            Given(Cause.LOOSE_CONNECTION, 0.25, "an open contact reads beyond limits"),
            Given(Cause.SENSOR_FAILED, 0.25, "so does an element that failed"),
            Given(Cause.BUS_WIRING, 0.20, "so does a wrong code"),
        ),
    ),
    Sign(
        "host-halted",
        Family.WORDS,
        0.03,
        0.35,
        (Given(Cause.HOST_LOAD, 0.20, "a host that cannot keep up halts"),),
    ),
)

CONTEXT_SIGNS = (*WHEN, *FLAGS, *WHERE, *WORDS)
