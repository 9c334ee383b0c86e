"""Simulated printers with a known cause, drawn at random: what calibration is measured on.

Every cause has the same weight. A cause has several appearances, and several causes share
one (an open from the first reading, say); the shares below are assumptions. Chain facts are
drawn too: those that bring a cause about lean toward it, all others are as they come: wires,
element, excitation, reference, bits and noise. Which lead is bad is drawn among those that there
are; what it does is the circuit's. Where a lead's ohms read as none, only its openings are
drawn, and ohms in a contact scale with R0: what does not show is no case.
Of `curve-setting` the wrong element is drawn, off by ten. Another curve is off by some tenths
of a kelvin at room temperature, which no event shows.
Leads and straps shift a Pt1000 by too little to show: these are drawn with a Pt100.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, get_args

import msgspec
import numpy as np

from client.simulated import faults
from client.simulated.scenario import Expect, ProgramStep, Scenario, Sensor, Sensors, Start
from detectors.diagnosis.table import Candidate
from shared.chain import Chain, Excitation
from shared.circuit import FITTED, Lead, lead_effect, reads_broken
from shared.converter import REFERENCES, step_ohm
from shared.leads import path_ohm
from shared.words import EVERY_CHANNEL, Cause

Rng = np.random.Generator
FOR_S = 800.0
LONGEST_COLD_S = 260.0
"""An offset shows only once the machine has stood cold for some minutes."""
LEAST_OFFSET_OHM = 2.2
"""5 K and some of a Pt100: the documented least offset."""
LEAST_RATIO = 0.024
"""Two references that differ by less shift a cold reading by less than that."""
TENS = (
    (100.0, 1000.0, 1000.0, "Pt100 on a Pt1000 input"),
    (1000.0, 1000.0, 100.0, "Pt1000, host set for Pt100"),
    (100.0, 100.0, 1000.0, "Pt100, host set for Pt1000"),
    (1000.0, 100.0, 100.0, "Pt1000 on a Pt100 input"),
)
"""R0 of the element, of what the board's reference is for, and as told; Ω."""
TENS_SHARE = (0.4, 0.25, 0.25, 0.1)
"""The last saturates, and looks like a lead that was open from the first reading on."""


@dataclass(frozen=True, slots=True)
class Draw:
    """A scenario, its true cause (None: one that the table does not know) and where it shows."""

    cause: Candidate
    scenario: Scenario
    seed: int
    places: tuple[str, ...]
    appearance: str
    chain: Chain
    """What is fitted where it shows."""
    lead: Lead | None
    """The lead that is bad, where one is."""

    @property
    def way(self) -> int:
        """Which way this lead's jumps go: 1 up, -1 down, 0: no lead is bad."""
        if self.lead is None:
            return 0
        chain = self.chain
        effect = lead_effect(chain.wires, chain.excitation, self.lead)
        end, _ = reads_broken(chain.wires, chain.excitation, self.lead)
        return int(math.copysign(1.0, effect)) if effect else 1 if end == "upper" else -1


@dataclass(slots=True)
class _Plan:
    """What a cause asks of the machine, beside what is drawn for any."""

    appearance: str
    chain: dict[str, Any]
    """Facts of the broken channel's chain."""
    found: tuple[faults.AnyFault, ...] = ()
    believed: dict[str, Any] | None = None
    channel: str = "nozzle"
    places: tuple[str, ...] = ()
    is_cold: bool = False


def draw(cause: Candidate, seed: int) -> Draw:
    """One printer with this fault."""
    rng = np.random.default_rng([seed, *str(cause).encode()])
    sensors = {
        "nozzle": Sensor(chain=_chain(rng)),
        "bed": Sensor(chain=_chain(rng, moving=bool(rng.random() < 0.4))),
        "chamber": Sensor(chain=_chain(rng, moving=False)),
    }
    plan = PLANS[cause](rng, sensors["nozzle"].chain)
    channel = plan.channel
    fitted = msgspec.structs.replace(sensors[channel].chain, **plan.chain)
    sensors[channel] = Sensor(chain=fitted, believed=plan.believed or {})
    start, steps = _program(rng, plan.is_cold)
    scenario = Scenario(
        title=f"{cause}, {plan.appearance}",
        shows="a random draw",
        for_s=FOR_S,
        start=start,
        channels=Sensors(**sensors),
        steps=steps,
        faults=plan.found,
        expect=Expect(healthy=True),
    )
    lead = next((found for each in plan.found if (found := getattr(each, "lead", None))), None)
    places = plan.places or (channel,)
    return Draw(cause, scenario, seed, places, plan.appearance, fitted, lead)


