"""Checks of settings, heat, supply and host. Probabilities of outcomes are judgement."""

from detectors.diagnosis.blanks import SHARE, TRIAL
from detectors.diagnosis.checkform import (
    AT_THE_SWITCH,
    LOW_VOLTAGE,
    MAINS,
    OFF,
    OUTSIDE,
    STATIC,
    CheckForm,
    Outcome,
    Risk,
)
from shared.words import Cause, Kind

SETTINGS = (
    CheckForm(
        name="check-strap",
        do="Count the sensor's wires, and see how many the board's straps or links are set for.",
        effort_min=6,
        tools="lamp, the board's description",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} {LOW_VOLTAGE}",
        outcomes=(
            Outcome("other-count", "set for another count"),
            Outcome("as-wired", "set as wired"),
        ),
        otherwise=(0.02, 0.98),
        given={Cause.WIRE_COUNT_SETTING: (0.95, 0.05)},
        unknown=(0.05, 0.95),
    ),
    CheckForm(
        name="check-host-reference",
        do="Read the value marked on the board's reference resistor, and compare it with the "
        "host's settings.",
        effort_min=6,
        tools="lamp, magnifier",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} {LOW_VOLTAGE}",
        outcomes=(Outcome("differs", "they differ"), Outcome("agrees", "they agree")),
        otherwise=(0.02, 0.98),
        given={Cause.REFERENCE_SETTING: (0.95, 0.05)},
        unknown=(0.05, 0.95),
    ),
    CheckForm(
        name="check-host-element",
        do="Compare the sensor's kind, Pt100 or Pt1000 and its curve, with the host's settings.",
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
        do="Join {resistors} of 0.1 % to the board in place of the sensor, one after the other. "
        "Read the ohms.",
        blanks={"resistors": TRIAL},
        effort_min=15,
        tools="precise resistor, small screwdriver",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} Heat nothing while the sensor is replaced. {MAINS}",
        powered=True,
        outcomes=(
            Outcome("right", "steady and right"),
            Outcome("scaled", "steady, but some per cent off"),
            Outcome("faulty", "the same fault as with the sensor"),
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
        do="Unplug the sensor at its board. Short the multimeter's probes, and subtract what they "
        "read from what two leads of the same end read. {share}",
        blanks={"share": SHARE},
        effort_min=8,
        tools="multimeter",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} {LOW_VOLTAGE}",
        outcomes=(
            Outcome("explains-it", "it explains the ohms that the reading is off by"),
            Outcome("too-little", "far fewer"),
        ),
        otherwise=(0.05, 0.95),
        given={
            Cause.LEAD_RESISTANCE: (0.90, 0.10),
            Cause.WIRE_COUNT_SETTING: (0.60, 0.40),
            Cause.LOOSE_CONNECTION: (0.15, 0.85),
        },
    ),
)

