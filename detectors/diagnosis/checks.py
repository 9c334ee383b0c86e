"""The catalogue of checks. Names are stable: notes and recordings keep them.

Probabilities of outcomes are judgement, to be calibrated on simulated cases.
"""

from detectors.diagnosis.checkform import CheckForm, Outcome, Risk
from shared.words import Cause

OFF = "Power off and unplug before you touch wiring; let it cool."
MAINS = "Mains: only someone licensed, by the local code."
LOW_VOLTAGE = f"Touch low voltage only. {MAINS}"
"""A whole caution fits three lines of a screen of 80 columns: see the tests."""

GONE_FEWER_SAME = (
    Outcome("gone", "the fault is gone"),
    Outcome("fewer", "it comes less often or smaller"),
    Outcome("same", "nothing changes"),
)

_WIRING = (
    CheckForm(
        name="wiggle-cable",
        do="With the machine on, heaters and motors off and all cold, move the sensor cable "
        "section by section, plugs last, and watch the live ohms.",
        effort_min=5,
        tools="none",
        risk=Risk.TOUCH,
        caution=f"Heaters and motors off, all cold; keep clear of moving parts. {LOW_VOLTAGE}",
        outcomes=(
            Outcome("breaks-at-an-end", "it jumps when you touch a plug or terminal"),
            Outcome("breaks-in-the-cable", "it jumps when you bend the cable"),
            Outcome("no-break", "it stays steady"),
        ),
        otherwise=(0.03, 0.02, 0.95),
        given={
            Cause.LOOSE_CONNECTION: (0.75, 0.08, 0.17),
            Cause.BROKEN_LEAD: (0.12, 0.70, 0.18),
            Cause.SENSOR_FAILED: (0.10, 0.05, 0.85),
            Cause.BUS_WIRING: (0.10, 0.02, 0.88),
        },
        unknown=(0.10, 0.08, 0.82),
    ),
    CheckForm(
        name="reseat-terminal",
        do="Pull and re-seat every plug of the sensor's way, tug at each lead, tighten screws.",
        effort_min=10,
        tools="small screwdriver",
        risk=Risk.TOUCH,
        caution=f"{OFF} {LOW_VOLTAGE}",
        outcomes=(
            Outcome("was-loose", "a contact was loose, dirty or only half in"),
            Outcome("was-tight", "all contacts were sound"),
        ),
        otherwise=(0.08, 0.92),
        given={
            Cause.LOOSE_CONNECTION: (0.85, 0.15),
            Cause.BROKEN_LEAD: (0.15, 0.85),
            Cause.BUS_WIRING: (0.35, 0.65),
        },
    ),
    CheckForm(
        name="measure-cold-ohms",
        do="Unplug the sensor from its board and measure its resistance cold, at the plug, "
        "while you bend the cable.",
        effort_min=8,
        tools="multimeter",
        risk=Risk.TOUCH,
        caution=f"{OFF} {LOW_VOLTAGE}",
        outcomes=(
            Outcome("right", "steady, and what the element has at room temperature"),
            Outcome("open-or-jumps", "open, or it jumps"),
            Outcome("short", "near 0 Ω, or far too low"),
            Outcome("too-high", "steady, but some ohms too high"),
        ),
        otherwise=(0.93, 0.03, 0.02, 0.02),
        given={
            Cause.BROKEN_LEAD: (0.10, 0.72, 0.13, 0.05),
            Cause.LOOSE_CONNECTION: (0.52, 0.40, 0.02, 0.06),
            Cause.SENSOR_FAILED: (0.08, 0.40, 0.40, 0.12),
            Cause.LEAD_RESISTANCE: (0.15, 0.02, 0.01, 0.82),
        },
        unknown=(0.80, 0.08, 0.05, 0.07),
    ),
    CheckForm(
        name="swap-inputs",
        do="Exchange the sensor with another of its kind at the boards, run, and see which "
        "channel shows the fault.",
        effort_min=15,
        tools="small screwdriver",
        risk=Risk.TOUCH,
        caution=f"{OFF} No heat while inputs are exchanged: it would follow the wrong sensor. "
        f"{LOW_VOLTAGE}",
        outcomes=(
            Outcome("goes-with-the-cable", "the fault goes with sensor and cable"),
            Outcome("stays-with-the-board", "the fault stays with the board"),
        ),
        otherwise=(0.5, 0.5),
        given={
            Cause.BROKEN_LEAD: (0.95, 0.05),
            Cause.LOOSE_CONNECTION: (0.60, 0.40),
            Cause.SENSOR_FAILED: (0.95, 0.05),
            Cause.LEAD_RESISTANCE: (0.95, 0.05),
            Cause.CABLE_PICKUP: (0.80, 0.20),
            Cause.INPUT_FILTER: (0.15, 0.85),
            Cause.BUS_WIRING: (0.04, 0.96),
            Cause.SUPPLY: (0.10, 0.90),
            Cause.WIRE_COUNT_SETTING: (0.10, 0.90),
            Cause.REFERENCE_SETTING: (0.03, 0.97),
            Cause.CURVE_SETTING: (0.30, 0.70),
        },
        needs_channels=2,
    ),
    CheckForm(
        name="shorten-bus-wires",
        do="Shorten the wires between converter and controller, twist each with ground, or plug "
        "the board straight in; then run on.",
        effort_min=25,
        tools="crimp or soldering tool",
        risk=Risk.TOUCH,
        caution=f"{OFF} {LOW_VOLTAGE}",
        outcomes=GONE_FEWER_SAME,
        otherwise=(0.03, 0.07, 0.90),
        given={
            Cause.BUS_WIRING: (0.60, 0.28, 0.12),
            Cause.SUPPLY: (0.10, 0.15, 0.75),
        },
        changes=True,
    ),
    CheckForm(
        name="reseat-bus",
        do="Look at the wires between converter and controller: re-seat their plugs, tug at "
        "each, and see that ground and supply sit firmly.",
        effort_min=6,
        tools="none",
        risk=Risk.TOUCH,
        caution=f"{OFF} {LOW_VOLTAGE}",
        outcomes=(
            Outcome("was-poor", "a wire was loose, long beside motor leads, or badly joined"),
            Outcome("was-sound", "all sat firmly"),
        ),
        otherwise=(0.06, 0.94),
        given={Cause.BUS_WIRING: (0.75, 0.25), Cause.SUPPLY: (0.30, 0.70)},
    ),
)

