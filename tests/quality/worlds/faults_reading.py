"""Faults of sensor, leads, converter and bus: they change ohms or codes, and the loop sees it."""

import numpy as np

from shared.words import EVERY_CHANNEL, Cause, Kind
from tests.quality.worlds.scene import Planted, Scene
from tests.quality.worlds.upset import Glitch


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
