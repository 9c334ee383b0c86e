"""Faults of sensor, leads, converter and bus: they change ohms or codes, and the loop sees it."""

import numpy as np

from shared.words import EVERY_CHANNEL, Cause, Kind
from tests.quality.worlds.scene import Planted, Scene
from tests.quality.worlds.upset import Glitch

SLOWEST_TONE_S = 14.0
"""Longest period of a tone, s: four of them must fit into a stretch (docs/events.md)."""

STEADY = 0.12
"""Periods of a tone from conversion to conversion at most: a row holds the last conversion, now
older, now younger, and a faster tone would be smeared by that."""


def open_lead(scene: Scene) -> list[Planted]:
    """A lead that breaks for good: the upper end of the range from then on."""
    name, at_s = scene.pick(), scene.moment()
    scene.ohm_at(name)[scene.program.cut(at_s, scene.seconds)] = np.inf
    return [
        Planted(
            Kind.CODE_HIGH, name, at_s, scene.seconds, "open from then on",
            frozenset({Kind.CONTACT_BREAK, Kind.STEP, Kind.NO_RISE}), Cause.BROKEN_LEAD,
        )
    ]  # fmt: skip


def shorted(scene: Scene) -> list[Planted]:
    """A short for 20 s to 5 min: the lower end."""
    name, at_s, lasts_s = scene.pick(), scene.moment(), float(scene.rng.uniform(20.0, 300.0))
    lasts_s = max(lasts_s, 3.0 * scene.spacing_s)
    scene.ohm_at(name)[scene.program.cut(at_s, at_s + lasts_s)] = -np.inf
    return [
        Planted(
            Kind.CODE_LOW, name, at_s, at_s + lasts_s, f"{lasts_s:.0f} s",
            frozenset({Kind.STEP, Kind.SPIKE}),
        )
    ]  # fmt: skip


def flagged(scene: Scene) -> list[Planted]:
    """1 to 5 flags of a converter, each in one update at least; the reading stays whole."""
    name, word = scene.pick(), str(scene.rng.choice(["open", "short", "input-out-of-range"]))
    times = _times(scene, int(scene.rng.integers(1, 6)), 900.0)
    for at_s in times:
        lasts_s = scene.spacing_s * float(scene.rng.uniform(1.1, 8.0))
        scene.upset.flags.append((name, at_s, at_s + lasts_s, word))
    return [Planted(Kind.CONVERTER_FLAG, name, times[0], times[-1] + 5.0, f"{word} ×{len(times)}")]


def breaks(scene: Scene) -> list[Planted]:
    """5 to 12 breaks within 10 min toward open, whole or in part, of one row at least.

    In part, each has a size of its own: a bad contact's resistance spreads over decades.
    """
    name, is_full = scene.pick(), bool(scene.rng.random() < 0.35)
    times = _times(scene, int(scene.rng.integers(5, 13)), 580.0)
    least = scene.jump_ohm(name)
    sizes = least * np.exp(scene.rng.uniform(0.0, np.log(12.0), len(times)))
    for at_s, size in zip(times, sizes, strict=True):
        lasts_s = float(scene.rng.uniform(1.2, 1.2 + 3.0 / scene.spacing_s)) * scene.spacing_s
        added = np.inf if is_full else size
        scene.ohm_at(name)[scene.program.cut(at_s, at_s + lasts_s)] = added
    words = "open" if is_full else f"{min(sizes):.1f}–{max(sizes):.1f} Ω, least {least:.1f} Ω"
    return [
        Planted(
            Kind.CONTACT_BREAK, name, times[0], times[-1] + 5.0, f"{words} ×{len(times)}",
            frozenset({Kind.SPIKE, Kind.CODE_HIGH, Kind.STEP}), Cause.LOOSE_CONNECTION,
        )
    ]  # fmt: skip


def spikes(scene: Scene) -> list[Planted]:
    """1 to 5 single readings spoilt on their way, up or down."""
    name = scene.pick()
    times = _times(scene, int(scene.rng.integers(1, 6)), 1200.0)
    least = scene.jump_ohm(name)
    size = float(least * np.exp(scene.rng.uniform(0.0, np.log(8.0))))
    for at_s in times:
        sign = float(scene.rng.choice([-1.0, 1.0]))
        scene.upset.glitches.append(Glitch(name, at_s, ohm=sign * size))
    return [
        Planted(
            Kind.SPIKE, name, times[0], times[-1] + scene.spacing_s,
            f"{size:.1f} Ω of at least {least:.1f} Ω ×{len(times)}",
            frozenset({Kind.CONTACT_BREAK, Kind.BIT_FLIP, Kind.CODE_HIGH, Kind.CODE_LOW}),
        )
    ]  # fmt: skip


def bit_flips(scene: Scene) -> list[Planted]:
    """2 to 5 codes with one bit flipped that is worth more than heat can do."""
    name = scene.pick()
    sensor, least = scene.sensors[name], scene.jump_ohm(name)
    fit = [b for b in range(sensor.bits - 2) if (1 << b) * sensor.code_ohm >= least][:5]
    bit = int(scene.rng.choice(fit or [sensor.bits - 3]))
    times = _times(scene, int(scene.rng.integers(2, 6)), 1200.0)
    scene.upset.glitches += [Glitch(name, at_s, bits=1 << bit) for at_s in times]
    return [
        Planted(
            Kind.BIT_FLIP, name, times[0], times[-1] + scene.spacing_s,
            f"bit {bit} of {sensor.bits} ×{len(times)}",
            frozenset({Kind.SPIKE, Kind.CONTACT_BREAK, Kind.CODE_LOW, Kind.CODE_HIGH}),
        )
    ]  # fmt: skip