def _chain(rng: Rng, *, moving: bool = True) -> Chain:
    flying = bool(rng.random() < 0.2)
    r0_ohm = _one(rng, (100.0, 1000.0))
    reference_ohm = r0_ohm * _one(rng, REFERENCES)
    bits = int(rng.integers(12, 25))
    noise_ohm = r0_ohm * _log(rng, 2e-5, 1e-4)
    return Chain(
        r0_ohm=r0_ohm,
        reference_ohm=reference_ohm,
        bits=bits,
        excitation=_one(rng, get_args(Excitation)),
        wires=_one(rng, (2, 3, 3, 4)),
        lead_awg=_one(rng, (26, 28, 30)),
        lead_m=float(rng.uniform(0.5, 1.4)),
        # An input of ten times the resistance settles with a tenth of the capacitance.
        capacitance_nf=_one(rng, (100.0, 100.0, 220.0, 470.0)) * 100.0 / r0_ohm,
        screened=bool(rng.random() < 0.2),
        moving=moving,
        noise_codes=noise_ohm / step_ohm(reference_ohm, bits),
        bus="flying" if flying else "plugged",
        bus_m=float(rng.uniform(0.1, 0.5)) if flying else 0.0,
    )


def _times(chain: Chain) -> float:
    """R0 over that of a Pt100."""
    return chain.r0_ohm / 100.0


def _as_pt100(chain: Chain) -> dict[str, Any]:
    """The same chain with a Pt100 and all that goes with it."""
    times = _times(chain)
    return {
        "r0_ohm": 100.0,
        "reference_ohm": chain.reference_ohm / times,
        "capacitance_nf": chain.capacitance_nf * times,
    }


def _program(rng: Rng, is_cold: bool) -> tuple[Start, tuple[ProgramStep, ...]]:
    """A print with a pause and a bed that is off for a while; warm from the start, or cold."""
    target = _one(rng, (200.0, 210.0, 225.0, 240.0))
    bed = _one(rng, (55.0, 60.0, 70.0))
    room = float(rng.uniform(19.0, 27.0))
    begin_s = float(rng.uniform(20.0, 60.0))
    start = Start(room_c=room, nozzle_c=target, bed_c=bed, chamber_c=room + 6.0, board_c=room + 5.0)
    at_s = 0.0
    if is_cold:
        start = Start(room_c=room)
        at_s = LONGEST_COLD_S
        begin_s = at_s + 150.0
    pause_s = begin_s + float(rng.uniform(120.0, 200.0))
    go_s = pause_s + float(rng.uniform(40.0, 80.0))
    off_s = begin_s + float(rng.uniform(40.0, 80.0))
    steps = (
        ProgramStep(at_s=at_s, nozzle_c=target, bed_c=bed),
        ProgramStep(at_s=begin_s, printing=True, mm_s=float(rng.uniform(60.0, 140.0))),
        ProgramStep(at_s=begin_s + 40.0, fan=float(rng.uniform(0.2, 1.0))),
        ProgramStep(at_s=off_s, bed_c=0.0),
        ProgramStep(at_s=pause_s, printing=False),
        ProgramStep(at_s=go_s, printing=True),
        ProgramStep(at_s=go_s + 30.0, bed_c=bed),
    )
    return start, steps


# -- one plan for each cause --


def _lead(rng: Rng, chain: Chain) -> tuple[Lead, bool]:
    """Some lead of the chain, and whether ohms in it are read at all."""
    lead: Lead = _one(rng, FITTED[chain.wires])
    return lead, lead_effect(chain.wires, chain.excitation, lead) != 0.0