_NOISE = (
    CheckForm(
        name="motors-off-on",
        do="Compare three minutes each: motors off, motors holding, machine moving; no heat "
        "needed.",
        effort_min=10,
        tools="none",
        risk=Risk.LOOK,
        caution="Keep hands and cables clear of moving parts.",
        outcomes=(
            Outcome("holding-too", "noise or faults begin when the motors hold, without motion"),
            Outcome("moving-only", "only when it moves"),
            Outcome("no-difference", "the same with motors off"),
        ),
        otherwise=(0.05, 0.15, 0.80),
        given={
            Cause.INPUT_FILTER: (0.45, 0.45, 0.10),
            Cause.CABLE_PICKUP: (0.45, 0.45, 0.10),
            Cause.GROUND_LOOP: (0.40, 0.30, 0.30),
            Cause.LOOSE_CONNECTION: (0.02, 0.70, 0.28),
            Cause.BROKEN_LEAD: (0.02, 0.75, 0.23),
            Cause.SUPPLY: (0.25, 0.30, 0.45),
        },
    ),
    CheckForm(
        name="add-capacitance",
        do="Add 100 to 470 nF across the converter's inputs, next to the board; then run on.",
        effort_min=20,
        tools="soldering iron, film or ceramic capacitor",
        risk=Risk.TOUCH,
        caution=f"{OFF} {LOW_VOLTAGE}",
        outcomes=GONE_FEWER_SAME,
        otherwise=(0.02, 0.05, 0.93),
        given={
            Cause.INPUT_FILTER: (0.78, 0.20, 0.02),
            Cause.CABLE_PICKUP: (0.20, 0.40, 0.40),
            Cause.GROUND_LOOP: (0.08, 0.30, 0.62),
        },
        changes=True,
    ),
    CheckForm(
        name="move-cable-away",
        do="Lead the sensor cable away from motor and heater leads, for a trial just hung "
        "loose, and run on.",
        effort_min=10,
        tools="cable ties",
        risk=Risk.TOUCH,
        caution=f"{OFF} Keep the cable clear of hot and moving parts. {LOW_VOLTAGE}",
        outcomes=GONE_FEWER_SAME,
        otherwise=(0.03, 0.05, 0.92),
        given={
            Cause.CABLE_PICKUP: (0.60, 0.30, 0.10),
            Cause.INPUT_FILTER: (0.12, 0.33, 0.55),
            Cause.GROUND_LOOP: (0.05, 0.15, 0.80),
            Cause.MAINS_PICKUP: (0.40, 0.35, 0.25),
            Cause.LOOSE_CONNECTION: (0.08, 0.17, 0.75),
            Cause.BROKEN_LEAD: (0.10, 0.20, 0.70),
        },
        changes=True,
    ),
    CheckForm(
        name="part-screen",
        do="Join the cable's screen at the board only; see that neither screen nor sensor case "
        "touches the frame; then run on.",
        effort_min=15,
        tools="multimeter",
        risk=Risk.TOUCH,
        caution=f"{OFF} Leave protective earth conductors as they are. {LOW_VOLTAGE}",
        outcomes=GONE_FEWER_SAME,
        otherwise=(0.03, 0.05, 0.92),
        given={
            Cause.GROUND_LOOP: (0.75, 0.15, 0.10),
            Cause.CABLE_PICKUP: (0.15, 0.30, 0.55),
            Cause.MAINS_PICKUP: (0.20, 0.20, 0.60),
        },
        changes=True,
    ),
    CheckForm(
        name="check-mains-setting",
        do="See in the host's settings whether the converter is set to reject your mains, 50 or "
        "60 Hz.",
        effort_min=4,
        tools="none",
        risk=Risk.LOOK,
        caution="",
        outcomes=(
            Outcome("other-mains", "it is set for the other one"),
            Outcome("right", "it is set for yours"),
        ),
        otherwise=(0.08, 0.92),
        given={Cause.MAINS_PICKUP: (0.70, 0.30)},
    ),
)

