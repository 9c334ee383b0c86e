"""Faults of link, host and heat; and the table of all by kind."""

from collections.abc import Callable

import numpy as np

from tests.quality.otherwise.readings import (
    Scene,
    bit_flip,
    contact_break,
    converter_flag,
    frozen,
    interference,
    mains_beat,
    noise_rise,
    rail,
    sampled,
    spike,
    step,
)


def stale(s: Scene) -> None:
    """No rows for a while, the link up and the controller's own clock going on."""
    t, lasts = s.moment(), float(s.rng.uniform(15, 90))
    s.edits.gaps.append((t, t + lasts))
    s.label("stale", "*", t, t + lasts, "host-load", "network", size=f"{lasts:.0f} s")


def link_loss(s: Scene) -> None:
    """The host's state says gone, then up again."""
    t, lasts = s.moment(), float(s.rng.uniform(3, 120))
    s.edits.gaps.append((t, t + lasts))
    s.edits.states.append((t, t + lasts, "gone"))
    s.label("link-loss", "*", t, t + lasts, "network", "host-load", size=f"{lasts:.0f} s")


def restart(s: Scene) -> None:
    """The controller's clock starts anew."""
    t = s.moment()
    s.edits.restarts.append(t)
    if s.rng.random() < 0.5:
        s.edits.states.append((t, t + s.rng.uniform(3, 15), "starting"))
    s.label("restart", "*", t, t + 10)


