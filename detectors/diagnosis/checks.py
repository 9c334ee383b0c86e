"""The checks: what to do and to mind, what can come out, how likely under each cause.

Under the head of a check (its minutes, tools and risk) stands what to do; then what to mind, the
words that come from the chain, and a line for each outcome and each cause. See `table.py`.

Probabilities of outcomes are judgement. Names are stable: notes and recordings keep them.
"""

from collections.abc import Sequence

from msgspec.structs import replace

from detectors.diagnosis.chainfacts import CAPACITANCE, COLD_OHMS, SHARE, TRIAL
from detectors.diagnosis.table import (
    HEAT_OR_MAINS,
    LOOK,
    MEASURED,
    OTHERS,
    TOUCH,
    Blank,
    Caution,
    Chances,
    CheckForm,
    Outcome,
    Scene,
    blocks,
)
from shared.errors import BadInput
from shared.words import Cause, Kind

OFF = "Power off and unplug before you touch wiring; let it cool."
STATIC = "Touch earthed metal before a board."
"""A charge that nobody feels destroys a converter."""
MAINS = "Mains: only someone licensed, by the local code."
LOW_VOLTAGE = f"Touch low voltage only. {MAINS}"
UNPLUGGED = f"{OFF} {STATIC} {LOW_VOLTAGE}"
OUTSIDE = "Machine on: stay outside a housing with mains in it."
AT_THE_SWITCH = "One hand at the mains switch: off after 15 s (bed: 60 s) without a rise."
"""15 s and 60 s outlast a sensor's dead time and lag, and end before a block glows: judgement.
A whole caution fits three lines of a screen of 80 columns: see the tests."""
RUN_ON = "Watch the first heat-up beside the machine, a hand at the mains switch; then run on."
"""After each change, as it may have made the reading wrong."""
GONE_FEWER_SAME = (
    Outcome("gone", "the fault is gone"),
    Outcome("fewer", "it comes less often or smaller"),
    Outcome("same", "nothing changes"),
)
"""What comes out of a change."""
_NO_SERVICE = {
    *("port-refuses", "host-closed", "broken-off", "no-sign-of-life", "host-not-ready"),
    *("host-mute", "answers-though-silent", "link-lost", "mute-yet-open"),
}