def _loose(rng: Rng, chain: Chain) -> _Plan:
    if rng.random() < 0.12:
        return _opened(rng, _lead(rng, chain)[0], "open")
    still = bool(rng.random() < 0.25)
    lead, is_read = _lead(rng, chain)
    least, times = float(rng.uniform(1.0, 4.0)), _times(chain)
    fault = faults.LooseContact(
        channel="nozzle",
        lead=lead,
        when="always" if still else "moving",
        at_s=float(rng.uniform(30.0, 150.0)),
        per_min=_log(rng, 1.5, 20.0),
        least_ohm=least * times,
        most_ohm=(least + float(rng.uniform(5.0, 40.0))) * times,
        opens=float(rng.uniform(0.0, 0.6)) if is_read else float(rng.uniform(0.5, 1.0)),
    )
    return _Plan("moments, also at rest" if still else "moments", {}, (fault,))


def _broken(rng: Rng, chain: Chain) -> _Plan:
    lead, is_read = _lead(rng, chain)
    if rng.random() < 0.3:
        return _opened(rng, lead, "open")
    low_end = bool(rng.random() < 0.5)
    wide = float(rng.uniform(15.0, 40.0))
    opens = bool(rng.random() < 0.6) or not is_read
    fault = faults.BreakAt(
        channel="nozzle",
        lead=lead,
        axis=_one(rng, ("x", "x", "x", "y")),
        at_s=float(rng.uniform(30.0, 120.0)),
        from_mm=0.0 if low_end else 190.0 - wide,
        to_mm=30.0 + wide if low_end else 250.0,
        ohm=None if opens else float(rng.uniform(3.0, 40.0)) * _times(chain),
    )
    return _Plan("at one place", {}, (fault,))


def _opened(rng: Rng, lead: Lead | None, appearance: str, from_first: float = 0.5) -> _Plan:
    first = bool(rng.random() < from_first)
    at_s = 0.0 if first else float(rng.uniform(60.0, 500.0))
    fault = faults.Open(channel="nozzle", lead=lead, at_s=at_s)
    words = f"{appearance} from the first reading" if first else f"{appearance} in mid-run"
    return _Plan(words, {}, (fault,))


def _bus(rng: Rng, _: Chain) -> _Plan:
    facts = {"bus": "flying", "bus_m": float(rng.uniform(0.1, 0.6))}
    if rng.random() < 0.15:
        facts = {"bus": "plugged", "bus_m": 0.0}
    at_s = float(rng.uniform(30.0, 200.0))
    if rng.random() < 0.25:
        # A reading that freezes before its noise is known can't be told from a quiet one.
        fault = faults.Bus(channels=("nozzle",), at_s=at_s + 220.0, lost=1.0)
        return _Plan("no answer any more", facts | {"bits": 16, "noise_codes": 1.0}, (fault,))
    fault = faults.Bus(
        channels=("nozzle",),
        at_s=at_s,
        flips=float(rng.uniform(0.05, 0.3)),
        zeros=float(rng.uniform(0.0, 0.1)),
        ones=float(rng.uniform(0.0, 0.1)),
        lost=float(rng.uniform(0.0, 0.3)),
        per_min=float(rng.uniform(2.0, 8.0)),
    )
    return _Plan("wrong codes in bursts", facts, (fault,))


def _supply(rng: Rng, _: Chain) -> _Plan:
    fault = faults.SupplyDip(
        at_s=float(rng.uniform(30.0, 120.0)),
        per_min=float(rng.uniform(1.0, 5.0)),
        depth=float(rng.uniform(0.012, 0.05)),
    )
    return _Plan("dips on all channels", {}, (fault,), places=(EVERY_CHANNEL, "nozzle", "bed"))


def _filter(rng: Rng, chain: Chain) -> _Plan:
    facts = {
        "capacitance_nf": _one(rng, (22.0, 47.0, 100.0, 100.0)) / _times(chain),
        "lead_m": float(rng.uniform(0.4, 1.2)),
    }
    return _Plan("bursts through a small filter", facts, (_pickup(rng, 2.0, 5.0),))


def _cable(rng: Rng, chain: Chain) -> _Plan:
    facts = {
        "capacitance_nf": _one(rng, (220.0, 330.0, 470.0)) / _times(chain),
        "lead_m": float(rng.uniform(1.2, 3.0)),
        "screened": False,
    }
    return _Plan("strong bursts on a long cable", facts, (_pickup(rng, 14.0, 30.0),))


def _pickup(rng: Rng, low: float, high: float) -> faults.Pickup:
    return faults.Pickup(
        channel="nozzle",
        at_s=float(rng.uniform(0.0, 100.0)),
        volts=float(rng.uniform(low, high)),
        share=float(rng.uniform(0.15, 0.6)),
    )


