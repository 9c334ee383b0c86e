"""Checks of cable, plugs, bus and noise. Probabilities of outcomes are judgement."""

from detectors.diagnosis.blanks import CAPACITANCE, COLD_OHMS
from detectors.diagnosis.checkform import (
    GONE_FEWER_SAME,
    LOW_VOLTAGE,
    MAINS,
    MEASURED,
    OFF,
    OUTSIDE,
    RUN_ON,
    STATIC,
    CheckForm,
    Outcome,
    Risk,
)
from shared.words import Cause

WIRING = (
    CheckForm(
        name="wiggle-cable",
        do="Machine on, heaters and motors off, all cold. Move the sensor cable piece by piece, "
        "its plugs last, and watch the ohms.",
        effort_min=5,
        tools="none",
        risk=Risk.TOUCH,
        caution=f"{OUTSIDE} {LOW_VOLTAGE}",
        bends=True,
        powered=True,
        outcomes=(
            Outcome("breaks-at-an-end", "it jumps when a plug or terminal moves"),
            Outcome("breaks-in-the-cable", "it jumps when the cable bends"),
            Outcome("no-break", "nothing jumps"),
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
        do="From sensor to board, pull every plug and push it home, tug at each lead, and tighten "
        "the screws.",
        effort_min=10,
        tools="small screwdriver",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} {LOW_VOLTAGE}",
        bends=True,
        outcomes=(
            Outcome("was-loose", "one was loose, dirty or half in"),
            Outcome("was-tight", "all were clean and tight"),
        ),
        otherwise=(0.08, 0.92),
        given={
            Cause.LOOSE_CONNECTION: (0.85, 0.15),
            Cause.BROKEN_LEAD: (0.15, 0.85),
            Cause.BUS_WIRING: (0.35, 0.65),
        },
    ),
    CheckForm(
        name=MEASURED,
        do="Unplug the sensor at its board. Short the probes, and subtract what they read. Measure "
        "the sensor at that plug, all cold, still at first, then while you bend the cable: {ohms}. "
        "A meter of 0.8 % and 3 digits is good to ± 3 K, no better.",
        blanks={"ohms": COLD_OHMS},
        effort_min=8,
        tools="multimeter",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} {LOW_VOLTAGE}",
        outcomes=(
            Outcome("right", "steady and right"),
            Outcome("open-or-jumps", "open, or it jumps"),
            Outcome("short", "near 0 Ω or far too low"),
            Outcome("too-high", "steady, some ohms too high"),
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
        do="Exchange this sensor with another of its kind at the boards; run without heat, and see "
        "which channel has the fault.",
        effort_min=15,
        tools="small screwdriver",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} No heat while inputs are exchanged. {MAINS}",
        powered=True,
        outcomes=(
            Outcome("goes-with-the-cable", "it goes with sensor and cable"),
            Outcome("stays-with-the-board", "it stays with the board"),
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
        do="Shorten the wires between converter and controller and twist each with a ground wire, "
        f"or plug the board straight in. {RUN_ON}",
        effort_min=25,
        tools="crimp or soldering tool",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} {LOW_VOLTAGE}",
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
        do="Between converter and controller, pull every plug and push it home, tug at each wire, "
        "ground and supply first.",
        effort_min=6,
        tools="none",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} {LOW_VOLTAGE}",
        outcomes=(
            Outcome("was-poor", "one was loose, badly joined, or lay beside motor leads"),
            Outcome("was-sound", "all were tight"),
        ),
        otherwise=(0.06, 0.94),
        given={Cause.BUS_WIRING: (0.75, 0.25), Cause.SUPPLY: (0.30, 0.70)},
    ),
)

NOISE = (
    CheckForm(
        name="motors-off-on",
        do="Run three minutes each with motors off, motors holding still, and motors moving, "
        "without heat; compare noise and faults.",
        effort_min=10,
        tools="none",
        risk=Risk.LOOK,
        caution="Keep hands and cables clear of moving parts.",
        powered=True,
        outcomes=(
            Outcome("holding-too", "they begin when motors hold"),
            Outcome("moving-only", "they begin when motors move"),
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
        do="Solder {capacitance} across the converter's two sense inputs, close to the board: C0G "
        f"or film. {RUN_ON}",
        blanks={"capacitance": CAPACITANCE},
        effort_min=20,
        tools="soldering iron, C0G or film capacitor",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} {LOW_VOLTAGE}",
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
        do="Lead the sensor cable well away from motor and heater leads, loosely tied for now. "
        f"{RUN_ON}",
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
        do="Leave the cable's screen joined at the board only, and see that neither screen nor "
        f"sensor leads touch the frame. {RUN_ON}",
        effort_min=15,
        tools="multimeter",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} Leave protective earth conductors as they are. {MAINS}",
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
        name="measure-insulation",
        do="Unplug sensor and low-voltage heater at both ends, all cold. Measure each lead against "
        "block, frame and screen in the multimeter's highest range, fingers off the tips: it "
        "should show nothing (IEC 60751 asks 100 MΩ; from memory).",
        effort_min=12,
        tools="multimeter",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} {LOW_VOLTAGE}",
        outcomes=(
            Outcome("leaks", "it shows ohms"),
            Outcome("insulated", "it shows nothing"),
        ),
        otherwise=(0.04, 0.96),
        given={
            Cause.GROUND_LOOP: (0.70, 0.30),
            Cause.SENSOR_FAILED: (0.25, 0.75),
            Cause.MAINS_PICKUP: (0.20, 0.80),
            Cause.HEATER_CIRCUIT: (0.10, 0.90),
        },
    ),
    CheckForm(
        name="check-mains-setting",
        do="See in the host's settings which mains the converter is set to reject: yours, 50 or "
        "60 Hz, or the other.",
        effort_min=4,
        tools="none",
        risk=Risk.LOOK,
        caution="",
        outcomes=(
            Outcome("other-mains", "the other"),
            Outcome("right", "yours"),
        ),
        otherwise=(0.08, 0.92),
        given={Cause.MAINS_PICKUP: (0.70, 0.30)},
    ),
)
