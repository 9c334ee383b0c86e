"""Faults of the reading, drawn in size, place and time; each leaves its label."""

from dataclasses import dataclass

import numpy as np

from tests.quality.otherwise.day import Day
from tests.quality.otherwise.heat import Disturbance
from tests.quality.otherwise.log import Edits, Truth
from tests.quality.otherwise.machine import Machine, Sensor


@dataclass
class Scene:
    """Where a fault is put: the machine, the day, and what was already put in."""

    machine: Machine
    day: Day
    edits: Edits
    rng: np.random.Generator
    start_s: float
    stop_s: float

    @property
    def step_s(self) -> float:
        return self.machine.step_s

    def pick(self, *roles: str) -> Sensor:
        """A sensor in one of the roles, else any."""
        fit = [s for s in self.machine.sensors if s.role in roles or not roles]
        return fit[int(self.rng.integers(len(fit)))]

    def trouble(self, sensor: Sensor) -> Disturbance:
        return self.machine.trouble[sensor.name]

    def cut(self, start: float, stop: float) -> slice:
        """The steps of a stretch; at least as many as one reported row needs."""
        first = int(start / self.step_s)
        return slice(first, max(int(stop / self.step_s), first + 1))

    def label(
        self, kind: str, channel: str, start: float, stop: float, *causes: str, size: str = ""
    ) -> None:
        self.edits.truths.append(Truth(kind, channel, start, stop, causes, size))

    def moment(self) -> float:
        return float(self.rng.uniform(self.start_s, self.stop_s))


def sampled(scene: Scene) -> float:
    """The span of one row: a fault this long is seen at least once."""
    return max(scene.machine.host.period_s * 1.05, scene.step_s)


def own_noise(s: Scene, sensor: Sensor, span: slice) -> float:
    """sd of what this channel shows when all is well, its coarsest steps included, K."""
    step = max(10.0 ** -(sensor.decimals if sensor.decimals is not None else 3), sensor.step_c)
    if sensor.kind == "thermistor":
        goal = {"bed": s.day.bed, "nozzle": s.day.nozzle, "second": s.day.second}.get(
            sensor.role, s.day.bed * 0.0
        )
        for celsius in (15.0, float(goal[span].max())):
            kelvin = celsius + 273.15
            ohm = 100e3 * np.exp(3950 * (1 / kelvin - 1 / 298.15))
            share = ohm / (ohm + sensor.pull_up)
            step = max(step, kelvin**2 / 3950 / (share * (1 - share) * sensor.counts))
    return max(sensor.sigma_c, 0.03, 0.5 * step)


def contact_break(s: Scene) -> None:
    """Breaks of 1.5–30 Ω (ten times that of a 1000 Ω element's) for 0.3–4 s, or full ones."""
    sensor = s.pick("nozzle")
    size = float(np.exp(s.rng.uniform(np.log(1.5), np.log(30))))
    full = s.rng.random() < 0.3
    times = np.sort(s.rng.uniform(s.start_s, s.stop_s, int(s.rng.integers(4, 15))))
    for t in times:
        span = s.cut(t, t + max(s.rng.uniform(0.3, 4.0), 1.5 * sampled(s)))
        if full:
            s.trouble(sensor).instead[s.cut(t, t + sampled(s))] = 988.0
        else:
            s.trouble(sensor).ohm[span] = size * sensor.r0 / 100 * s.rng.uniform(0.7, 1.3)
    s.label(
        "contact-break",
        sensor.name,
        times[0],
        times[-1] + 4,
        "loose-connection",
        size="full" if full else f"{size:.1f} ohm x{len(times)}",
    )


def spike(s: Scene) -> None:
    """One row off by several degrees, either way."""
    sensor = s.pick()
    size = float(s.rng.choice([-1, 1])) * max(float(s.rng.uniform(4, 60)), 12 * sensor.sigma_c)
    t = s.moment()
    s.edits.rows.append((sensor.name, t, size))
    s.label("spike", sensor.name, t, t + 2, size=f"{size:.1f} K")


def bit_flip(s: Scene) -> None:
    """Single bits of the code, in single rows."""
    sensor = s.pick("nozzle")
    count = int(s.rng.integers(1, 6))
    times = np.sort(s.rng.uniform(s.start_s, s.stop_s, count))
    for t in times:
        s.edits.codes.append((sensor.name, float(t), 1 << int(s.rng.integers(6, 13)), "xor"))
    s.label(
        "bit-flip", sensor.name, times[0], times[-1] + 2, "bus-wiring", "supply", size=f"x{count}"
    )


def rail(s: Scene, high: bool) -> None:
    """The code at its limit for a row or for minutes."""
    sensor = s.pick("nozzle")
    t = s.moment()
    lasts = float(s.rng.choice([0.0, 5.0, 120.0]))
    for k in np.arange(t, t + lasts + 0.01, min(s.machine.host.period_s * 0.5, 0.5)):
        s.edits.codes.append((sensor.name, float(k), 32767 if high else 0, "set"))
    kind = "code-high" if high else "code-low"
    causes: tuple[str, ...] = ("broken-lead", "loose-connection", "bus-wiring")
    if not high:
        causes = ("bus-wiring", "broken-lead", "supply", "sensor-failed")
    s.label(kind, sensor.name, t, t + lasts + 1, *causes, size=f"{lasts:g} s")