def _ground(rng: Rng, _: Chain) -> _Plan:
    heater = _one(rng, ("nozzle", "bed"))
    both = bool(rng.random() < 0.4)
    fault = faults.GroundLoop(
        channels=("nozzle", "bed") if both else ("nozzle",),
        heater=heater,
        volts=float(rng.choice([-1.0, 1.0])) * _log(rng, 2e-3, 2e-2),
    )
    facts = {"screened": bool(rng.random() < 0.7)}
    return _Plan(
        "an error with the heater's current", facts, (fault,), places=("nozzle", "bed", "*")
    )


def _leads(rng: Rng, chain: Chain) -> _Plan:
    """Longer and thinner leads than its owner believes: declared ones are allowed for."""
    believed = {"lead_awg": 28, "lead_m": 1.0}
    facts = {"wires": 2, "lead_awg": _one(rng, (32, 34)), "lead_m": float(rng.uniform(2.8, 4.5))}
    facts |= _as_pt100(chain)
    return _Plan("more lead than told", facts, believed=believed, is_cold=True)


def _wires(rng: Rng, chain: Chain) -> _Plan:
    if rng.random() < 0.15:
        wires, strapped = _one(rng, ((2, 3), (2, 4), (3, 4)))
        return _Plan("empty terminals", {"wires": wires, "strapped_for": strapped},
                     believed={"strapped_for": wires}, is_cold=True)  # fmt: skip
    wires = _one(rng, (3, 3, 4))
    facts = {"wires": wires, "strapped_for": 2, "lead_awg": _one(rng, (30, 32))}
    facts |= _as_pt100(chain)
    per_m = path_ohm(Chain(wires=2, lead_awg=facts["lead_awg"], lead_m=1.0, contact_ohm=0.0))
    facts["lead_m"] = LEAST_OFFSET_OHM / per_m * float(rng.uniform(1.0, 1.8))
    return _Plan("straps for two", facts, believed={"strapped_for": wires}, is_cold=True)


def _reference(rng: Rng, chain: Chain) -> _Plan:
    ways = [(a, b) for a in REFERENCES for b in REFERENCES if abs(a / b - 1.0) > LEAST_RATIO]
    true, taken = ways[int(rng.integers(len(ways)))]
    facts = {"reference_ohm": true * chain.r0_ohm}
    believed = {"reference_ohm": taken * chain.r0_ohm}
    return _Plan("another reference", facts, believed=believed, is_cold=True)


def _curve(rng: Rng, chain: Chain) -> _Plan:
    """Another element than the input's, or than the host is set for, by ten."""
    element, board, taken, words = TENS[int(rng.choice(len(TENS), p=TENS_SHARE))]
    times = _one(rng, REFERENCES)
    facts = {
        "r0_ohm": element,
        "reference_ohm": board * times,
        "capacitance_nf": chain.capacitance_nf * chain.r0_ohm / board,
    }
    return _Plan(words, facts, believed={"r0_ohm": taken}, is_cold=bool(rng.random() < 0.7))


def _failed(rng: Rng, _: Chain) -> _Plan:
    if rng.random() < 0.2:
        return _opened(rng, None, "open", 0.2)
    first = bool(rng.random() < 0.2)
    fault = faults.Short(
        channel="nozzle",
        at_s=0.0 if first else float(rng.uniform(60.0, 500.0)),
        ohm=float(rng.uniform(0.1, 3.0)),
    )
    return _Plan("short from the first reading" if first else "short in mid-run", {}, (fault,))


def _seat(rng: Rng, _: Chain) -> _Plan:
    fault = faults.Slip(
        channel="nozzle",
        at_s=float(rng.uniform(200.0, 400.0)),
        left=float(rng.uniform(0.08, 0.35)),
        over_s=float(rng.uniform(2.0, 30.0)),
        air_w_k=float(rng.uniform(0.01, 0.03)),
    )
    return _Plan("out of its seat", {}, (fault,))


def _heater(rng: Rng, _: Chain) -> _Plan:
    channel = _one(rng, ("nozzle", "nozzle", "bed"))
    cold = bool(rng.random() < 0.3)
    fault = faults.HeaterOut(heater=channel, at_s=0.0 if cold else float(rng.uniform(120.0, 450.0)))
    words = "never warm" if cold else "in mid-run"
    return _Plan(f"{channel} {words}", {}, (fault,), channel=channel, is_cold=cold)