_TABLE: tuple[CheckForm | str | Caution | Blank | Outcome | Chances, ...] = (
    # Cable, plugs and bus.
    CheckForm("wiggle-cable", 5, "none", TOUCH, powered=True, bends=True),
    "Machine on, heaters and motors off, all cold. Move the sensor cable piece by piece, its "
    "plugs last, and watch the ohms.",
    Caution(f"{OUTSIDE} {LOW_VOLTAGE}"),
    Outcome("breaks-at-an-end", "it jumps when a plug or terminal moves"),
    Outcome("breaks-in-the-cable", "it jumps when the cable bends"),
    Outcome("no-break", "nothing jumps"),
    Chances(OTHERS, 0.03, 0.02, 0.95),
    Chances(None, 0.10, 0.08, 0.82),
    Chances(Cause.LOOSE_CONNECTION, 0.75, 0.08, 0.17),
    Chances(Cause.BROKEN_LEAD, 0.12, 0.70, 0.18),
    Chances(Cause.SENSOR_FAILED, 0.10, 0.05, 0.85),
    Chances(Cause.BUS_WIRING, 0.10, 0.02, 0.88),
    CheckForm("reseat-terminal", 10, "small screwdriver", TOUCH, bends=True),
    "From sensor to board, pull every plug and push it home, tug at each lead, and tighten "
    "the screws.",
    Caution(UNPLUGGED),
    Outcome("was-loose", "one was loose, dirty or half in"),
    Outcome("was-tight", "all were clean and tight"),
    Chances(OTHERS, 0.08, 0.92),
    Chances(Cause.LOOSE_CONNECTION, 0.85, 0.15),
    Chances(Cause.BROKEN_LEAD, 0.15, 0.85),
    Chances(Cause.BUS_WIRING, 0.35, 0.65),
    CheckForm(MEASURED, 8, "multimeter", TOUCH),
    "Unplug the sensor at its board. Short the probes, and subtract what they read. Measure "
    "the sensor at that plug, all cold, still at first, then while you bend the cable: "
    "{ohms}. A meter of 0.8 % and 3 digits is good to ± 3 K, no better.",
    Caution(UNPLUGGED),
    COLD_OHMS,
    Outcome("right", "steady and right"),
    Outcome("open-or-jumps", "open, or it jumps"),
    Outcome("short", "near 0 Ω or far too low"),
    Outcome("too-high", "steady, some ohms too high"),
    Chances(OTHERS, 0.93, 0.03, 0.02, 0.02),
    Chances(None, 0.80, 0.08, 0.05, 0.07),
    Chances(Cause.BROKEN_LEAD, 0.10, 0.72, 0.13, 0.05),
    Chances(Cause.LOOSE_CONNECTION, 0.52, 0.40, 0.02, 0.06),
    Chances(Cause.SENSOR_FAILED, 0.08, 0.40, 0.40, 0.12),
    Chances(Cause.LEAD_RESISTANCE, 0.15, 0.02, 0.01, 0.82),
    CheckForm("swap-inputs", 15, "small screwdriver", TOUCH, powered=True, needs_channels=2),
    "Exchange this sensor with another of its kind at the boards; run without heat, and see "
    "which channel has the fault.",
    Caution(f"{OFF} {STATIC} No heat while inputs are exchanged. {MAINS}"),
    Outcome("goes-with-the-cable", "it goes with sensor and cable"),
    Outcome("stays-with-the-board", "it stays with the board"),
    Chances(OTHERS, 0.50, 0.50),
    Chances(Cause.BROKEN_LEAD, 0.95, 0.05),
    Chances(Cause.LOOSE_CONNECTION, 0.60, 0.40),
    Chances(Cause.SENSOR_FAILED, 0.95, 0.05),
    Chances(Cause.LEAD_RESISTANCE, 0.95, 0.05),
    Chances(Cause.CABLE_PICKUP, 0.80, 0.20),
    Chances(Cause.INPUT_FILTER, 0.15, 0.85),
    Chances(Cause.BUS_WIRING, 0.04, 0.96),
    Chances(Cause.SUPPLY, 0.10, 0.90),
    Chances(Cause.WIRE_COUNT_SETTING, 0.10, 0.90),
    Chances(Cause.REFERENCE_SETTING, 0.03, 0.97),
    Chances(Cause.CURVE_SETTING, 0.30, 0.70),
    CheckForm("shorten-bus-wires", 25, "crimp or soldering tool", TOUCH, changes=True),
    "Shorten the wires between converter and controller and twist each with a ground wire, or "
    "plug the board straight in.",
    Caution(UNPLUGGED),
    Chances(OTHERS, 0.03, 0.07, 0.90),
    Chances(Cause.BUS_WIRING, 0.60, 0.28, 0.12),
    Chances(Cause.SUPPLY, 0.10, 0.15, 0.75),
    CheckForm("reseat-bus", 6, "none", TOUCH),
    "Between converter and controller, pull every plug and push it home, tug at each wire, "
    "ground and supply first.",
    Caution(UNPLUGGED),
    Outcome("was-poor", "one was loose, badly joined, or lay beside motor leads"),
    Outcome("was-sound", "all were tight"),
    Chances(OTHERS, 0.06, 0.94),
    Chances(Cause.BUS_WIRING, 0.75, 0.25),
    Chances(Cause.SUPPLY, 0.30, 0.70),
    # Noise.
    CheckForm("motors-off-on", 10, "none", LOOK, powered=True),
    "Run three minutes each with motors off, motors holding still, and motors moving, without "
    "heat; compare noise and faults.",
    Caution("Keep hands and cables clear of moving parts."),
    Outcome("holding-too", "they begin when motors hold"),
    Outcome("moving-only", "they begin when motors move"),
    Outcome("no-difference", "the same with motors off"),
    Chances(OTHERS, 0.05, 0.15, 0.80),
    Chances(Cause.INPUT_FILTER, 0.45, 0.45, 0.10),
    Chances(Cause.CABLE_PICKUP, 0.45, 0.45, 0.10),
    Chances(Cause.GROUND_LOOP, 0.40, 0.30, 0.30),
    Chances(Cause.LOOSE_CONNECTION, 0.02, 0.70, 0.28),
    Chances(Cause.BROKEN_LEAD, 0.02, 0.75, 0.23),
    Chances(Cause.SUPPLY, 0.25, 0.30, 0.45),
    CheckForm("add-capacitance", 20, "soldering iron, C0G or film capacitor", TOUCH, changes=True),
    "Solder {capacitance} across the converter's two sense inputs, close to the board: C0G or "
    "film.",
    Caution(UNPLUGGED),
    CAPACITANCE,
    Chances(OTHERS, 0.02, 0.05, 0.93),
    Chances(Cause.INPUT_FILTER, 0.78, 0.20, 0.02),
    Chances(Cause.CABLE_PICKUP, 0.20, 0.40, 0.40),
    Chances(Cause.GROUND_LOOP, 0.08, 0.30, 0.62),
    CheckForm("move-cable-away", 10, "cable ties", TOUCH, changes=True),
    "Lead the sensor cable well away from motor and heater leads, loosely tied for now.",
    Caution(f"{OFF} Keep the cable clear of hot and moving parts. {LOW_VOLTAGE}"),
    Chances(OTHERS, 0.03, 0.05, 0.92),
    Chances(Cause.CABLE_PICKUP, 0.60, 0.30, 0.10),
    Chances(Cause.INPUT_FILTER, 0.12, 0.33, 0.55),
    Chances(Cause.GROUND_LOOP, 0.05, 0.15, 0.80),
    Chances(Cause.MAINS_PICKUP, 0.40, 0.35, 0.25),
    Chances(Cause.LOOSE_CONNECTION, 0.08, 0.17, 0.75),
    Chances(Cause.BROKEN_LEAD, 0.10, 0.20, 0.70),
    CheckForm("part-screen", 15, "multimeter", TOUCH, changes=True),
    "Leave the cable's screen joined at the board only, and see that neither screen nor "
    "sensor leads touch the frame.",
    Caution(f"{OFF} {STATIC} Leave protective earth conductors as they are. {MAINS}"),
    Chances(OTHERS, 0.03, 0.05, 0.92),
    Chances(Cause.GROUND_LOOP, 0.75, 0.15, 0.10),
    Chances(Cause.CABLE_PICKUP, 0.15, 0.30, 0.55),
    Chances(Cause.MAINS_PICKUP, 0.20, 0.20, 0.60),
    CheckForm("measure-insulation", 12, "multimeter", TOUCH),
    "Unplug sensor and low-voltage heater at both ends, all cold. Measure each lead against "
    "block, frame and screen in the multimeter's highest range, fingers off the tips: it "
    "should show nothing (IEC 60751 asks 100 MΩ; from memory).",
    Caution(UNPLUGGED),
    Outcome("leaks", "it shows ohms"),
    Outcome("insulated", "it shows nothing"),
    Chances(OTHERS, 0.04, 0.96),
    Chances(Cause.GROUND_LOOP, 0.70, 0.30),
    Chances(Cause.SENSOR_FAILED, 0.25, 0.75),
    Chances(Cause.MAINS_PICKUP, 0.20, 0.80),
    Chances(Cause.HEATER_CIRCUIT, 0.10, 0.90),
    CheckForm("check-mains-setting", 4, "none", LOOK),
    "See in the host's settings which mains the converter is set to reject: yours, 50 or 60 "
    "Hz, or the other.",
    Outcome("other-mains", "the other"),
    Outcome("right", "yours"),
    Chances(OTHERS, 0.08, 0.92),
    Chances(Cause.MAINS_PICKUP, 0.70, 0.30),
    # Settings.
    CheckForm("check-strap", 6, "lamp, the board's description", TOUCH),
    "Count the sensor's wires, and see how many the board's straps or links are set for.",
    Caution(UNPLUGGED),
    Outcome("other-count", "set for another count"),
    Outcome("as-wired", "set as wired"),
    Chances(OTHERS, 0.02, 0.98),
    Chances(None, 0.05, 0.95),
    Chances(Cause.WIRE_COUNT_SETTING, 0.95, 0.05),
    CheckForm("check-host-reference", 6, "lamp, magnifier", TOUCH),
    "Read the value marked on the board's reference resistor, and compare it with the host's "
    "settings.",
    Caution(UNPLUGGED),
    Outcome("differs", "they differ"),
    Outcome("agrees", "they agree"),
    Chances(OTHERS, 0.02, 0.98),
    Chances(None, 0.05, 0.95),
    Chances(Cause.REFERENCE_SETTING, 0.95, 0.05),
    CheckForm("check-host-element", 5, "the sensor's description", LOOK),
    "Compare the sensor's kind, Pt100 or Pt1000 and its curve, with the host's settings.",
    Outcome("differs", "they differ"),
    Outcome("agrees", "they agree"),
    Chances(OTHERS, 0.02, 0.98),
    Chances(None, 0.05, 0.95),
    Chances(Cause.CURVE_SETTING, 0.90, 0.10),
    CheckForm("fixed-resistor", 15, "precise resistor, small screwdriver", TOUCH, powered=True),
    "Join {resistors} of 0.1 % to the board in place of the sensor, one after the other. Read "
    "the ohms.",
    Caution(f"{OFF} {STATIC} Heat nothing while the sensor is replaced. {MAINS}"),
    TRIAL,
    Outcome("right", "steady and right"),
    Outcome("scaled", "steady, but some per cent off"),
    Outcome("faulty", "the same fault as with the sensor"),
    Chances(OTHERS, 0.85, 0.05, 0.10),
    Chances(None, 0.60, 0.10, 0.30),
    Chances(Cause.REFERENCE_SETTING, 0.05, 0.90, 0.05),
    Chances(Cause.BUS_WIRING, 0.15, 0.03, 0.82),
    Chances(Cause.SUPPLY, 0.35, 0.10, 0.55),
    Chances(Cause.INPUT_FILTER, 0.65, 0.02, 0.33),
    Chances(Cause.WIRE_COUNT_SETTING, 0.40, 0.20, 0.40),
    CheckForm("measure-lead-ohms", 8, "multimeter", TOUCH),
    "Unplug the sensor at its board. Short the multimeter's probes, and subtract what they "
    "read from what two leads of the same end read. {share}",
    Caution(UNPLUGGED),
    SHARE,
    Outcome("explains-it", "it explains the ohms that the reading is off by"),
    Outcome("too-little", "far fewer"),
    Chances(OTHERS, 0.05, 0.95),
    Chances(Cause.LEAD_RESISTANCE, 0.90, 0.10),
    Chances(Cause.WIRE_COUNT_SETTING, 0.60, 0.40),
    Chances(Cause.LOOSE_CONNECTION, 0.15, 0.85),
    # Heat.
    CheckForm("look-at-seat", 6, "lamp", TOUCH),
    "See whether the sensor sits fully in its bore, is clamped, and touches metal.",
    Caution(f"{OFF} A heater block stays hot for many minutes. {LOW_VOLTAGE}"),
    Outcome("out-of-seat", "it slipped out or is loose"),
    Outcome("seated", "it sits as it should"),
    Chances(OTHERS, 0.03, 0.97),
    Chances(None, 0.08, 0.92),
    Chances(Cause.SENSOR_SEATING, 0.92, 0.08),
    CheckForm("look-at-heater-leads", 6, "lamp", TOUCH),
    "See whether the low-voltage heater's leads, plugs and terminals are burnt, loose or "
    "crushed, and whether any bare part touches the block.",
    Caution(f"{OFF} A heater block stays hot for many minutes. {LOW_VOLTAGE}"),
    Outcome("was-poor", "one is burnt, loose or bare"),
    Outcome("was-sound", "all are sound"),
    Chances(OTHERS, 0.05, 0.95),
    Chances(Cause.HEATER_CIRCUIT, 0.55, 0.45),
    CheckForm("measure-heater-switch", 10, "multimeter", TOUCH, only_after=Kind.RISE_UNPOWERED),
    "Plug pulled, low-voltage heater unplugged at its board: measure the ohms across its "
    "switch or relay, from the heater's terminal to the pole that it switches, both ways.",
    Caution(UNPLUGGED),
    Outcome("closed", "near 0 Ω both ways: it has failed closed"),
    Outcome("open", "many ohms, at least one way"),
    Chances(OTHERS, 0.02, 0.98),
    Chances(Cause.HEATER_CIRCUIT, 0.75, 0.25),
    CheckForm(
        "measure-heater-volts",
        12,
        "multimeter",
        HEAT_OR_MAINS,
        powered=True,
        only_after=Kind.RISE_UNPOWERED,
    ),
    "All cold, heater commanded off: plug in for this one reading, measure the volts across "
    "the low-voltage heater, and pull the plug within 15 s.",
    Caution(
        f"One hand at the plug, insulated tips. {OUTSIDE} "
        f"Never on a mains heater yourself. {MAINS}",
    ),
    Outcome("volts-while-off", "the supply's volts: its switch has failed closed"),
    Outcome("none-while-off", "near 0 V"),
    Chances(OTHERS, 0.02, 0.98),
    Chances(Cause.HEATER_CIRCUIT, 0.75, 0.25),
    CheckForm("measure-heater-ohms", 10, "multimeter", HEAT_OR_MAINS),
    "Unplug the low-voltage heater and measure its ohms, cold. Right is volts × volts ÷ "
    "watts: 14.4 Ω for 24 V and 40 W.",
    Caution(f"{OFF} Never on a mains heater yourself. {MAINS}"),
    Outcome("open-or-off", "open or far off"),
    Outcome("right", "right"),
    Chances(OTHERS, 0.02, 0.98),
    Chances(None, 0.05, 0.95),
    Chances(Cause.HEATER_CIRCUIT, 0.65, 0.35),
    CheckForm("watch-cold-heat-up", 6, "none", HEAT_OR_MAINS, heats=True),
    "From cold, set 50 °C, and see whether the reading follows the power. End it after 15 s "
    "for a nozzle, 60 s for a bed.",
    Caution(f"{AT_THE_SWITCH} {OUTSIDE} Hands off the heater. {MAINS}"),
    Outcome("no-rise", "it does not rise"),
    Outcome("late-or-slow", "it rises late or slowly"),
    Outcome("as-usual", "it rises as usual"),
    Chances(OTHERS, 0.03, 0.05, 0.92),
    Chances(None, 0.10, 0.10, 0.80),
    Chances(Cause.HEATER_CIRCUIT, 0.75, 0.10, 0.15),
    Chances(Cause.SENSOR_SEATING, 0.10, 0.75, 0.15),
    Chances(Cause.BUS_WIRING, 0.15, 0.05, 0.80),
    # Supply and start.
    CheckForm("check-supply-volts", 12, "multimeter, insulated tips", HEAT_OR_MAINS, heats=True),
    "Measure the supply voltage at the converter's board, at rest and while heaters and "
    "motors run. A display misses a sag of milliseconds: use its minimum hold, or an "
    "oscilloscope triggered 5 % below the board's volts.",
    Caution(f"{OUTSIDE} Low voltage only. {AT_THE_SWITCH} {MAINS}"),
    Outcome("sags", "it sags, or is not what the board asks for"),
    Outcome("steady", "steady and right"),
    Chances(OTHERS, 0.05, 0.95),
    Chances(Cause.SUPPLY, 0.80, 0.20),
    Chances(Cause.BUS_WIRING, 0.10, 0.90),
    CheckForm("loads-off-on", 8, "none", HEAT_OR_MAINS, heats=True),
    "Switch fans and motors on and off, one at a time, a minute each; then heaters, 15 s a "
    "nozzle's, 60 s a bed's. Watch all channels.",
    Caution(f"{AT_THE_SWITCH} {OUTSIDE} Keep clear of what moves. {MAINS}"),
    Outcome("jumps-with-a-load", "several channels jump together"),
    Outcome("one-channel-noisy", "one channel gets noisy"),
    Outcome("no-difference", "nothing changes"),
    Chances(OTHERS, 0.03, 0.07, 0.90),
    Chances(Cause.SUPPLY, 0.70, 0.08, 0.22),
    Chances(Cause.GROUND_LOOP, 0.35, 0.45, 0.20),
    Chances(Cause.CABLE_PICKUP, 0.03, 0.75, 0.22),
    Chances(Cause.INPUT_FILTER, 0.03, 0.72, 0.25),
    CheckForm("watch-next-restart", 3, "none", LOOK, powered=True),
    "Repair nothing, heat nothing. See after the next restart whether it comes, and goes "
    "within a minute.",
    Outcome("again-then-right", "it came and went the same way"),
    Outcome("in-mid-run", "it came without a restart"),
    Outcome("not-again", "it did not come again"),
    Chances(OTHERS, 0.05, 0.60, 0.35),
    Chances(Cause.SETTLING_AFTER_RESTART, 0.75, 0.02, 0.23),
    # The link to the host.
    CheckForm("look-at-network", 10, "none", LOOK),
    "From here, send the host a ping a second for ten minutes; then by cable, where you can.",
    Outcome("losses", "answers are lost or take long"),
    Outcome("clean", "all answers come at once"),
    Chances(OTHERS, 0.05, 0.95),
    Chances(None, 0.15, 0.85),
    Chances(Cause.NETWORK, 0.85, 0.15),
    Chances(Cause.HOST_LOAD, 0.25, 0.75),
    CheckForm("look-at-host-load", 5, "none", LOOK),
    "While it happens, look at the host: processor, memory, free disk, heat, other jobs, a camera.",
    Outcome("busy", "busy, hot or full"),
    Outcome("idle", "plenty in reserve"),
    Chances(OTHERS, 0.10, 0.90),
    Chances(None, 0.15, 0.85),
    Chances(Cause.HOST_LOAD, 0.85, 0.15),
    CheckForm("look-at-service", 4, "none", LOOK, only_with=_NO_SERVICE),
    "On the host, see whether its service runs, since when, and what its log says of that moment.",
    Outcome("stopped", "it does not run, or began anew since"),
    Outcome("ended-it", "it runs, and ended the link itself"),
    Outcome("knows-nothing", "it has run all along, and only saw us go"),
    Chances(OTHERS, 0.03, 0.02, 0.95),
    Chances(None, 0.60, 0.25, 0.15),
    Chances(Cause.NETWORK, 0.02, 0.03, 0.95),
    Chances(Cause.HOST_LOAD, 0.15, 0.15, 0.70),
    Chances(Cause.SUPPLY, 0.80, 0.02, 0.18),
    CheckForm("look-at-access", 3, "none", LOOK, only_with={"host-denies"}),
    "Hold the profile's token, and this machine's place on the host's list of who may come, "
    "against what the host asks for.",
    Outcome("not-let-in", "token or list do not let us in"),
    Outcome("let-in", "both do"),
    Chances(OTHERS, 0.05, 0.95),
    Chances(None, 0.85, 0.15),
    CheckForm("look-at-address", 3, "none", LOOK, only_with={"other-protocol"}),
    "See on the host which port its service listens on and what it speaks, with TLS or "
    "without; run `ohmvigil learn ADDRESS` on it.",
    Outcome("another", "another port, protocol or address"),
    Outcome("the-same", "just what the profile says"),
    Chances(OTHERS, 0.05, 0.95),
    Chances(None, 0.85, 0.15),
    CheckForm("look-at-own-machine", 3, "none", LOOK, only_with={"own-machine"}),
    "Look at the machine that ohmvigil runs on: sleep, processor, memory, other jobs.",
    Outcome("was-held-up", "it slept, or was busy or full"),
    Outcome("was-free", "it was awake, with plenty in reserve"),
    Chances(OTHERS, 0.05, 0.95),
    Chances(None, 0.85, 0.15),
)


