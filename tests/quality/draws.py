"""Simulated printers with a known cause, drawn at random: what calibration is measured on.

Every cause has the same weight. A cause has several appearances, and several causes share
one (an open from the first reading, say); the shares below are assumptions. Chain facts are
drawn too: those that bring a cause about lean toward it, all others are as they come.
`curve-setting` is left out: at room temperature another curve is off by some tenths of a
kelvin, which no event shows.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np

from client.simulated import faults
from client.simulated.scenario import Expect, Scenario, Sensor, Sensors, Start, Step
from detectors.diagnosis.table import Candidate
from shared.chain import Chain
from shared.leads import path_ohm
from shared.words import EVERY_CHANNEL, Cause

Rng = np.random.Generator
FOR_S = 800.0
LONGEST_COLD_S = 260.0
"""An offset shows only once the machine has stood cold for some minutes."""
LEAST_OFFSET_OHM = 2.2
"""5 K and some: the documented least offset."""


@dataclass(frozen=True, slots=True)
class Draw:
    """A scenario, its true cause (None: one that the table does not know) and where it shows."""

    cause: Candidate
    scenario: Scenario
    seed: int
    places: tuple[str, ...]
    appearance: str


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
    plan = PLANS[cause](rng)
    channel = plan.channel
    sensors = {
        "nozzle": Sensor(chain=_chain(rng)),
        "bed": Sensor(chain=_chain(rng, moving=bool(rng.random() < 0.4))),
        "chamber": Sensor(chain=_chain(rng, moving=False)),
    }
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
    return Draw(cause, scenario, seed, plan.places or (channel,), plan.appearance)


def _chain(rng: Rng, *, moving: bool = True) -> Chain:
    flying = bool(rng.random() < 0.2)
    return Chain(
        wires=_one(rng, (2, 3, 3, 4)),
        lead_awg=_one(rng, (26, 28, 30)),
        lead_m=float(rng.uniform(0.5, 1.4)),
        capacitance_nf=_one(rng, (100.0, 100.0, 220.0, 470.0)),
        screened=bool(rng.random() < 0.2),
        moving=moving,
        noise_codes=float(rng.uniform(0.3, 1.5)),
        bus="flying" if flying else "plugged",
        bus_m=float(rng.uniform(0.1, 0.5)) if flying else 0.0,
    )


def _program(rng: Rng, is_cold: bool) -> tuple[Start, tuple[Step, ...]]:
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
        Step(at_s=at_s, nozzle_c=target, bed_c=bed),
        Step(at_s=begin_s, printing=True, mm_s=float(rng.uniform(60.0, 140.0))),
        Step(at_s=begin_s + 40.0, fan=float(rng.uniform(0.2, 1.0))),
        Step(at_s=off_s, bed_c=0.0),
        Step(at_s=pause_s, printing=False),
        Step(at_s=go_s, printing=True),
        Step(at_s=go_s + 30.0, bed_c=bed),
    )
    return start, steps


# -- one plan for each cause --


def _loose(rng: Rng) -> _Plan:
    if rng.random() < 0.12:
        return _opened(rng, "open")
    still = bool(rng.random() < 0.25)
    least = float(rng.uniform(1.0, 4.0))
    fault = faults.LooseContact(
        channel="nozzle",
        when="always" if still else "moving",
        at_s=float(rng.uniform(30.0, 150.0)),
        per_min=_log(rng, 1.5, 20.0),
        least_ohm=least,
        most_ohm=least + float(rng.uniform(5.0, 40.0)),
        opens=float(rng.uniform(0.0, 0.6)),
    )
    # Four wires cancel what a contact adds: it shows where it opens only.
    return _Plan("moments, also at rest" if still else "moments", {"wires": _two_or_three(rng)},
                 (fault,))  # fmt: skip


def _broken(rng: Rng) -> _Plan:
    if rng.random() < 0.3:
        return _opened(rng, "open")
    low_end = bool(rng.random() < 0.5)
    wide = float(rng.uniform(15.0, 40.0))
    fault = faults.BreakAt(
        channel="nozzle",
        axis=_one(rng, ("x", "x", "x", "y")),
        at_s=float(rng.uniform(30.0, 120.0)),
        from_mm=0.0 if low_end else 190.0 - wide,
        to_mm=30.0 + wide if low_end else 250.0,
        ohm=None if rng.random() < 0.6 else float(rng.uniform(3.0, 40.0)),
    )
    return _Plan("at one place", {"wires": _two_or_three(rng)}, (fault,))


def _opened(rng: Rng, appearance: str, from_first: float = 0.5) -> _Plan:
    first = bool(rng.random() < from_first)
    fault = faults.Open(channel="nozzle", at_s=0.0 if first else float(rng.uniform(60.0, 500.0)))
    words = f"{appearance} from the first reading" if first else f"{appearance} in mid-run"
    return _Plan(words, {}, (fault,))


def _bus(rng: Rng) -> _Plan:
    facts = {"bus": "flying", "bus_m": float(rng.uniform(0.1, 0.6))}
    if rng.random() < 0.15:
        facts = {"bus": "plugged", "bus_m": 0.0}
    at_s = float(rng.uniform(30.0, 200.0))
    if rng.random() < 0.25:
        # A reading that freezes before its noise is known can't be told from a quiet one.
        fault = faults.Bus(channels=("nozzle",), at_s=at_s + 220.0, lost=1.0)
        return _Plan("no answer any more", facts | {"noise_codes": 1.0}, (fault,))
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


def _supply(rng: Rng) -> _Plan:
    fault = faults.SupplyDip(
        at_s=float(rng.uniform(30.0, 120.0)),
        per_min=float(rng.uniform(1.0, 5.0)),
        depth=float(rng.uniform(0.012, 0.05)),
    )
    return _Plan("dips on all channels", {}, (fault,), places=(EVERY_CHANNEL, "nozzle", "bed"))


def _filter(rng: Rng) -> _Plan:
    facts = {
        "capacitance_nf": _one(rng, (22.0, 47.0, 100.0, 100.0)),
        "lead_m": float(rng.uniform(0.4, 1.2)),
    }
    return _Plan("bursts through a small filter", facts, (_pickup(rng, 2.0, 5.0),))


def _cable(rng: Rng) -> _Plan:
    facts = {
        "capacitance_nf": _one(rng, (220.0, 330.0, 470.0)),
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


def _ground(rng: Rng) -> _Plan:
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


def _leads(rng: Rng) -> _Plan:
    """Longer and thinner leads than its owner believes: declared ones are allowed for."""
    believed = {"lead_awg": 28, "lead_m": 1.0}
    facts = {"wires": 2, "lead_awg": _one(rng, (32, 34)), "lead_m": float(rng.uniform(2.8, 4.5))}
    return _Plan("more lead than told", facts, believed=believed, is_cold=True)


def _wires(rng: Rng) -> _Plan:
    if rng.random() < 0.15:
        return _Plan("empty terminals", {"wires": 2, "strapped_for": 3},
                     believed={"strapped_for": 2}, is_cold=True)  # fmt: skip
    wires = _one(rng, (3, 3, 4))
    facts = {"wires": wires, "strapped_for": 2, "lead_awg": _one(rng, (30, 32))}
    per_m = path_ohm(Chain(wires=2, lead_awg=facts["lead_awg"], lead_m=1.0, contact_ohm=0.0))
    facts["lead_m"] = LEAST_OFFSET_OHM / per_m * float(rng.uniform(1.0, 1.8))
    return _Plan("straps for two", facts, believed={"strapped_for": wires}, is_cold=True)


def _reference(rng: Rng) -> _Plan:
    true, taken = _one(rng, ((430.0, 400.0), (400.0, 430.0), (430.0, 390.0)))
    return _Plan("another reference", {"reference_ohm": true},
                 believed={"reference_ohm": taken}, is_cold=True)  # fmt: skip


def _failed(rng: Rng) -> _Plan:
    if rng.random() < 0.2:
        return _opened(rng, "open", 0.2)
    first = bool(rng.random() < 0.2)
    fault = faults.Short(
        channel="nozzle",
        at_s=0.0 if first else float(rng.uniform(60.0, 500.0)),
        ohm=float(rng.uniform(0.1, 3.0)),
    )
    return _Plan("short from the first reading" if first else "short in mid-run", {}, (fault,))


def _seat(rng: Rng) -> _Plan:
    fault = faults.Slip(
        channel="nozzle",
        at_s=float(rng.uniform(200.0, 400.0)),
        left=float(rng.uniform(0.08, 0.35)),
        over_s=float(rng.uniform(2.0, 30.0)),
        air_w_k=float(rng.uniform(0.01, 0.03)),
    )
    return _Plan("out of its seat", {}, (fault,))


def _heater(rng: Rng) -> _Plan:
    channel = _one(rng, ("nozzle", "nozzle", "bed"))
    cold = bool(rng.random() < 0.3)
    fault = faults.HeaterOut(heater=channel, at_s=0.0 if cold else float(rng.uniform(120.0, 450.0)))
    words = "never warm" if cold else "in mid-run"
    return _Plan(f"{channel} {words}", {}, (fault,), channel=channel, is_cold=cold)


def _settling(rng: Rng) -> _Plan:
    fault = faults.ControllerRestart(
        at_s=float(rng.uniform(100.0, 500.0)),
        boot_s=float(rng.uniform(1.0, 4.0)),
        settle_s=float(rng.uniform(3.0, 6.0)),
        from_code=float(rng.choice([rng.uniform(0.0, 0.2), rng.uniform(0.6, 0.95)])),
    )
    return _Plan("settles after a restart", {}, (fault,), places=("nozzle", "bed", EVERY_CHANNEL))


def _mains(rng: Rng) -> _Plan:
    fault = faults.Hum(
        channel="nozzle",
        volts=float(rng.uniform(0.006, 0.03)),
        hz=60.0,
        clock_error=float(rng.uniform(8e-4, 2e-3)),
    )
    return _Plan("hum of the other mains", {"conversion_ms": 20.0}, (fault,))


def _host(rng: Rng) -> _Plan:
    at_s = np.sort(rng.uniform(40.0, 700.0, int(rng.integers(2, 6))))
    stalls = tuple(faults.Stall(at_s=float(s), for_s=_log(rng, 8.0, 25.0)) for s in at_s)
    if rng.random() < 0.5:
        remark = "halted: the host was too busy to serve the machine in time"
        halt = faults.Halt(at_s=float(at_s[-1]) + 30.0, remark=remark)
        return _Plan("silent, then halted", {}, (*stalls, halt), places=(EVERY_CHANNEL,))
    return _Plan("silent at times", {}, stalls, places=(EVERY_CHANNEL,))


def _network(rng: Rng) -> _Plan:
    at_s = np.sort(rng.uniform(40.0, 700.0, int(rng.integers(1, 6))))
    drops = tuple(faults.LinkDrop(at_s=float(s), for_s=_log(rng, 3.0, 40.0)) for s in at_s)
    return _Plan("link lost at times", {}, drops, places=(EVERY_CHANNEL,))


def _unknown(rng: Rng) -> _Plan:
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


PLANS: dict[Candidate, Callable[[Rng], _Plan]] = {
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


def _two_or_three(rng: Rng) -> int:
    return 2 if rng.random() < 0.4 else 3