def step(scene: Scene) -> list[Planted]:
    """A joint that gave, or a short to part of a loop: a jump that lasts."""
    name, at_s = scene.pick(), scene.moment(1200.0)
    least = max(scene.jump_ohm(name), 12.0 * scene.ohm_k(name))
    size = float(least * np.exp(scene.rng.uniform(0.0, np.log(3.0))))
    sign = float(scene.rng.choice([-1.0, 1.0]))
    lasts_s = float(scene.rng.choice([900.0, 1e6]))
    scene.ohm_at(name)[scene.program.cut(at_s, at_s + lasts_s)] = sign * size
    back_s = min(at_s + lasts_s, scene.seconds)
    return [
        Planted(
            Kind.STEP, name, at_s, back_s, f"{sign * size:+.1f} Ω, least {least:.1f} Ω",
            frozenset({Kind.DRIFT, Kind.NO_RISE, Kind.CODE_HIGH, Kind.CODE_LOW, Kind.OFFSET_COLD}),
        )
    ]  # fmt: skip


def joint_jump(scene: Scene) -> list[Planted]:
    """All channels off at one instant for two rows or some: a supply that dips."""
    at_s, sign = scene.moment(), float(scene.rng.choice([-1.0, 1.0]))
    lasts_s = scene.spacing_s * float(scene.rng.uniform(2.1, 4.0))
    for name in scene.sensors:
        size = sign * scene.jump_ohm(name) * float(scene.rng.uniform(1.0, 4.0))
        scene.ohm_at(name)[scene.program.cut(at_s, at_s + lasts_s)] = size
    return [
        Planted(
            Kind.JOINT_JUMP, EVERY_CHANNEL, at_s, at_s + lasts_s, f"{lasts_s:.1f} s",
            frozenset({Kind.SPIKE, Kind.CONTACT_BREAK, Kind.STEP, Kind.CODE_LOW, Kind.CODE_HIGH}),
        )
    ]  # fmt: skip


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
    """Hum, folded down, 3 to 6 times all that the channel moves, while it is held."""
    lasts_s = max(480.0, 1300.0 * scene.spacing_s) * float(scene.rng.uniform(1.0, 1.5))
    start_s, stop_s = max(scene.program.prints, key=lambda each: each[1] - each[0])
    at_s = max(start_s + 900.0, 1200.0)
    until_s = min(at_s + lasts_s, stop_s)
    sways = {
        name: scene.sway_ohm(name, at_s, until_s) / scene.ohm_k(name) for name in scene.sensors
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


def settling(scene: Scene) -> list[Planted]:
    """Absurd readings after a restart that fade within 15 to 70 s."""
    name, at_s = scene.pick(), scene.moment()
    lasts_s = max(float(scene.rng.uniform(15.0, 70.0)), 4.0 * scene.spacing_s)
    scene.upset.restarts.append(at_s)
    scene.program.off(at_s, at_s + 1800.0)
    span = scene.program.cut(at_s, at_s + lasts_s)
    column = scene.ohm_at(name)[span]
    rows = max(1, round(scene.host.steady_s / scene.program.step_s))
    wild = np.repeat(scene.rng.uniform(-0.6, 2.5, len(column) // rows + 1), rows)[: len(column)]
    column += wild * scene.sensors[name].r0_ohm * np.linspace(1.0, 0.0, len(column)) ** 2
    return [
        Planted(
            Kind.STARTUP_TRANSIENT, name, at_s, at_s + lasts_s, f"{lasts_s:.0f} s",
            frozenset({Kind.RESTART}), Cause.SETTLING_AFTER_RESTART,
        )
    ]  # fmt: skip


def offset_cold(scene: Scene) -> list[Planted]:
    """Ohms in the leads from the first row on, worth 5 to 15 K; the machine begins cold."""
    name = scene.pick()
    size_k = float(scene.rng.uniform(5.0, 15.0)) * float(scene.rng.choice([-1.0, 1.0, 1.0]))
    scene.ohm_at(name)[:] = size_k * scene.ohm_k(name, 20.0)
    channel = name if len(scene.sensors) > 2 else EVERY_CHANNEL
    rest_s = scene.program.rests[0][1]
    return [
        Planted(
            Kind.OFFSET_COLD, channel, 0.0, max(rest_s, 600.0), f"{name} {size_k:+.1f} K",
            frozenset({Kind.DRIFT}),
        )
    ]  # fmt: skip


def _times(scene: Scene, count: int, within_s: float) -> list[float]:
    """Moments within a stretch, apart enough to be told from each other, rising."""
    first_s = scene.moment(within_s + 60.0)
    slots = within_s / count
    offsets = scene.rng.uniform(0.0, 0.5, count) * slots
    return [float(first_s + k * slots + offset) for k, offset in enumerate(offsets)]