_SETTINGS = (
    CheckForm(
        name="check-strap",
        do="Compare the wire count that the board's straps or links are set for with the wires "
        "that are fitted.",
        effort_min=6,
        tools="lamp, the board's description",
        risk=Risk.TOUCH,
        caution=f"{OFF} {LOW_VOLTAGE}",
        outcomes=(
            Outcome("other-count", "it is set for another count"),
            Outcome("as-wired", "it is set as wired"),
        ),
        otherwise=(0.02, 0.98),
        given={Cause.WIRE_COUNT_SETTING: (0.95, 0.05)},
        unknown=(0.05, 0.95),
    ),
    CheckForm(
        name="check-host-reference",
        do="Compare the reference resistor marked on the board with the one in the host's "
        "settings.",
        effort_min=6,
        tools="lamp, magnifier",
        risk=Risk.TOUCH,
        caution=f"{OFF} {LOW_VOLTAGE}",
        outcomes=(Outcome("differs", "they differ"), Outcome("agrees", "they agree")),
        otherwise=(0.02, 0.98),
        given={Cause.REFERENCE_SETTING: (0.95, 0.05)},
        unknown=(0.05, 0.95),
    ),
    CheckForm(
        name="check-host-element",
        do="Compare the element's R0 and curve with those in the host's settings.",
        effort_min=5,
        tools="the sensor's description",
        risk=Risk.LOOK,
        caution="",
        outcomes=(Outcome("differs", "they differ"), Outcome("agrees", "they agree")),
        otherwise=(0.02, 0.98),
        given={Cause.CURVE_SETTING: (0.90, 0.10)},
        unknown=(0.05, 0.95),
    ),
    CheckForm(
        name="fixed-resistor",
        do="Join a known resistor, 100 Ω of 0.1 %, in place of the sensor at the board and read "
        "the ohms.",
        effort_min=15,
        tools="precise resistor, small screwdriver",
        risk=Risk.TOUCH,
        caution=f"{OFF} Heat nothing while the sensor is replaced. {LOW_VOLTAGE}",
        outcomes=(
            Outcome("right", "it reads right and steady"),
            Outcome("scaled", "it reads wrong by some per cent"),
            Outcome("faulty", "the fault shows with the resistor as well"),
        ),
        otherwise=(0.85, 0.05, 0.10),
        given={
            Cause.REFERENCE_SETTING: (0.05, 0.90, 0.05),
            Cause.BUS_WIRING: (0.15, 0.03, 0.82),
            Cause.SUPPLY: (0.35, 0.10, 0.55),
            Cause.INPUT_FILTER: (0.65, 0.02, 0.33),
            Cause.WIRE_COUNT_SETTING: (0.40, 0.20, 0.40),
        },
        unknown=(0.60, 0.10, 0.30),
    ),
    CheckForm(
        name="measure-lead-ohms",
        do="Unplug the sensor and measure between its leads that go to the same end of the "
        "element, or twice one lead's length by its gauge.",
        effort_min=8,
        tools="multimeter",
        risk=Risk.TOUCH,
        caution=f"{OFF} {LOW_VOLTAGE}",
        outcomes=(
            Outcome("explains-it", "the leads have the ohms that the reading is off by"),
            Outcome("too-little", "the leads have far less"),
        ),
        otherwise=(0.05, 0.95),
        given={
            Cause.LEAD_RESISTANCE: (0.90, 0.10),
            Cause.WIRE_COUNT_SETTING: (0.60, 0.40),
            Cause.LOOSE_CONNECTION: (0.15, 0.85),
        },
    ),
)

