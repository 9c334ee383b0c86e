"""Healthy logs and faulty ones, by seed."""

from pathlib import Path

import numpy as np

from tests.quality.otherwise.day import make_day
from tests.quality.otherwise.faults import FAULTS, NEEDS_CODES
from tests.quality.otherwise.log import Edits, Truth, write_log
from tests.quality.otherwise.machine import calm, draw_machine, live
from tests.quality.otherwise.readings import Scene


def healthy(seed: int, path: Path, hours: float | None = None) -> tuple[float, int]:
    """A healthy log; gives its hours, and how often its clock was set."""
    rng = np.random.default_rng([77, seed])
    machine = draw_machine(rng)
    host = machine.host
    lasts = hours or float(rng.uniform(3, 10))
    if host.period_s < 0.25:
        lasts = min(lasts, 4.0)
    host.jumps = int(rng.integers(0, 3)) if rng.random() < 0.3 else 0
    host.skip_empty = host.delta and not host.uptime and rng.random() < 0.3
    style = str(rng.choice(["any", "any", "any", "any", "idle", "print", "tower"]))
    day = make_day(rng, lasts, machine.step_s, style)
    machine.trouble = {
        s.name: calm(rng, s, len(day.nozzle), machine.step_s) for s in machine.sensors
    }
    live(machine, rng, day)
    write_log(path, machine, day, Edits(), rng)
    return lasts, host.jumps


def faulty(seed: int, path: Path, kinds: tuple[str, ...], hours: float = 5.0) -> list[Truth]:
    """A log with these faults, one after another after a clean hour; gives the labels."""
    rng = np.random.default_rng([78, seed])
    machine = draw_machine(rng, codes=True if set(kinds) & set(NEEDS_CODES) else None)
    host = machine.host
    if host.period_s < 0.25:
        host.period_s = 0.25
    for sensor in machine.sensors:
        if "converter-flag" in kinds and sensor.codes:
            sensor.flags = True
    if "joint-jump" in kinds and machine.sensor("chamber") is None:
        machine.sensors.append(
            type(machine.sensors[0])(
                "chamber", "chamber", kind="plain", decimals=machine.sensors[0].decimals
            )
        )
    if "interference" in kinds:
        host.motion, host.fan = "all", True
    host.uptime = host.uptime or bool({"stale", "restart", "startup-transient"} & set(kinds))
    style = "print" if set(kinds) & {"drift", "interference", "no-rise"} else "any"
    day = make_day(rng, hours, machine.step_s, style)
    machine.trouble = {
        s.name: calm(rng, s, len(day.nozzle), machine.step_s) for s in machine.sensors
    }
    edits = Edits()
    each = (hours - 1.0) / len(kinds) * 3600
    for k, kind in enumerate(kinds):
        FAULTS[kind](
            Scene(machine, day, edits, rng, 3600 + k * each + 300, 3600 + (k + 1) * each - 600)
        )
    if edits.restarts or edits.states:
        host.uptime = True
    live(machine, rng, day)
    return write_log(path, machine, day, edits, rng)
