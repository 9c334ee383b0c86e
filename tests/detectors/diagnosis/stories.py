"""One story for each cause, with the chain facts that its owner would know.

`curve-setting` has none among these: at room temperature another curve is off by some tenths of
a kelvin, within the element's own tolerance, and no event shows it. An element that is off by
ten shows at once; it and other leads of a circuit of three wires are among `low_stories`.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from shared.chain import Chain
from shared.words import Cause
from tests.detectors.diagnosis.handmade import (
    FULL,
    PRINT_S,
    Machine,
    Story,
    limit_flags,
)

Rng = np.random.Generator
SOME = Chain(wires=3, lead_awg=28, lead_m=0.9)


@dataclass
class Moments:
    """Moments that come by chance and last a while; `now` asks whether one is on."""

    per_s: float
    shortest_s: float
    longest_s: float
    until_s: float = -1.0
    size: float = 0.0
    last_s: float = 0.0

    def now(self, time_s: float, rng: Rng) -> bool:
        if time_s < self.last_s:
            self.until_s = -1.0
        self.last_s = time_s
        if time_s >= self.until_s + 0.5 and rng.random() < self.per_s * 0.5:
            self.until_s = time_s + float(rng.uniform(self.shortest_s, self.longest_s))
            self.size = float(rng.random())
        return time_s < self.until_s


def loose() -> Story:
    moments = Moments(0.1, 0.3, 2.5)

    def wire(machine: Machine, channel: str, ohm: float, rng: Rng) -> float:
        if channel != "nozzle" or not machine.moving or not moments.now(machine.time_s, rng):
            return ohm
        return math.inf if moments.size > 0.75 else ohm + 2.0 + 40.0 * moments.size

    return Story(wire=wire)


def broken() -> Story:
    def wire(machine: Machine, channel: str, ohm: float, rng: Rng) -> float:
        return math.inf if channel == "nozzle" and machine.x_mm > 196.0 else ohm

    return Story(wire=wire)


def bus() -> Story:
    moments = Moments(0.05, 1.0, 4.0)

    def code(machine: Machine, channel: str, code: int, rng: Rng) -> int | None:
        if channel != "nozzle" or not moments.now(machine.time_s, rng):
            return code
        luck = float(rng.random())
        if luck < 0.3:
            return code ^ (1 << int(rng.integers(7, 13)))
        return 0 if luck < 0.45 else FULL - 1 if luck < 0.55 else None if luck < 0.7 else code

    return Story(code=code)


def supply() -> Story:
    moments = Moments(0.03, 0.5, 2.0)

    def code(machine: Machine, channel: str, code: int, rng: Rng) -> int | None:
        if channel == "nozzle":
            moments.now(machine.time_s, rng)
        dips = machine.time_s < moments.until_s
        return round(code * (0.985 - 0.02 * moments.size)) if dips else code

    return Story(code=code)


def pickup(volts: float) -> Story:
    """Bursts of either sign on some readings while it moves, of a hundred codes and more."""

    def code(machine: Machine, channel: str, code: int, rng: Rng) -> int | None:
        if channel == "nozzle" and machine.moving and rng.random() < 0.3:
            return min(max(code + round(volts * 60.0 * float(rng.normal())), 0), FULL - 1)
        return code

    def flags(machine: Machine, channel: str, code: int) -> str:
        hit = channel == "nozzle" and machine.moving and code % 17 == 0
        return "input-out-of-range" if hit else limit_flags(machine, channel, code)

    return Story(code=code, flags=flags)


def ground() -> Story:
    def code(machine: Machine, channel: str, code: int, rng: Rng) -> int | None:
        return code + 45 if channel == "nozzle" and machine.on["bed"] else code

    return Story(code=code)


def leads() -> Story:
    def wire(machine: Machine, channel: str, ohm: float, rng: Rng) -> float:
        return ohm + 2.6 if channel == "nozzle" else ohm

    return Story(wire=wire)


def wires() -> Story:
    """Three wires of 3 m AWG 32 on a board set for two: 1.5 leads stay in, 2.4 Ω."""

    def wire(machine: Machine, channel: str, ohm: float, rng: Rng) -> float:
        return ohm + 2.4 if channel == "nozzle" else ohm

    return Story(wire=wire)


def failed() -> Story:
    def wire(machine: Machine, channel: str, ohm: float, rng: Rng) -> float:
        return 0.8 if channel == "nozzle" and machine.time_s > PRINT_S + 250.0 else ohm

    return Story(wire=wire)


def seat() -> Story:
    def slip(machine: Machine, rng: Rng) -> None:
        if machine.time_s > PRINT_S + 200.0:
            machine.coupling["nozzle"] = max(machine.coupling["nozzle"] - 0.004, 0.72)

    return Story(machine=slip)


def heater() -> Story:
    def out(machine: Machine, rng: Rng) -> None:
        if machine.time_s > PRINT_S + 200.0:
            machine.works["nozzle"] = 0.0

    return Story(machine=out)


RESTART_S = PRINT_S - 60.0


def settling() -> Story:
    def restart(machine: Machine, rng: Rng) -> None:
        if RESTART_S <= machine.time_s < RESTART_S + 0.05:
            machine.uptime_s = 0.0
        if RESTART_S <= machine.time_s < RESTART_S + 2.0:
            machine.silent = True

    def code(machine: Machine, channel: str, code: int, rng: Rng) -> int | None:
        since_s = machine.time_s - RESTART_S
        if since_s < 0.0 or channel == "chamber":
            return code
        return round(code + (0.8 * FULL - code) * math.exp(-since_s / 4.0))

    return Story(machine=restart, code=code)


def mains() -> Story:
    """60 Hz on a converter set for 50 Hz: folded down to one wave in 14 s."""

    def code(machine: Machine, channel: str, code: int, rng: Rng) -> int | None:
        wave = 12.0 * math.sin(2.0 * math.pi * machine.time_s / 14.0)
        return code + round(wave) if channel == "nozzle" else code

    return Story(code=code)


def host_load() -> Story:
    def stall(machine: Machine, rng: Rng) -> None:
        for at_s in (500.0, 760.0, 1020.0, 1400.0):
            machine.silent = machine.silent or at_s <= machine.time_s < at_s + 22.0

    return Story(machine=stall)


def network() -> Story:
    def drop(machine: Machine, rng: Rng) -> None:
        machine.gone = machine.silent = False
        for at_s in (500.0, 760.0, 1020.0, 1400.0):
            if at_s <= machine.time_s < at_s + 25.0:
                machine.gone = True
                machine.silent = machine.time_s >= at_s + 0.45
                machine.extra["host.state"] = "gone"

    return Story(machine=drop)


@dataclass(frozen=True)
class Known:
    """A story, the facts of the nozzle's chain, and where the cause stands by dialect."""

    story: Story
    chain: Chain = SOME
    channels: tuple[str, ...] = ("nozzle",)
    """Where it shows."""
    places: dict[str, int] = field(default_factory=dict)
    """Place in which the cause must stand at least, where that is not the first."""