_HEAT = (
    CheckForm(
        name="look-at-seat",
        do="See whether the sensor sits fully in its bore, is clamped and touches metal.",
        effort_min=6,
        tools="lamp",
        risk=Risk.TOUCH,
        caution=f"{OFF} A heater block stays hot for many minutes. {LOW_VOLTAGE}",
        outcomes=(
            Outcome("out-of-seat", "it has slipped out or is loose"),
            Outcome("seated", "it sits as it should"),
        ),
        otherwise=(0.03, 0.97),
        given={Cause.SENSOR_SEATING: (0.92, 0.08)},
        unknown=(0.08, 0.92),
    ),
    CheckForm(
        name="measure-heater-ohms",
        do="Unplug a low-voltage heater and measure its resistance cold; compare with volts "
        "squared by watts.",
        effort_min=10,
        tools="multimeter",
        risk=Risk.HEAT_OR_MAINS,
        caution=f"{OFF} Never on a mains heater yourself. {MAINS}",
        outcomes=(
            Outcome("open-or-off", "open, or far from what it should be"),
            Outcome("right", "what it should be"),
        ),
        otherwise=(0.02, 0.98),
        given={Cause.HEATER_CIRCUIT: (0.65, 0.35)},
        unknown=(0.05, 0.95),
    ),
    CheckForm(
        name="watch-cold-heat-up",
        do="From cold, ask for 50 °C, stay beside the machine, and see in the chart whether the "
        "reading follows the power. Switch off at once when it doesn't.",
        effort_min=6,
        tools="none",
        risk=Risk.TOUCH,
        caution="Stay with the machine, hands off the heater, and switch off when the reading "
        f"does not follow within a minute. {MAINS}",
        outcomes=(
            Outcome("no-rise", "no rise at all"),
            Outcome("late-or-slow", "it rises late or slowly"),
            Outcome("as-usual", "it rises as usual"),
        ),
        otherwise=(0.03, 0.05, 0.92),
        given={
            Cause.HEATER_CIRCUIT: (0.75, 0.10, 0.15),
            Cause.SENSOR_SEATING: (0.10, 0.75, 0.15),
            Cause.BUS_WIRING: (0.15, 0.05, 0.80),
        },
        unknown=(0.10, 0.10, 0.80),
    ),
)