def whole(head: CheckForm, rows: Sequence[object]) -> CheckForm:
    """A check with the rows under its head; ValueError for chances that do not fit its outcomes."""
    (do,) = (row for row in rows if isinstance(row, str))
    chances = {row.cause: row.each for row in rows if isinstance(row, Chances)}
    outcomes = tuple(row for row in rows if isinstance(row, Outcome))
    form = replace(
        head,
        do=f"{do} {RUN_ON}" if head.changes else do,
        caution=" ".join(row.words for row in rows if isinstance(row, Caution)),
        blank=next((row for row in rows if isinstance(row, Blank)), None),
        outcomes=GONE_FEWER_SAME if head.changes else outcomes,
        chances=chances,
    )
    if OTHERS not in chances:
        raise ValueError(f"'{head.name}' has no chances under '{OTHERS}'")
    for cause, each in chances.items():
        if len(each) != len(form.outcomes) or abs(sum(each) - 1.0) > 1e-9:
            raise ValueError(f"chances of '{head.name}' under '{cause}' are no distribution")
    return form


CATALOGUE = {head.name: whole(head, rows) for head, rows in blocks(_TABLE, CheckForm)}
"""Every check by its name."""


def fitting(scene: Scene) -> list[CheckForm]:
    """The checks that may be proposed, in the words of the chain."""
    return [form.told(scene.chain) for form in CATALOGUE.values() if form.fits(scene)]


def change_form(check: str) -> CheckForm:
    """The check of this name that changes the machine; BadInput where there is none."""
    form = CATALOGUE.get(check)
    if form is None or not form.changes:
        known = ", ".join(form.name for form in CATALOGUE.values() if form.changes)
        raise BadInput(f"check '{check}'", "no check of this name changes anything", f"use {known}")
    return form


def form_of(check: str, outcome: str) -> CheckForm:
    """The check of this name; BadInput where there is none, or it has no such outcome."""
    form = CATALOGUE.get(check)
    if form is None:
        known = ", ".join(sorted(CATALOGUE))
        raise BadInput(f"check '{check}'", "there is no such check", f"use one of {known}")
    names = [each.name for each in form.outcomes]
    if outcome not in names:
        known = ", ".join(names)
        raise BadInput(f"check '{check}'", f"no outcome '{outcome}'", f"use one of {known}")
    return form
