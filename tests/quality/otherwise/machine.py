"""A machine drawn at random: its heaters, sensors, control, and how its host reports them."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from tests.quality.otherwise.day import Day
from tests.quality.otherwise.heat import Control, Course, Disturbance, Plant, run

Floats = NDArray[np.float64]

MOST_SHARE = 0.65
NOZZLES = ("nozzle", "melter", "hot end", "nozzle 1", "print head")
SECONDS = ("second nozzle", "right nozzle", "nozzle 2")
BEDS = ("bed", "build plate", "plate")
CHAMBERS = ("chamber", "enclosure", "air")
BOARDS = ("board", "microcontroller", "electronics")
CHAINS = ((3.9, 14), (4.02, 16), (4.12, 18), (4.22, 20), (4.32, 15), (4.7, 24), (4.0, 12))
"""Reference over R0 and bits of the converters that a host may have."""


@dataclass
class Sensor:
    """One channel: what it senses and how its numbers come about."""

    name: str
    role: str
    r0: float = 100.0
    kind: str = "platinum"
    codes: bool = False
    ohms: bool = False
    flags: bool = False
    decimals: int | None = 2
    sigma_c: float = 0.03
    colour: str = "white"
    ratio: float = 0.0
    bits: int = 0
    """Of its converter, if it has codes or ohms: reference over R0, and bits."""
    cold_ohm: float = 0.0
    beta: float = 0.0
    pull_up: float = 0.0
    """Of a thermistor: Ω at 25 °C, K, and the resistor of its divider, Ω."""
    counts: int = 4096
    step_c: float = 0.0
    """Steps of a converter that gives degrees, K: 0 for none."""
    plant: Plant | None = None
    control: Control | None = None
    power_as: str = "asked"
    warm_c: float = 0.0
    """How much warmer than the room its own board keeps it, K."""


@dataclass
class Host:
    """How often and in what form updates come."""

    period_s: float
    jitter: float
    late: float
    jumps: int
    delta: bool
    skip_empty: bool
    uptime: bool
    state: bool
    motion: str
    fan: bool
    origin_s: float


@dataclass
class Machine:
    """Everything drawn for one log."""

    sensors: list[Sensor]
    host: Host
    room_c: float
    swing_c: float
    enclosed: float
    step_s: float
    trouble: dict[str, Disturbance] = field(default_factory=dict)
    courses: dict[str, Course] = field(default_factory=dict)

    def sensor(self, role: str) -> Sensor | None:
        """The channel in a role, if fitted."""
        return next((s for s in self.sensors if s.role == role), None)


def draw_machine(rng: np.random.Generator, codes: bool | None = None) -> Machine:
    """A machine and a host that nobody has tuned to."""
    has_codes = bool(rng.random() < 0.6) if codes is None else codes
    # Drawn apart, so that nothing else depends on them.
    parts = rng.spawn(1)[0]
    period = float(rng.choice([0.1, 0.2, 0.25, 0.25, 0.5, 0.5, 1.0, 1.0, 2.0]))
    decimals = [None, 2, 2, 1, 1, 0][int(rng.integers(6))]
    colours = ("white", "white", "ar", "pink")
    power_as = str(rng.choice(["asked", "given", "smooth", "late", "percent"]))

    def sensor(name: str, role: str, **more: object) -> Sensor:
        made = Sensor(name, role, decimals=decimals, power_as=power_as)
        made.sigma_c = float(np.exp(rng.uniform(np.log(0.008), np.log(0.15))))
        made.colour = str(rng.choice(colours))
        made.ratio, made.bits = chain
        made.cold_ohm = float(np.exp(parts.uniform(np.log(3e4), np.log(3e5))))
        made.beta = float(parts.uniform(3600.0, 4400.0))
        made.pull_up = made.cold_ohm * float(parts.uniform(0.035, 0.065))
        for key, value in more.items():
            setattr(made, key, value)
        return made

    ratio, bits = CHAINS[int(parts.integers(len(CHAINS)))]
    chain = (float(ratio), int(bits))
    r0 = 1000.0 if rng.random() < 0.3 else 100.0
    flags = has_codes and bool(rng.random() < 0.7)
    platinum: dict[str, object] = {"r0": r0, "codes": has_codes, "flags": flags}
    if has_codes:
        platinum["ohms"] = bool(rng.random() < 0.4)
        if decimals == 0:
            decimals = 1
    heater: dict[str, object] = {"plant": _nozzle(rng), "control": _control(rng, 12.0)}
    sensors = [sensor(str(rng.choice(NOZZLES)), "nozzle", **heater, **platinum)]
    counts = int(rng.choice([1024, 4096, 4096, 65536]))
    thermistor: dict[str, object] = {"kind": "thermistor", "counts": counts}
    also = platinum if has_codes and rng.random() < 0.4 else thermistor
    heater = {"plant": _bed(rng), "control": _control(rng, 4.0)}
    sensors.append(sensor(str(rng.choice(BEDS)), "bed", **heater, **also))
    if rng.random() < 0.35:
        also = platinum if has_codes else thermistor
        heater = {"plant": _nozzle(rng), "control": _control(rng, 12.0)}
        sensors.append(sensor(str(rng.choice(SECONDS)), "second", **heater, **also))
    if rng.random() < 0.6:
        also = platinum if has_codes and rng.random() < 0.4 else thermistor
        sensors.append(sensor(str(rng.choice(CHAMBERS)), "chamber", **also))
    if rng.random() < 0.6:
        step = float(rng.choice([0.0, 0.0625, 0.25, 1.0]))
        own = {"kind": "plain", "step_c": step, "warm_c": float(rng.uniform(0.5, 6.0))}
        sensors.append(sensor(str(rng.choice(BOARDS)), "board", **own))
    delta = bool(rng.random() < 0.4)
    host = Host(
        period_s=period,
        jitter=float(rng.choice([0.0, 0.01, 0.05, 0.2])),
        late=float(rng.choice([0.0, 0.0005, 0.003])),
        jumps=0,
        delta=delta,
        skip_empty=False,
        uptime=bool(rng.random() < 0.5),
        state=bool(rng.random() < 0.5),
        motion=str(rng.choice(["none", "all", "xyz", "speed"])),
        fan=bool(rng.random() < 0.6),
        origin_s=float(rng.choice([0.0, 0.0, 1.76e9, 54321.25])),
    )
    step_s = min(period, 0.25)
    return Machine(
        sensors,
        host,
        room_c=float(rng.uniform(14, 30)),
        swing_c=float(rng.uniform(0.0, 3.0)),
        enclosed=float(rng.choice([0.05, 0.1, 0.35])),
        step_s=step_s,
    )


def _nozzle(rng: np.random.Generator) -> Plant:
    watts = float(rng.choice([30.0, 40.0, 50.0, 60.0, 70.0]))
    block = rng.uniform(8.0, 22.0)
    plant = Plant(
        watts=watts,
        wire_j=rng.uniform(2.0, 5.0),
        block_j=block,
        joint_w_k=rng.uniform(1.5, 5.0),
        loss_w_k=watts * rng.uniform(0.20, 0.42) / 200.0,
        radiating_m2=rng.uniform(5e-4, 2e-3),
        sensor_lag_s=rng.uniform(0.8, 4.0),
        fan_w_k=watts * rng.uniform(0.0, 0.12) / 200.0,
        fan_height_mm=rng.uniform(2.0, 200.0),
        melt_watts=rng.uniform(0.5, 5.0),
    )
    # A heater that cannot hold 290 °C with fan and melt would be no healthy one.
    worst = plant.power_for(290.0, 15.0) + (plant.fan_w_k * 275.0 + plant.melt_watts * 1.6) / watts
    return replace(plant, watts=watts * max(worst / MOST_SHARE, 1.0))


def _bed(rng: np.random.Generator) -> Plant:
    watts = float(rng.uniform(120.0, 600.0))
    return Plant(
        watts=watts,
        wire_j=rng.uniform(80.0, 200.0),
        block_j=watts * rng.uniform(2.0, 4.0),
        joint_w_k=rng.uniform(10.0, 30.0),
        loss_w_k=watts * rng.uniform(0.25, 0.5) / 85.0,
        radiating_m2=0.0,
        sensor_lag_s=rng.uniform(2.0, 10.0),
        fan_w_k=watts * rng.uniform(0.0, 0.03) / 85.0,
        fan_height_mm=rng.uniform(10.0, 60.0),
        melt_watts=0.0,
    )


def _control(rng: np.random.Generator, band: float) -> Control:
    kind = str(rng.choice(["pid", "pid", "model", "relay"], p=[0.4, 0.2, 0.2, 0.2]))
    levels = int(rng.choice([0, 0, 100, 250, 20]))
    windows = [0.0, 0.0, 1.0, 2.0, 5.0] if band < 6.0 else [0.0, 0.0, 0.0, 1.0]
    window = float(rng.choice(windows))
    if kind == "relay":
        return Control(kind, float(rng.uniform(0.3, 1.2)), 1.0, most=1.0)
    most = float(rng.choice([1.0, 1.0, 0.9, 0.75]))
    if kind == "model":
        wide, reset, rate = band * rng.uniform(0.7, 1.5), rng.uniform(30, 90), rng.uniform(1, 4)
        error, knows_fan = rng.uniform(-0.12, 0.12), bool(rng.random() < 0.5)
        return Control(kind, wide, reset, rate, most, levels, window, error, knows_fan)
    wide, reset, rate = band * rng.uniform(0.8, 2.5), rng.uniform(25, 120), rng.uniform(0, 6)
    return Control(kind, wide, reset, rate, most, levels, window)


def noise(rng: np.random.Generator, sensor: Sensor, n: int, step_s: float) -> Floats:
    """The sensor's own noise in °C: white, correlated, or one over f."""
    white = rng.standard_normal(n)
    if sensor.colour == "white":
        return white * sensor.sigma_c
    if sensor.colour == "ar":
        tau = rng.uniform(0.3, 3.0)
        return _slow(rng, n, tau / step_s) * sensor.sigma_c
    total = 0.6 * white
    for tau in (1.0, 10.0, 100.0, 1000.0):
        total = total + 0.4 * _slow(rng, n, tau / step_s)
    return total * sensor.sigma_c