HEAT = (
    CheckForm(
        name="look-at-seat",
        do="See whether the sensor sits fully in its bore, is clamped, and touches metal.",
        effort_min=6,
        tools="lamp",
        risk=Risk.TOUCH,
        caution=f"{OFF} A heater block stays hot for many minutes. {LOW_VOLTAGE}",
        outcomes=(
            Outcome("out-of-seat", "it slipped out or is loose"),
            Outcome("seated", "it sits as it should"),
        ),
        otherwise=(0.03, 0.97),
        given={Cause.SENSOR_SEATING: (0.92, 0.08)},
        unknown=(0.08, 0.92),
    ),
    CheckForm(
        name="look-at-heater-leads",
        do="See whether the low-voltage heater's leads, plugs and terminals are burnt, loose or "
        "crushed, and whether any bare part touches the block.",
        effort_min=6,
        tools="lamp",
        risk=Risk.TOUCH,
        caution=f"{OFF} A heater block stays hot for many minutes. {LOW_VOLTAGE}",
        outcomes=(
            Outcome("was-poor", "one is burnt, loose or bare"),
            Outcome("was-sound", "all are sound"),
        ),
        otherwise=(0.05, 0.95),
        given={Cause.HEATER_CIRCUIT: (0.55, 0.45)},
    ),
    CheckForm(
        name="measure-heater-switch",
        do="Plug pulled, low-voltage heater unplugged at its board: measure the ohms across its "
        "switch or relay, from the heater's terminal to the pole that it switches, both ways.",
        effort_min=10,
        tools="multimeter",
        risk=Risk.TOUCH,
        caution=f"{OFF} {STATIC} {LOW_VOLTAGE}",
        outcomes=(
            Outcome("closed", "near 0 Ω both ways: it has failed closed"),
            Outcome("open", "many ohms, at least one way"),
        ),
        otherwise=(0.02, 0.98),
        given={Cause.HEATER_CIRCUIT: (0.75, 0.25)},
        only_after=Kind.RISE_UNPOWERED,
    ),
    CheckForm(
        name="measure-heater-volts",
        do="All cold, heater commanded off: plug in for this one reading, measure the volts across "
        "the low-voltage heater, and pull the plug within 15 s.",
        effort_min=12,
        tools="multimeter",
        risk=Risk.HEAT_OR_MAINS,
        caution=f"One hand at the plug, insulated tips. {OUTSIDE} "
        f"Never on a mains heater yourself. {MAINS}",
        powered=True,
        outcomes=(
            Outcome("volts-while-off", "the supply's volts: its switch has failed closed"),
            Outcome("none-while-off", "near 0 V"),
        ),
        otherwise=(0.02, 0.98),
        given={Cause.HEATER_CIRCUIT: (0.75, 0.25)},
        only_after=Kind.RISE_UNPOWERED,
    ),
    CheckForm(
        name="measure-heater-ohms",
        do="Unplug the low-voltage heater and measure its ohms, cold. Right is volts × volts ÷ "
        "watts: 14.4 Ω for 24 V and 40 W.",
        effort_min=10,
        tools="multimeter",
        risk=Risk.HEAT_OR_MAINS,
        caution=f"{OFF} Never on a mains heater yourself. {MAINS}",
        outcomes=(
            Outcome("open-or-off", "open or far off"),
            Outcome("right", "right"),
        ),
        otherwise=(0.02, 0.98),
        given={Cause.HEATER_CIRCUIT: (0.65, 0.35)},
        unknown=(0.05, 0.95),
    ),
    CheckForm(
        name="watch-cold-heat-up",
        do="From cold, set 50 °C, and see whether the reading follows the power. End it after 15 s "
        "for a nozzle, 60 s for a bed.",
        effort_min=6,
        tools="none",
        risk=Risk.HEAT_OR_MAINS,
        heats=True,
        caution=f"{AT_THE_SWITCH} {OUTSIDE} Hands off the heater. {MAINS}",
        outcomes=(
            Outcome("no-rise", "it does not rise"),
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

SYSTEM = (
    CheckForm(
        name="check-supply-volts",
        do="Measure the supply voltage at the converter's board, at rest and while heaters and "
        "motors run. A display misses a sag of milliseconds: use its minimum hold, or an "
        "oscilloscope triggered 5 % below the board's volts.",
        effort_min=12,
        tools="multimeter, insulated tips",
        risk=Risk.HEAT_OR_MAINS,
        heats=True,
        caution=f"{OUTSIDE} Low voltage only. {AT_THE_SWITCH} {MAINS}",
        outcomes=(
            Outcome("sags", "it sags, or is not what the board asks for"),
            Outcome("steady", "steady and right"),
        ),
        otherwise=(0.05, 0.95),
        given={Cause.SUPPLY: (0.80, 0.20), Cause.BUS_WIRING: (0.10, 0.90)},
    ),
    CheckForm(
        name="loads-off-on",
        do="Switch fans and motors on and off, one at a time, a minute each; then heaters, 15 s a "
        "nozzle's, 60 s a bed's. Watch all channels.",
        effort_min=8,
        tools="none",
        risk=Risk.HEAT_OR_MAINS,
        heats=True,
        caution=f"{AT_THE_SWITCH} {OUTSIDE} Keep clear of what moves. {MAINS}",
        outcomes=(
            Outcome("jumps-with-a-load", "several channels jump together"),
            Outcome("one-channel-noisy", "one channel gets noisy"),
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
        name="watch-next-restart",
        do="Repair nothing, heat nothing. See after the next restart whether it comes, and goes "
        "within a minute.",
        effort_min=3,
        tools="none",
        risk=Risk.LOOK,
        caution="",
        powered=True,
        outcomes=(
            Outcome("again-then-right", "it came and went the same way"),
            Outcome("in-mid-run", "it came without a restart"),
            Outcome("not-again", "it did not come again"),
        ),
        otherwise=(0.05, 0.60, 0.35),
        given={Cause.SETTLING_AFTER_RESTART: (0.75, 0.02, 0.23)},
    ),
)
