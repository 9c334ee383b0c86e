"""Faults of host, controller and link: rows, words and clocks."""

from shared.words import EVERY_CHANNEL, Cause, Kind
from tests.quality.worlds.scene import Planted, Scene

STRANGE = ("dozing", "stage 4", "not-ready", "purging", "E-17")


def stale(scene: Scene) -> list[Planted]:
    """No update for 15 s, and 15 times the usual spacing, at least; the link stays up."""
    spacing_s = max(scene.spacing_s, 3.0 if scene.host.form == "changes" else 0.0)
    lasts_s = max(15.0, 15.0 * spacing_s) * float(scene.rng.uniform(1.0, 3.0))
    at_s = scene.moment(lasts_s + 300.0)
    scene.upset.gaps.append((at_s, at_s + lasts_s))
    return [
        Planted(
            Kind.STALE, EVERY_CHANNEL, at_s, at_s + lasts_s, f"{lasts_s:.0f} s",
            frozenset(), Cause.HOST_LOAD,
        )
    ]  # fmt: skip


def link_loss(scene: Scene) -> list[Planted]:
    """The link ends, and is back after 5 s to 3 min."""
    at_s, lasts_s = scene.moment(), float(scene.rng.uniform(5.0, 180.0))
    scene.upset.gaps.append((at_s, at_s + lasts_s))
    scene.upset.states += [(at_s, "gone"), (at_s + lasts_s, "up")]
    return [
        Planted(
            Kind.LINK_LOSS, EVERY_CHANNEL, at_s, at_s + lasts_s, f"{lasts_s:.0f} s",
            frozenset({Kind.STALE}), Cause.NETWORK,
        )
    ]  # fmt: skip


def restart(scene: Scene) -> list[Planted]:
    """The controller starts anew, without orders."""
    at_s = scene.moment()
    scene.upset.restarts.append(at_s)
    scene.program.off(at_s, at_s + 1800.0)
    if scene.host.state and scene.rng.random() < 0.5:
        scene.upset.states += [(at_s, "starting"), (at_s + 6.0, "up")]
    return [Planted(Kind.RESTART, EVERY_CHANNEL, at_s, at_s + 10.0, "")]


def halt(scene: Scene) -> list[Planted]:
    """The host stops the machine for 1 to 20 min."""
    at_s, lasts_s = scene.moment(1300.0), float(scene.rng.uniform(60.0, 1200.0))
    scene.upset.states += [(at_s, "halted"), (at_s + lasts_s, "up")]
    scene.program.off(at_s, at_s + 1800.0)
    return [Planted(Kind.HALT, EVERY_CHANNEL, at_s, at_s + lasts_s, f"{lasts_s:.0f} s")]


def unknown_state(scene: Scene) -> list[Planted]:
    """The host says a word that nobody has given a meaning."""
    at_s, lasts_s = scene.moment(), float(scene.rng.uniform(20.0, 600.0))
    word = str(scene.rng.choice(STRANGE))
    scene.upset.states += [(at_s, word), (at_s + lasts_s, "up")]
    return [Planted(Kind.UNKNOWN_STATE, EVERY_CHANNEL, at_s, at_s + lasts_s, word)]


def host_clock(scene: Scene) -> list[Planted]:
    """The host's clock leaps 10 s to 3 h ahead between two readings."""
    at_s, by_s = scene.moment(), float(scene.rng.choice([12.0, 60.0, 3600.0, 10_800.0]))
    by_s = max(by_s, 4.0 * scene.spacing_s)
    scene.upset.leaps.append((at_s, by_s))
    after_s = at_s + 2.0 * scene.spacing_s
    return [
        Planted(
            Kind.HOST_CLOCK, EVERY_CHANNEL, at_s - scene.spacing_s, after_s, f"{by_s:.0f} s",
            frozenset({Kind.STALE}),
        )
    ]  # fmt: skip