def converter_flag(s: Scene) -> None:
    """A flag in one row or many, the reading unharmed."""
    sensor = s.pick("nozzle")
    word = str(s.rng.choice(["input-out-of-range", "open", "short"]))
    times = np.sort(s.rng.uniform(s.start_s, s.stop_s, int(s.rng.integers(1, 8))))
    for t in times:
        s.edits.flags.append((sensor.name, float(t), float(t + s.rng.choice([0.1, 3.0])), word))
    causes = {
        "input-out-of-range": (
            "supply",
            "input-filter",
            "bus-wiring",
            "cable-pickup",
            "loose-connection",
        )
    }
    s.label(
        "converter-flag",
        sensor.name,
        times[0],
        times[-1] + 3,
        *causes.get(word, ("loose-connection", "broken-lead", "bus-wiring")),
        size=f"{word} x{len(times)}",
    )


def step(s: Scene) -> None:
    """A lasting jump of ohms: a joint that gave, or a short to part of the loop."""
    sensor = s.pick("nozzle", "bed", "chamber")
    size = float(s.rng.choice([-1, 1])) * float(s.rng.uniform(5, 25))
    t = s.moment()
    lasts = float(s.rng.choice([600.0, 3600.0, 1e6]))
    s.trouble(sensor).celsius[s.cut(t, t + lasts)] += size
    s.label(
        "step",
        sensor.name,
        t,
        t + 5,
        "lead-resistance",
        "loose-connection",
        "sensor-failed",
        size=f"{size:.1f} K {lasts:g} s",
    )


def noise_rise(s: Scene) -> None:
    """Noise several times the channel's own for some while."""
    sensor = s.pick()
    factor = float(s.rng.uniform(4, 10))
    lasts = float(s.rng.uniform(600, 2400))
    t = s.moment()
    span = s.cut(t, t + lasts)
    fit = s.trouble(sensor).noise_c[span]
    base = own_noise(s, sensor, s.cut(t, t + lasts))
    fit += s.rng.standard_normal(len(fit)) * base * factor
    s.label(
        "noise-rise",
        sensor.name,
        t,
        t + lasts,
        "input-filter",
        "cable-pickup",
        "loose-connection",
        "supply",
        "ground-loop",
        size=f"x{factor:.1f} of {base:.3f}",
    )


def interference(s: Scene) -> None:
    """Noise or faults tied to movement, place, heater edges or fan."""
    sensor = s.pick("nozzle")
    trouble, day = s.trouble(sensor), s.day
    n = len(trouble.noise_c)
    causes: tuple[str, ...] = ()
    way = str(s.rng.choice(["motion", "place", "fan"]))
    base = own_noise(s, sensor, s.cut(s.start_s, s.stop_s))
    where = np.zeros(n, bool)
    where[s.cut(s.start_s, s.stop_s)] = True
    if way == "motion":
        trouble.noise_c[:] += s.rng.standard_normal(n) * base * 5 * (day.busy > 0) * where
        causes = ("cable-pickup", "input-filter", "loose-connection")
    elif way == "fan":
        trouble.noise_c[:] += s.rng.standard_normal(n) * base * 6 * (day.fan > 0.05) * where
        causes = ("cable-pickup", "input-filter", "supply", "ground-loop")
    else:
        # Breaks where the height is beyond a place.
        far = (
            (day.height > np.quantile(day.height[where & (day.busy > 0)], 0.6))
            if (where & (day.busy > 0)).any()
            else where
        )
        spots = np.flatnonzero(far & where & (day.busy > 0))
        if len(spots) < 50:
            return
        chosen = s.rng.choice(spots, min(14, len(spots)), replace=False)
        rows = int(np.ceil(sampled(s) / s.step_s))
        for k in chosen:
            trouble.ohm[k : k + rows] = 4.0 * sensor.r0 / 100
        causes = ("loose-connection", "cable-pickup", "input-filter")
    s.label("interference", sensor.name, s.start_s, s.stop_s, *causes, size=way)


def mains_beat(s: Scene) -> None:
    """A steady tone well over the noise."""
    sensor = s.pick("nozzle", "chamber", "bed")
    period = s.machine.host.period_s
    f = float(s.rng.uniform(0.02, 0.35)) / period
    base = own_noise(s, sensor, s.cut(s.start_s, s.stop_s))
    size = float(s.rng.uniform(3, 8)) * base
    lasts = float(s.rng.uniform(1200, 4800))
    t = s.start_s
    span = s.cut(t, t + lasts)
    trouble = s.trouble(sensor).celsius[span]
    trouble += size * np.sin(2 * np.pi * f * np.arange(len(trouble)) * s.step_s)
    s.label(
        "mains-beat",
        sensor.name,
        t,
        t + lasts,
        "mains-pickup",
        "ground-loop",
        "cable-pickup",
        size=f"{size:.2f} K at {f:.3f} Hz, noise {sensor.sigma_c:.3f}",
    )


def frozen(s: Scene) -> None:
    """The reading stands while it should move: in a heat-up, or where it was noisy."""
    sensor = s.pick("nozzle", "bed")
    heats = [h for h in s.day.heats if s.start_s <= h[0] < s.stop_s]
    t = heats[0][0] + s.rng.uniform(20, 60) if heats else s.moment()
    lasts = float(s.rng.uniform(60, 240))
    s.trouble(sensor).hold[s.cut(t, t + lasts)] = True
    s.label(
        "frozen",
        sensor.name,
        t,
        t + lasts,
        "bus-wiring",
        "host-load",
        "sensor-failed",
        "supply",
        size=f"{lasts:.0f} s {'heating' if heats else 'any'}",
    )
