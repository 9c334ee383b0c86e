"""Faults of heat: a sensor that slips, a heater that is dead, a switch that stays on."""

import numpy as np

from shared.words import Cause, Kind
from tests.quality.worlds.machine import Heater
from tests.quality.worlds.scene import Planted, Scene

WINDOW_ROWS = 32
REST_S = 1200.0
"""Rest before a switch sticks, s."""
LEAST_RISE_K = 6.0
"""In two windows: half more than docs/events.md asks for."""


def drift(scene: Scene) -> list[Planted]:
    """A nozzle's sensor that works its way out of its bore within a print.

    It ends up 35–60 K too low where fan and feed are told, 55–80 K where not: what
    docs/quality.md says is found.
    """
    heater, program = scene.heater("nozzle"), scene.program
    start_s, stop_s = max(program.prints, key=lambda each: each[1] - each[0])
    at_s = start_s + float(scene.rng.uniform(3000.0, 3600.0))
    over_s = float(scene.rng.uniform(600.0, 3000.0))
    low_k = float(scene.rng.uniform(35.0, 60.0)) + (
        0.0 if scene.host.fan and scene.host.feed else 20.0
    )
    target_c = float(np.max(program.targets[heater.name]))
    part = low_k / (target_c - 25.0 + low_k)
    time_s = np.arange(len(program.fan)) * program.step_s
    scene.upset.slip[heater.name] = part * np.clip((time_s - at_s) / over_s, 0.0, 1.0)
    return [
        Planted(
            Kind.DRIFT, heater.name, at_s, stop_s,
            f"{low_k:.0f} K low over {over_s / 60:.0f} min, {(stop_s - at_s) / 60:.0f} min left",
            frozenset({Kind.NO_RISE}), Cause.SENSOR_SEATING,
        )
    ]  # fmt: skip


def no_rise(scene: Scene) -> list[Planted]:
    """A heater that gets none of its power from within a print on: for good, or for a while."""
    heater, program = scene.heater("nozzle", "bed"), scene.program
    start_s, stop_s = max(program.prints, key=lambda each: each[1] - each[0])
    lasts_s = float(scene.rng.uniform(300.0, 900.0)) * (1.0 if heater.role == "nozzle" else 3.0)
    lasts_s = max(lasts_s, 160.0 * scene.spacing_s)
    at_s = float(scene.rng.uniform(start_s + 900.0, max(stop_s - lasts_s, start_s + 901.0)))
    gain = scene.column(1.0)
    is_for_good = bool(scene.rng.random() < 0.6)
    gain[program.cut(at_s, scene.seconds if is_for_good else at_s + lasts_s)] = 0.0
    scene.upset.gain[heater.name] = gain
    return [
        Planted(
            Kind.NO_RISE, heater.name, at_s, min(at_s + lasts_s, stop_s),
            "for good" if is_for_good else f"{lasts_s:.0f} s",
            frozenset({Kind.DRIFT, Kind.STEP}), Cause.HEATER_CIRCUIT,
        )
    ]  # fmt: skip


def rise_unpowered(scene: Scene) -> list[Planted]:
    """A switch that stays closed while the machine rests."""
    program, at_s = scene.program, scene.moment(1800.0)
    program.off(at_s - REST_S, scene.seconds)
    heater, share = _fast_enough(scene)
    rate = share * _rate(heater)
    lasts_s = max(60.0, 3.0 * 2.0 * WINDOW_ROWS * scene.spacing_s)
    lasts_s = min(lasts_s * float(scene.rng.uniform(1.0, 2.0)), 250.0 / rate)
    stuck = scene.column()
    stuck[program.cut(at_s, at_s + lasts_s)] = share
    scene.upset.stuck[heater.name] = stuck
    return [
        Planted(
            Kind.RISE_UNPOWERED, heater.name, at_s, at_s + lasts_s + 60.0,
            f"{share:.2f} of its power for {lasts_s:.0f} s, {rate:.2f} K/s",
            frozenset(), Cause.HEATER_CIRCUIT,
        )
    ]  # fmt: skip


def _rate(heater: Heater) -> float:
    """How fast full power heats it, K/s."""
    return heater.body.watts / (heater.body.wire_j_k + heater.body.block_j_k)


def _fast_enough(scene: Scene) -> tuple[Heater, float]:
    """A heater and a share of power that warms it enough within two windows."""
    share = float(scene.rng.uniform(0.3, 1.0))
    fit = [
        each
        for each in scene.machine.heaters
        if each.role in ("nozzle", "bed")
        and share * _rate(each) * 2 * WINDOW_ROWS * scene.host.steady_s >= LEAST_RISE_K
    ]
    if not fit:
        return scene.heater("nozzle"), 1.0
    return fit[int(scene.rng.integers(len(fit)))], share
