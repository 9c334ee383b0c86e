"""The host on top of the plant: an update each PERIOD_S, or so; what befalls host and link."""

from collections.abc import Iterable

import msgspec

from client.simulated.acting import actors_of, label_of
from client.simulated.faults import Fault, HostRestart, LinkDrop, Stall
from client.simulated.plant import HEATERS, SENSORS, Plant, stream
from client.simulated.rhythm import PERIOD_S
from client.simulated.scenario import Scenario
from client.simulated.status import Flat, status_of


class Truth(msgspec.Struct, frozen=True):
    """What really was at a moment."""

    time_s: float
    element_c: dict[str, float]
    """Temperature at each sensor, °C, by channel."""
    element_ohm: dict[str, float]
    input_ohm: dict[str, float]
    """Resistance at the converter's input, Ω; ten references and more: open."""
    block_c: dict[str, float]
    """Temperature of each heater's block, °C."""
    power: dict[str, float]
    """Power asked for, 0…1."""
    faults: tuple[str, ...]
    """Faults that showed since the update before."""


class MachineMoment(msgspec.Struct, frozen=True):
    """One turn of the host: an update, or why there is none."""

    time_s: float
    """Simulated time since the scenario began."""
    sent_s: float
    """Simulated time at which the update leaves; never falls."""
    host_s: float
    """Time since the host started: what the update says."""
    link_up: bool
    changes: Flat | None
    """What changed since the last update that left; None when none leaves."""
    truth: Truth

    @property
    def clock_ms(self) -> int:
        """The same as `host_s`, as it is sent."""
        return round(self.host_s * 1000.0)


class Machine:
    """A scenario, running. The same scenario and seed give the same moments."""

    def __init__(self, scenario: Scenario, seed: int = 0) -> None:
        self._sending = scenario.sending
        self._rng = stream(seed, "sending")
        self._plant = Plant(scenario, seed, actors_of(scenario.faults, seed))
        self._turn = 0
        self._sent_s = 0.0
        self._stalls = _spans(scenario.faults, Stall)
        self._drops = _spans(scenario.faults, LinkDrop)
        self._restarts = [fault for fault in scenario.faults if isinstance(fault, HostRestart)]
        self._started_s = -1.0
        """Time at which the host started."""
        self._known: Flat = {}

    @property
    def known(self) -> Flat:
        """Whole picture as last sent; not to be changed."""
        return self._known

    @property
    def host_s(self) -> float:
        """Time since the host started, now."""
        return round(self._plant.time_s - self._started_s, 3)

    def advance(self) -> MachineMoment:
        """Simulate up to the next update."""
        sending, rng = self._sending, self._rng
        jitter, late, how_late, lost = rng.gauss(0.0, 1.0), rng.random(), rng.random(), rng.random()
        self._turn += 1
        wander_s = min(max(jitter, -3.0), 3.0) * sending.jitter_s
        time_s = round(self._turn * PERIOD_S + wander_s, 3)
        plant = self._plant
        plant.run_to(time_s)
        link_up, is_booting = self._host_at(time_s)
        leaves = link_up and not _held(self._stalls, time_s)
        # The first update is never skipped: it carries the whole status.
        leaves = leaves and (lost >= sending.lost or self._turn == 1)
        delay_s = how_late * sending.latest_s if leaves and late < sending.late else 0.0
        self._sent_s = max(self._sent_s, time_s + delay_s)
        truth = self._truth(time_s, link_up)
        changes = self._changes(is_booting) if leaves else None
        host_s = round(time_s - self._started_s, 3)
        return MachineMoment(time_s, self._sent_s, host_s, link_up, changes, truth)

    def _host_at(self, time_s: float) -> tuple[bool, bool]:
        """Whether the link is up and whether the host (or the controller) is booting."""
        link_up = not _held(self._drops, time_s)
        is_booting = self._plant.boot_left_s > 1e-9
        for fault in self._restarts:
            since_s = time_s - fault.at_s
            if 0.0 <= since_s < fault.down_s:
                link_up = False
            elif fault.down_s <= since_s < fault.down_s + fault.boot_s:
                is_booting = True
                self._started_s = fault.at_s + fault.down_s
            elif since_s >= fault.down_s + fault.boot_s:
                self._started_s = max(self._started_s, fault.at_s + fault.down_s)
        return link_up, is_booting

    def _changes(self, is_booting: bool) -> Flat:
        now = status_of(self._plant, is_booting)
        known = self._known
        changes = {path: value for path, value in now.items() if known.get(path) != value}
        known.update(changes)
        return changes

    def _truth(self, time_s: float, link_up: bool) -> Truth:
        plant = self._plant
        blocks, chains = plant.blocks, plant.chains
        acted = plant.take_acted()
        hosts = [label_of(f) for f in self._restarts if 0 <= time_s - f.at_s < f.down_s + f.boot_s]
        if not link_up and not hosts:
            hosts.append("link-drop")
        if _held(self._stalls, time_s):
            hosts.append("stall")
        return Truth(
            time_s,
            {
                "nozzle": blocks["nozzle"].tip_c,
                "bed": blocks["bed"].tip_c,
                "chamber": plant.air.celsius,
                "board": plant.electronics.celsius,
            },
            {name: chains[name].element_ohm for name in SENSORS},
            {name: chains[name].input_ohm for name in SENSORS},
            {name: blocks[name].core_c for name in HEATERS},
            {name: plant.regulators[name].power for name in HEATERS},
            (*acted, *hosts),
        )


def _spans(faults: Iterable[Fault], kind: type[LinkDrop | Stall]) -> list[tuple[float, float]]:
    return [(f.at_s, f.at_s + f.for_s) for f in faults if isinstance(f, kind)]


def _held(spans: list[tuple[float, float]], time_s: float) -> bool:
    return any(start_s <= time_s < end_s for start_s, end_s in spans)
