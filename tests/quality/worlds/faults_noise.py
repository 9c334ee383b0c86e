"""Faults that take many readings to be told: noise, tones, faults tied to something, standing."""

import numpy as np

from shared.words import Cause, Kind
from tests.quality.worlds.scene import Planted, Scene

SLOWEST_TONE_S = 14.0
"""Longest period of a tone, s: four of them must fit into a stretch (docs/events.md)."""

STEADY = 0.12
"""Periods of a tone from conversion to conversion at most: a row holds the last conversion, now
older, now younger, and a faster tone would be smeared by that."""


def noise_rise(scene: Scene) -> list[Planted]:
    """Noise 3 to 8 times the channel's own, for 8 windows and 4 min at least."""
    name = scene.pick()
    lasts_s = max(240.0, 8.0 * 32.0 * scene.spacing_s) * float(scene.rng.uniform(1.0, 2.0))
    at_s = scene.moment(lasts_s + 120.0)
    floor, times = scene.floor_ohm(name, at_s, at_s + lasts_s), float(scene.rng.uniform(3.0, 8.0))
    span = scene.program.cut(at_s, at_s + lasts_s)
    column = scene.ohm_at(name)[span]
    column += scene.rng.standard_normal(len(column)) * floor * times
    return [
        Planted(
            Kind.NOISE_RISE, name, at_s, at_s + lasts_s,
            f"×{times:.1f} of {1000 * floor / scene.ohm_k(name):.0f} mK for {lasts_s:.0f} s",
            frozenset({Kind.SPIKE, Kind.INTERFERENCE, Kind.CONTACT_BREAK}),
        )
    ]  # fmt: skip


def interference(scene: Scene) -> list[Planted]:
    """Noise 3 to 8 times the own while the carriage moves, or while the fan blows."""
    name, by_fan = scene.heater("nozzle").name, bool(scene.rng.random() < 0.3)
    is_on = (scene.program.fan if by_fan else scene.program.speed_mm_s) > 0.0
    begins_s = 600.0
    is_on[: int(begins_s / scene.program.step_s)] = False
    floor, times = scene.floor_ohm(name, begins_s, scene.seconds), float(scene.rng.uniform(3, 8))
    column = scene.ohm_at(name)
    column += is_on * scene.rng.standard_normal(len(column)) * floor * times
    return [
        Planted(
            Kind.INTERFERENCE, name, begins_s, scene.seconds,
            f"×{times:.1f} while {'the fan blows' if by_fan else 'moving'}",
            frozenset({Kind.NOISE_RISE, Kind.SPIKE, Kind.CONTACT_BREAK}),
        )
    ]  # fmt: skip


def breaks_at_place(scene: Scene) -> list[Planted]:
    """12 to 25 breaks of a cable, all where the carriage is far out."""
    name, program = scene.heater("nozzle").name, scene.program
    is_there = (program.x_mm > 160.0) & (program.speed_mm_s > 0.0)
    is_there[: int(900.0 / program.step_s)] = False
    # A break is over before the carriage is back: it must stay for a row.
    steps = int(1.2 * scene.spacing_s / program.step_s) + 1
    is_there[:-steps] &= is_there[steps:]
    there = np.flatnonzero(is_there)
    count = min(int(scene.rng.integers(12, 26)), len(there))
    chosen = np.sort(scene.rng.choice(there, count, replace=False)) * program.step_s
    least = scene.jump_ohm(name)
    sizes = least * np.exp(scene.rng.uniform(0.0, np.log(8.0), count))
    for at_s, size in zip(chosen, sizes, strict=True):
        scene.ohm_at(name)[program.cut(at_s, at_s + 1.2 * scene.spacing_s)] = size
    return [
        Planted(
            Kind.INTERFERENCE, name, float(chosen[0]), float(chosen[-1]) + 5.0,
            f"{min(sizes):.1f}–{max(sizes):.1f} Ω ×{count} beyond x = 160 mm",
            frozenset({Kind.CONTACT_BREAK, Kind.SPIKE}),
        )
    ]  # fmt: skip


def interferes(scene: Scene) -> list[Planted]:
    """Noise tied to something, or faults tied to a place."""
    return interference(scene) if scene.rng.random() < 0.65 else breaks_at_place(scene)


def mains_beat(scene: Scene) -> list[Planted]:
    """Hum, folded down, 3 to 6 times all that a held heater moves."""
    lasts_s = max(480.0, 1300.0 * scene.spacing_s) * float(scene.rng.uniform(1.0, 1.5))
    start_s, stop_s = max(scene.program.prints, key=lambda each: each[1] - each[0])
    at_s = max(start_s + 900.0, 1200.0)
    until_s = min(at_s + lasts_s, stop_s)
    sways = {
        name: scene.sway_ohm(name, at_s, until_s) / scene.ohm_k(name)
        for name in sorted({scene.machine.heaters[0].name, scene.heater("nozzle", "bed").name})
    }
    name = min(sways, key=lambda each: sways[each])
    fastest = min(0.35 / scene.spacing_s, STEADY / scene.host.converts_s)
    hertz = float(scene.rng.uniform(1.0 / SLOWEST_TONE_S, fastest))
    size_k = sways[name] * float(scene.rng.uniform(3.0, 6.0))
    span = scene.program.cut(at_s, until_s)
    column = scene.ohm_at(name)[span]
    phase = 2.0 * np.pi * hertz * np.arange(len(column)) * scene.program.step_s
    column += size_k * scene.ohm_k(name) * np.sin(phase)
    return [
        Planted(
            Kind.MAINS_BEAT, name, at_s, until_s,
            f"{1000 * size_k:.0f} mK at {hertz:.3f} Hz for {until_s - at_s:.0f} s, "
            f"where it moves {1000 * sways[name]:.0f} mK",
            frozenset({Kind.NOISE_RISE, Kind.INTERFERENCE}), Cause.MAINS_PICKUP,
        )
    ]  # fmt: skip


def frozen(scene: Scene) -> list[Planted]:
    """A heater's reading that stands for 100 rows and 100 s: before the loop, or after it."""
    name = scene.heater("nozzle", "bed").name
    lasts_s = max(100.0, 100.0 * scene.spacing_s) * float(scene.rng.uniform(1.0, 2.0))
    start_s, stop_s = max(scene.program.prints, key=lambda each: each[1] - each[0])
    at_s = float(scene.rng.uniform(start_s + 600.0, max(stop_s - lasts_s, start_s + 601.0)))
    before = bool(scene.rng.random() < 0.5)
    if before:
        hold = scene.upset.hold.setdefault(name, scene.column())
        hold[scene.program.cut(at_s, at_s + lasts_s)] = 1.0
    else:
        scene.upset.stands.append((name, at_s, at_s + lasts_s))
    return [
        Planted(
            Kind.FROZEN, name, at_s, at_s + lasts_s,
            f"{lasts_s:.0f} s, {'in the converter' if before else 'in the host'}",
            frozenset({Kind.STEP, Kind.SPIKE, Kind.NO_RISE, Kind.DRIFT, Kind.CONTACT_BREAK}),
        )
    ]  # fmt: skip