def stories() -> dict[Cause, Known]:
    """All causes but the one that no event shows."""
    return {
        Cause.LOOSE_CONNECTION: Known(loose()),
        Cause.BROKEN_LEAD: Known(broken(), places={"degrees": 2, "still": 2}),
        Cause.BUS_WIRING: Known(bus(), Chain(wires=3, bus="flying", bus_m=0.4)),
        Cause.SUPPLY: Known(supply(), channels=("*",)),
        Cause.INPUT_FILTER: Known(pickup(2.0), Chain(wires=3, capacitance_nf=47.0, lead_m=0.7)),
        Cause.CABLE_PICKUP: Known(pickup(3.0), Chain(wires=3, capacitance_nf=470.0, lead_m=2.2)),
        Cause.GROUND_LOOP: Known(ground(), Chain(wires=3, screened=True)),
        Cause.LEAD_RESISTANCE: Known(leads(), Chain(wires=2, lead_awg=30, lead_m=1.0)),
        Cause.WIRE_COUNT_SETTING: Known(wires(), Chain(wires=3, lead_awg=32, lead_m=3.0)),
        Cause.REFERENCE_SETTING: Known(Story(reference_ohm=432.0)),
        Cause.SENSOR_FAILED: Known(failed()),
        Cause.SENSOR_SEATING: Known(seat()),
        Cause.HEATER_CIRCUIT: Known(heater()),
        Cause.SETTLING_AFTER_RESTART: Known(
            settling(), channels=("nozzle", "*"), places={"degrees": 3}
        ),
        Cause.MAINS_PICKUP: Known(mains()),
        Cause.HOST_LOAD: Known(host_load(), channels=("*",)),
        Cause.NETWORK: Known(network(), channels=("*",), places={"degrees": 2}),
    }


def _says_open(machine: Machine, channel: str, code: int) -> str:
    """No current in the element, and a code at its lower end."""
    return "open;short" if code <= 200 else limit_flags(machine, channel, code)


def subtracted() -> Story:
    """A loose contact in the lead whose drop is subtracted: ohms less, or 0 when it opens."""
    moments = Moments(0.1, 0.3, 2.5)

    def wire(machine: Machine, channel: str, ohm: float, rng: Rng) -> float:
        if channel != "nozzle" or not machine.moving or not moments.now(machine.time_s, rng):
            return ohm
        return 0.0 if moments.size > 0.75 else ohm - 2.0 - 40.0 * moments.size

    return Story(wire=wire, flags=_says_open)


def parted() -> Story:
    """A current lead of three wires that parts at one place: 0 V between the sense inputs."""

    def wire(machine: Machine, channel: str, ohm: float, rng: Rng) -> float:
        return 0.0 if channel == "nozzle" and machine.x_mm > 196.0 else ohm

    return Story(wire=wire, flags=_says_open, noise_codes=0.3)


def unwired() -> Story:
    """Two wires on a board set for four: nothing between the sense inputs, from the first on."""

    def wire(machine: Machine, channel: str, ohm: float, rng: Rng) -> float:
        return 0.0 if channel == "nozzle" else ohm

    return Story(wire=wire, flags=_says_open)


def tenth() -> Story:
    """A Pt100 where a Pt1000 is expected, in parts of what is expected."""

    def wire(machine: Machine, channel: str, ohm: float, rng: Rng) -> float:
        return 0.1 * ohm if channel == "nozzle" else ohm

    return Story(wire=wire)


def low_stories() -> dict[str, tuple[Cause, Known]]:
    """What reads low though no element is shorted and no bus errs."""
    two = Chain(wires=2, lead_awg=28, lead_m=0.9)
    return {
        "a contact in the lead that is subtracted": (Cause.LOOSE_CONNECTION, Known(subtracted())),
        "a current lead that parts": (Cause.BROKEN_LEAD, Known(parted())),
        "empty sense terminals": (Cause.WIRE_COUNT_SETTING, Known(unwired(), two)),
        "a Pt100 for a Pt1000": (Cause.CURVE_SETTING, Known(tenth())),
    }