def startup_transient(s: Scene) -> None:
    """Absurd readings after a restart that settle by themselves."""
    sensor = s.pick("nozzle")
    t, lasts = s.moment(), float(s.rng.uniform(10, 50))
    s.edits.restarts.append(t)
    if s.rng.random() < 0.5:
        s.edits.states.append((t, t + 5, "starting"))
    span = s.cut(t, t + lasts)
    fit = s.trouble(sensor).celsius[span]
    size = float(s.rng.uniform(30, 250)) * float(s.rng.choice([-0.5, 1]))
    shape = s.rng.integers(3)
    run = np.arange(len(fit)) / len(fit)
    if shape == 0:
        fit += size * np.exp(-5 * run)
    elif shape == 1:
        fit += size * (1 - run)
    else:
        rows = max(int(sampled(s) / s.step_s), 1)
        fit += (
            np.repeat(s.rng.uniform(-60, 200, len(fit) // rows + 1), rows)[: len(fit)]
            * (1 - run) ** 0.5
        )
    s.label(
        "startup-transient",
        sensor.name,
        t,
        t + lasts,
        "settling-after-restart",
        size=f"{size:.0f} K shape {shape}",
    )


def halt(s: Scene) -> None:
    """The host stops the machine."""
    t, lasts = s.moment(), float(s.rng.uniform(60, 600))
    s.edits.states.append((t, t + lasts, "halted"))
    s.edits.messages.append((t, "halted: emergency stop pressed"))
    span = s.cut(t, t + lasts)
    for column in (s.day.nozzle, s.day.bed, s.day.second, s.day.busy, s.day.flow, s.day.fan):
        column[span] = 0.0
    s.label("halt", "*", t, t + lasts)


def offset_cold(s: Scene) -> None:
    """Ohms in the leads from the first row on."""
    sensor = s.pick("nozzle", "bed")
    size = float(s.rng.choice([-1, 1, 1])) * float(s.rng.uniform(4, 15))
    s.trouble(sensor).celsius[:] += size
    s.label(
        "offset-cold",
        sensor.name,
        0.0,
        s.stop_s,
        "lead-resistance",
        "wire-count-setting",
        "reference-setting",
        "sensor-failed",
        "curve-setting",
        size=f"{size:.1f} K",
    )


def drift(s: Scene) -> None:
    """A sensor that slides from its seat over hours: power at the same goal goes up."""
    sensor = s.pick("nozzle")
    slip = float(s.rng.uniform(0.12, 0.3))
    n = len(s.day.nozzle)
    t = np.arange(n) * s.step_s
    s.trouble(sensor).slip[:] = slip * np.clip((t - s.start_s) / (s.stop_s - s.start_s), 0, 1)
    s.label(
        "drift",
        sensor.name,
        s.start_s,
        s.stop_s,
        "sensor-seating",
        "heater-circuit",
        "sensor-failed",
        "lead-resistance",
        size=f"{slip:.2f} over {(s.stop_s - s.start_s) / 3600:.1f} h",
    )


def no_rise(s: Scene) -> None:
    """The heater gives nothing, or a part, from a moment within a print or before a heat-up."""
    sensor = s.pick("nozzle", "bed")
    goal = s.day.nozzle if sensor.role == "nozzle" else s.day.bed
    gain = float(s.rng.choice([0.0, 0.0, 0.25]))
    hot = np.flatnonzero(goal[s.cut(s.start_s, s.stop_s)] > 40)
    if not len(hot):
        return
    t = (
        s.start_s
        + float(hot[0]) * s.step_s
        + (s.rng.uniform(-20, 900) if s.rng.random() < 0.6 else -30)
    )
    t = max(t, s.start_s)
    s.trouble(sensor).heater_gain[s.cut(t, t + 1200)] = gain
    begun = t + 30 if t > s.start_s + hot[0] * s.step_s else s.start_s + hot[0] * s.step_s
    s.label(
        "no-rise",
        sensor.name,
        begun,
        t + 1200,
        "heater-circuit",
        "sensor-seating",
        size=f"gain {gain}",
    )


def rise_unpowered(s: Scene) -> None:
    """The switch stays closed: heat though the power says none."""
    sensor = s.pick("nozzle", "bed")
    share = float(s.rng.uniform(0.3, 1.0))
    lasts = (
        float(s.rng.uniform(60, 240)) if sensor.role == "nozzle" else float(s.rng.uniform(300, 900))
    )
    rests = [
        r for r in s.day.rests if r[1] > s.start_s and r[0] < s.stop_s and r[1] - r[0] > lasts + 900
    ]
    if not rests:
        return
    a, b = rests[0]
    t = float(s.rng.uniform(max(a, s.start_s) + 600, max(b - lasts, max(a, s.start_s) + 601)))
    s.trouble(sensor).stuck_on[s.cut(t, t + lasts)] = share
    s.label(
        "rise-unpowered",
        sensor.name,
        t,
        t + lasts + 120,
        "heater-circuit",
        size=f"{share:.2f} for {lasts:.0f} s",
    )


def joint_jump(s: Scene) -> None:
    """Every channel off at the same instant, for a row or lastingly."""
    t = s.moment()
    size = float(s.rng.uniform(5, 20)) * float(s.rng.choice([-1, 1]))
    lasts = float(s.rng.choice([s.machine.host.period_s, 30.0, 600.0]))
    for sensor in s.machine.sensors:
        if sensor.role != "board":
            s.trouble(sensor).celsius[s.cut(t, t + lasts)] += size * s.rng.uniform(0.7, 1.3)
    s.label(
        "joint-jump",
        "*",
        t,
        t + 5,
        "supply",
        "ground-loop",
        "bus-wiring",
        "reference-setting",
        size=f"{size:.1f} K {lasts:.1f} s",
    )


FAULTS: dict[str, Callable[[Scene], None]] = {
    "startup-transient": startup_transient,
    "code-high": lambda s: rail(s, True),
    "code-low": lambda s: rail(s, False),
    "converter-flag": converter_flag,
    "contact-break": contact_break,
    "spike": spike,
    "bit-flip": bit_flip,
    "step": step,
    "noise-rise": noise_rise,
    "interference": interference,
    "mains-beat": mains_beat,
    "frozen": frozen,
    "stale": stale,
    "link-loss": link_loss,
    "restart": restart,
    "halt": halt,
    "offset-cold": offset_cold,
    "drift": drift,
    "no-rise": no_rise,
    "rise-unpowered": rise_unpowered,
    "joint-jump": joint_jump,
}
NEEDS_CODES = ("code-high", "code-low", "converter-flag", "bit-flip")
WHOLE_LOG = ("drift", "offset-cold")