_SYSTEM = (
    CheckForm(
        name="check-supply-volts",
        do="Measure the converter board's supply at the board, at rest and with the load on that "
        "goes with the fault.",
        effort_min=12,
        tools="multimeter",
        risk=Risk.HEAT_OR_MAINS,
        caution="Machine on: probe low-voltage terminals only, insulated tips, one hand. "
        f"Never open the mains supply. {MAINS}",
        outcomes=(
            Outcome("sags", "it sags, or is not what the board needs"),
            Outcome("steady", "steady and right"),
        ),
        otherwise=(0.05, 0.95),
        given={Cause.SUPPLY: (0.80, 0.20), Cause.BUS_WIRING: (0.10, 0.90)},
    ),
    CheckForm(
        name="loads-off-on",
        do="Watch all channels while you switch heaters, fans and motors one after another.",
        effort_min=8,
        tools="none",
        risk=Risk.LOOK,
        caution="Keep hands and cables clear of hot and moving parts.",
        outcomes=(
            Outcome("jumps-with-a-load", "channels jump together when a load switches"),
            Outcome("one-channel-noisy", "one channel gets noisy with a load"),
            Outcome("no-difference", "nothing changes"),
        ),
        otherwise=(0.03, 0.07, 0.90),
        given={
            Cause.SUPPLY: (0.70, 0.08, 0.22),
            Cause.GROUND_LOOP: (0.35, 0.45, 0.20),
            Cause.CABLE_PICKUP: (0.03, 0.75, 0.22),
            Cause.INPUT_FILTER: (0.03, 0.72, 0.25),
        },
    ),
    CheckForm(
        name="look-at-network",
        do="Send a ping a second to the host for ten minutes from here, by cable too where you "
        "can.",
        effort_min=10,
        tools="a second machine or this one",
        risk=Risk.LOOK,
        caution="",
        outcomes=(
            Outcome("losses", "answers are lost or take long"),
            Outcome("clean", "all answers come at once"),
        ),
        otherwise=(0.05, 0.95),
        given={Cause.NETWORK: (0.85, 0.15), Cause.HOST_LOAD: (0.25, 0.75)},
        unknown=(0.15, 0.85),
    ),
    CheckForm(
        name="look-at-host-load",
        do="Look at the host's load, memory and storage while it happens: another job, a camera, "
        "a full disk, a slow card, heat.",
        effort_min=5,
        tools="none",
        risk=Risk.LOOK,
        caution="",
        outcomes=(
            Outcome("busy", "busy, hot, or short of memory"),
            Outcome("idle", "plenty in reserve"),
        ),
        otherwise=(0.10, 0.90),
        given={Cause.HOST_LOAD: (0.85, 0.15)},
        unknown=(0.15, 0.85),
    ),
    CheckForm(
        name="watch-next-restart",
        do="Nothing to repair: let it run, and see at the next restart whether it comes and goes "
        "the same way.",
        effort_min=3,
        tools="none",
        risk=Risk.LOOK,
        caution="",
        outcomes=(
            Outcome("again-then-right", "the same after a restart, right within a minute"),
            Outcome("in-mid-run", "it came without a restart"),
            Outcome("not-again", "it did not come again"),
        ),
        otherwise=(0.05, 0.60, 0.35),
        given={Cause.SETTLING_AFTER_RESTART: (0.75, 0.02, 0.23)},
    ),
)

CATALOGUE = {form.name: form for form in (*_WIRING, *_NOISE, *_SETTINGS, *_HEAT, *_SYSTEM)}
"""Every check by its name."""