def _settling(rng: Rng, _: Chain) -> _Plan:
    fault = faults.ControllerRestart(
        at_s=float(rng.uniform(100.0, 500.0)),
        boot_s=float(rng.uniform(1.0, 4.0)),
        settle_s=float(rng.uniform(3.0, 6.0)),
        from_code=float(rng.choice([rng.uniform(0.0, 0.2), rng.uniform(0.6, 0.95)])),
    )
    return _Plan("settles after a restart", {}, (fault,), places=("nozzle", "bed", EVERY_CHANNEL))


def _mains(rng: Rng, _: Chain) -> _Plan:
    fault = faults.Hum(
        channel="nozzle",
        volts=float(rng.uniform(0.006, 0.03)),
        hz=60.0,
        clock_error=float(rng.uniform(8e-4, 2e-3)),
    )
    return _Plan("hum of the other mains", {"conversion_ms": 20.0}, (fault,))


def _host(rng: Rng, _: Chain) -> _Plan:
    at_s = np.sort(rng.uniform(40.0, 700.0, int(rng.integers(2, 6))))
    stalls = tuple(faults.Stall(at_s=float(s), for_s=_log(rng, 8.0, 25.0)) for s in at_s)
    if rng.random() < 0.5:
        remark = "halted: the host was too busy to serve the machine in time"
        halt = faults.Halt(at_s=float(at_s[-1]) + 30.0, remark=remark)
        return _Plan("silent, then halted", {}, (*stalls, halt), places=(EVERY_CHANNEL,))
    return _Plan("silent at times", {}, stalls, places=(EVERY_CHANNEL,))


def _network(rng: Rng, _: Chain) -> _Plan:
    at_s = np.sort(rng.uniform(40.0, 700.0, int(rng.integers(1, 6))))
    drops = tuple(faults.LinkDrop(at_s=float(s), for_s=_log(rng, 3.0, 40.0)) for s in at_s)
    return _Plan("link lost at times", {}, drops, places=(EVERY_CHANNEL,))


def _unknown(rng: Rng, _: Chain) -> _Plan:
    """What the table has no row for: a hand at the machine, one stray reading from nowhere."""
    if rng.random() < 0.6:
        remark = _one(rng, ("stopped at the panel", "the door was opened", "out of material"))
        halt = faults.Halt(at_s=float(rng.uniform(60.0, 600.0)), remark=f"halted: {remark}")
        return _Plan("stopped by hand", {}, (halt,), places=(EVERY_CHANNEL,))
    at_s = float(rng.uniform(100.0, 600.0))
    stray = faults.Pickup(
        channel="nozzle", at_s=at_s, until_s=at_s + 0.3, volts=30.0, when="always", share=1.0
    )
    return _Plan("one stray reading", {"capacitance_nf": 220.0}, (stray,))


PLANS: dict[Candidate, Callable[[Rng, Chain], _Plan]] = {
    Cause.LOOSE_CONNECTION: _loose,
    Cause.BROKEN_LEAD: _broken,
    Cause.BUS_WIRING: _bus,
    Cause.SUPPLY: _supply,
    Cause.INPUT_FILTER: _filter,
    Cause.CABLE_PICKUP: _cable,
    Cause.GROUND_LOOP: _ground,
    Cause.LEAD_RESISTANCE: _leads,
    Cause.WIRE_COUNT_SETTING: _wires,
    Cause.REFERENCE_SETTING: _reference,
    Cause.CURVE_SETTING: _curve,
    Cause.SENSOR_FAILED: _failed,
    Cause.SENSOR_SEATING: _seat,
    Cause.HEATER_CIRCUIT: _heater,
    Cause.SETTLING_AFTER_RESTART: _settling,
    Cause.MAINS_PICKUP: _mains,
    Cause.HOST_LOAD: _host,
    Cause.NETWORK: _network,
    None: _unknown,
}


def _one(rng: Rng, of: tuple[Any, ...]) -> Any:
    return of[int(rng.integers(len(of)))]


def _log(rng: Rng, low: float, high: float) -> float:
    return math.exp(float(rng.uniform(math.log(low), math.log(high))))