def _slow(rng: np.random.Generator, n: int, steps: float) -> Floats:
    """A first-order Gauss–Markov series of unit spread."""
    keep = float(np.exp(-1.0 / max(steps, 1e-3)))
    drive = rng.standard_normal(n) * np.sqrt(1 - keep * keep)
    out, _ = lfilter([1.0], [1.0, -keep], drive, zi=[keep * rng.standard_normal()])
    return np.asarray(out)


def calm(rng: np.random.Generator, sensor: Sensor, n: int, step_s: float) -> Disturbance:
    """No fault: only the sensor's own noise."""
    zero = np.zeros(n)
    return Disturbance(
        noise(rng, sensor, n, step_s),
        zero.copy(),
        zero.copy(),
        np.full(n, np.nan),
        np.zeros(n, bool),
        zero.copy(),
        np.ones(n),
        zero.copy(),
    )


def live(machine: Machine, rng: np.random.Generator, day: Day) -> None:
    """Run every channel over the day."""
    n = len(day.nozzle)
    t = np.arange(n) * machine.step_s
    wave = np.sin(2 * np.pi * (t / 86400 + rng.random()))
    room = machine.room_c + machine.swing_c * wave + 0.15 * _slow(rng, n, 1200 / machine.step_s)
    if rng.random() < 0.3:  # a window opened for a while
        a = rng.uniform(0, t[-1])
        room = room - rng.uniform(1, 4) * ((t > a) & (t < a + 900))
        room = _lag(room, 120 / machine.step_s)
    zero = np.zeros(n)
    step_s = machine.step_s
    bed = machine.sensor("bed")
    assert bed is not None
    assert bed.plant is not None
    assert bed.control is not None
    air, trouble = room, machine.trouble[bed.name]
    for _ in range(2):  # the bed warms the air that it then stands in
        course = run(
            bed.plant, bed.control, day.bed, air, day.fan, day.height, zero, trouble, step_s, bed.r0
        )
        air = room + _lag(course.true_c - room, 1200 / step_s) * machine.enclosed
    machine.courses[bed.name] = course
    for role, goal, flow in (("nozzle", day.nozzle, day.flow), ("second", day.second, zero)):
        sensor = machine.sensor(role)
        if sensor and sensor.plant and sensor.control:
            wind, trouble = day.fan if role == "nozzle" else zero, machine.trouble[sensor.name]
            plant, control = sensor.plant, sensor.control
            machine.courses[sensor.name] = run(
                plant, control, goal, air, wind, day.height, flow, trouble, step_s, sensor.r0
            )
    for role in ("chamber", "board"):
        sensor = machine.sensor(role)
        if sensor:
            own = _lag(sensor.warm_c + 14.0 * day.busy, 400 / step_s)
            truth = air if role == "chamber" else room + 0.3 * (air - room) + own
            machine.courses[sensor.name] = passive(truth, machine.trouble[sensor.name], sensor.r0)


def _lag(x: Floats, steps: float) -> Floats:
    keep = float(np.exp(-1.0 / steps))
    out, _ = lfilter([1 - keep], [1.0, -keep], x, zi=[keep * x[0]])
    return np.asarray(out)


def passive(truth: Floats, trouble: Disturbance, r0: float) -> Course:
    """A sensor without a heater."""
    read = truth + trouble.noise_c + trouble.celsius
    read = read + trouble.ohm / (r0 * (3.9083e-3 - 2 * 5.775e-7 * read))
    read = np.where(np.isnan(trouble.instead), read, trouble.instead)
    if trouble.hold.any():
        last = np.maximum.accumulate(np.where(trouble.hold, 0, np.arange(len(read))))
        read = read[last]
    zero = np.zeros(len(truth))
    return Course(truth, read, zero, zero)
