"""A world from its seed: machine, day, surroundings, chains, host, and at most one fault."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from shared.chain import Chain
from shared.updates import Batch
from shared.words import Cause, Kind
from tests.quality.cases import Label
from tests.quality.worlds.around import Around, draw_around
from tests.quality.worlds.chain import Sensor, draw_sensors, told_chain
from tests.quality.worlds.faults import FAULTS
from tests.quality.worlds.host import Host, draw_host, step_of
from tests.quality.worlds.machine import Heater, Machine, Rng, draw_machine
from tests.quality.worlds.program import Program, draw_program
from tests.quality.worlds.run import Run, run
from tests.quality.worlds.scene import Fault, Planted, Scene, spacing_of
from tests.quality.worlds.telling import Source, draw_moments, told
from tests.quality.worlds.traits import traits_of
from tests.quality.worlds.upset import Upset

HEALTHY = "healthy"
HEALTHY_SHARE = 0.4
TAG = 18
"""Keeps these draws apart from other benches' of the same seed."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What was planted, in the log's own time."""

    label: Label
    size: str
    cause: Cause | None


@dataclass(frozen=True, slots=True)
class World:
    """One log, and what is true of it."""

    seed: int
    kind: str
    batch: Batch
    chains: dict[str, Chain]
    truths: tuple[Truth, ...]
    traits: dict[str, str]
    source: Source

    @property
    def hours(self) -> float:
        return float(self.batch.time_s[-1] - self.batch.time_s[0]) / 3600.0


@dataclass(frozen=True, slots=True)
class _Parts:
    """What is drawn before anything runs, and what runs it."""

    machine: Machine
    program: Program
    around: Around
    sensors: dict[str, Sensor]
    host: Host
    noise_seed: int

    def run(self, program: Program, upset: Upset) -> Run:
        return run(
            self.machine,
            program,
            self.around,
            self.sensors,
            max(1, round(self.host.converts_s / self.machine.step_s)),
            upset,
            np.random.default_rng([TAG, self.noise_seed]),
            warm=program.style == "on from the start",
        )


def drawn_kind(seed: int) -> str:
    """What a seed's world is about."""
    rng = np.random.default_rng([TAG, seed, 0])
    if rng.random() < HEALTHY_SHARE:
        return HEALTHY
    return str(list(FAULTS)[int(rng.integers(len(FAULTS)))])


def make_world(seed: int, hours: float, kind: str | None = None, spare: bool = False) -> World:
    """The world of a seed, of half of `hours` to all; its kind is drawn where none is asked for.

    `spare`: the same world, fit for its kind of fault, with nothing planted.
    """
    kind = kind or drawn_kind(seed)
    fault = None if kind == HEALTHY else FAULTS[Kind(kind)]
    streams = [np.random.default_rng([TAG, seed, part]) for part in range(1, 9)]
    parts = _draw(streams, seed, hours, fault)
    upset, planted = Upset(), list[Planted]()
    if fault is not None and not spare:
        program = parts.program
        scene = Scene(
            parts.machine, program, parts.sensors, parts.host, upset, streams[6],
            _once(lambda: parts.run(program, Upset())),
        )  # fmt: skip
        planted = fault.plant(scene)
    source = Source(
        parts.program, parts.run(parts.program, upset), parts.sensors, parts.host, upset
    )
    moments = draw_moments(streams[5], parts.host, parts.program.seconds, upset)
    truths = tuple(
        Truth(
            Label(
                each.kind,
                each.channel,
                moments.said_at(each.start_s),
                moments.said_at(each.stop_s),
                each.also,
            ),
            each.size,
            each.cause,
        )
        for each in planted
    )
    is_told = parts.host.chain_told
    return World(
        seed,
        kind,
        told(source, moments, streams[7]),
        {name: told_chain(each) for name, each in parts.sensors.items()} if is_told else {},
        truths,
        traits_of(parts.machine, parts.program, parts.around, parts.sensors, parts.host),
        source,
    )


def _draw(streams: list[Rng], seed: int, hours: float, fault: Fault | None) -> _Parts:
    host = draw_host(streams[0])
    machine = draw_machine(streams[1], step_of(host.period_s))
    sensors = draw_sensors(streams[4], machine.names)
    lasts_h = float(streams[2].uniform(0.5, 1.0)) * hours
    style = None
    if fault is not None:
        host = _fit_host(host, fault, len(sensors))
        machine = _fit_machine(replace(machine, step_s=step_of(host.period_s)), fault)
        sensors = _fit_sensors(sensors, fault, host)
        host = _fit_steps(host, sensors, fault)
        lasts_h, style = max(lasts_h, fault.hours), fault.style
    program = draw_program(streams[2], machine, lasts_h, style)
    around = draw_around(streams[3], machine, len(program.fan))
    return _Parts(machine, program, around, sensors, host, seed)


def _fit_host(host: Host, fault: Fault, sensors: int) -> Host:
    """The same host, telling what the fault needs, as often as it needs."""
    told: dict[str, Any] = dict(fault.host)
    if told.get("power") == "duty" and host.power != "silent":
        del told["power"]
    host = replace(host, **told)
    if spacing_of(host, sensors) > fault.longest_s:
        host = replace(host, form="whole", burst=1, lost=0.0)
        period_s = min(host.period_s, fault.longest_s)
        host = replace(host, period_s=period_s, converts_s=min(host.converts_s, period_s))
    if fault.fresh:
        step_s = step_of(host.period_s)
        most = max(1, int(host.period_s / step_s * 0.9))
        host = replace(host, converts_s=step_s * min(most, round(host.converts_s / step_s)))
    return host


def _fit_machine(machine: Machine, fault: Fault) -> Machine:
    """The same machine, its nozzle held without fast switching where the fault needs it."""
    if not fault.smooth:
        return machine

    def fit(heater: Heater) -> Heater:
        settings = heater.settings
        if heater.role != "nozzle":
            return heater
        return replace(heater, settings=replace(settings, way="pid", window_s=0.0))

    return replace(machine, heaters=tuple(fit(each) for each in machine.heaters))


def _fit_sensors(sensors: dict[str, Sensor], fault: Fault, host: Host) -> dict[str, Sensor]:
    """The same chains, fine enough to show noise where a standing reading is to be told."""
    if fault is not FAULTS[Kind.FROZEN]:
        return sensors
    return {name: replace(each, bits=max(each.bits, 18)) for name, each in sensors.items()}


def _fit_steps(host: Host, sensors: dict[str, Sensor], fault: Fault) -> Host:
    """The same host, rounding no more than noise where a standing reading is to be told."""
    least_k = min(each.noise_k for each in sensors.values())
    if fault is not FAULTS[Kind.FROZEN] or host.step_k <= 2.0 * least_k:
        return host
    return replace(host, step_k=0.0 if least_k < 0.005 else 0.01)


def _once(make: Callable[[], Run]) -> Callable[[], Run]:
    """The same, made at the first call and kept."""
    kept: list[Run] = []

    def get() -> Run:
        if not kept:
            kept.append(make())
        return kept[0]

    return get
