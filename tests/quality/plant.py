"""Many printers at once: a second, plainer physics than the simulated host's.

Detectors are judged on logs that they were not written beside. This plant shares no code
with `client.simulated`: lumped heaters with a lag and a dead time, a PI or an on-off
controller, prints with moves and fan, a room that drifts. N machines run side by side as
arrays of shape (N,), each with its own constants.
"""

from dataclasses import dataclass, field

import numpy as np

from shared.updates import Floats

STEP_S = 0.25


@dataclass(slots=True)
class Heater:
    """One heater and its sensor in N machines; arrays of shape (N,)."""

    full_k_per_s: Floats
    """Rise at full power without loss, K/s."""
    loss_s: Floats
    """Time constant of the loss to the room, s."""
    sensor_s: Floats
    """Lag of the sensor, s."""
    dead_steps: Floats
    """Dead time in steps."""
    fan_loss: Floats
    """Further loss with the fan at full speed, as a fraction."""
    on_off_k: Floats
    """Hysteresis of an on-off controller, K; 0 where a PI controller regulates."""


def nozzle(rng: np.random.Generator, n: int) -> Heater:
    """Hot ends from slow to fast. Ranges are assumptions, wide on purpose."""
    return Heater(
        full_k_per_s=rng.uniform(2.5, 8.0, n),
        loss_s=rng.uniform(120.0, 350.0, n),
        sensor_s=rng.uniform(0.5, 4.0, n),
        dead_steps=rng.integers(1, 7, n).astype(float),
        fan_loss=rng.uniform(0.05, 0.4, n),
        on_off_k=np.zeros(n),
    )


def bed(rng: np.random.Generator, n: int) -> Heater:
    """Beds: slow, half of them regulated on and off."""
    return Heater(
        full_k_per_s=rng.uniform(0.25, 0.8, n),
        loss_s=rng.uniform(400.0, 1200.0, n),
        sensor_s=rng.uniform(2.0, 10.0, n),
        dead_steps=rng.integers(2, 10, n).astype(float),
        fan_loss=np.zeros(n),
        on_off_k=np.where(rng.random(n) < 0.5, rng.uniform(0.3, 1.5, n), 0.0),
    )


@dataclass(slots=True)
class Orders:
    """What the machines are told, arrays of shape (steps, N)."""

    nozzle_c: Floats
    bed_c: Floats
    moving: Floats
    fan: Floats


@dataclass(slots=True)
class Run:
    """What happened, arrays of shape (steps, N)."""

    orders: Orders
    time_s: Floats
    room_c: Floats
    nozzle_c: Floats
    nozzle_power: Floats
    bed_c: Floats
    bed_power: Floats
    chamber_c: Floats
    x_mm: Floats
    y_mm: Floats
    speed_mm_s: Floats


@dataclass(slots=True)
class Upsets:
    """Faults of heat, arrays of shape (steps, N); ones where all is well."""

    heater_works: Floats
    """0 where the nozzle's heater gives no heat."""
    heater_stuck: Floats
    """1 where the nozzle's heater is on whatever the controller says."""
    seat: Floats
    """Share of the block's temperature rise that the sensor feels."""
    reads_more_c: Floats
    """What the nozzle's reading, and so its controller, is off by."""


def no_upsets(steps: int, n: int) -> Upsets:
    shape = (steps, n)
    return Upsets(np.ones(shape), np.zeros(shape), np.ones(shape), np.zeros(shape))


def print_orders(rng: np.random.Generator, steps: int, n: int, *, busy: bool = True) -> Orders:
    """Prints, target changes, cool-downs and idle stretches, each machine its own.

    `busy`: the machine is warm and prints from the start to the end (for fault cases).
    """
    orders = Orders(*(np.zeros((steps, n)) for _ in range(4)))
    for machine in range(n):
        step = 0 if busy else int(rng.uniform(120.0, 900.0) / STEP_S)
        while step < steps:
            length = steps if busy else int(rng.uniform(1200.0, 9000.0) / STEP_S)
            end = min(step + length, steps)
            target = float(rng.choice([190.0, 205.0, 215.0, 240.0, 255.0]))
            orders.nozzle_c[step:end, machine] = target
            orders.bed_c[step:end, machine] = float(rng.choice([0.0, 55.0, 60.0, 80.0]))
            if not busy and end - step > 4000 and rng.random() < 0.5:
                change = int(rng.integers(step + 2000, end))
                orders.nozzle_c[change:end, machine] = target + float(rng.choice([-10.0, 5.0]))
            begin = step if busy else min(step + int(rng.uniform(240.0, 400.0) / STEP_S), end)
            _moves(rng, orders, begin, end, machine)
            step = end + int(rng.uniform(600.0, 4000.0) / STEP_S)
    return orders


def _moves(rng: np.random.Generator, orders: Orders, begin: int, end: int, machine: int) -> None:
    """Stretches of motion with pauses, and fan steps."""
    step = begin
    while step < end:
        stretch = int(rng.uniform(40.0, 400.0) / STEP_S)
        orders.moving[step : min(step + stretch, end), machine] = 1.0
        orders.fan[step : min(step + stretch, end), machine] = float(rng.choice([0.0, 0.3, 0.6, 1]))
        step += stretch + int(rng.uniform(5.0, 60.0) / STEP_S)


@dataclass(slots=True)
class _Loop:
    """Controller and heat of one heater in N machines."""

    heater: Heater
    block_c: Floats
    sensor_c: Floats
    power: Floats
    integral: Floats
    queue: list[Floats] = field(default_factory=list)

    def step(
        self,
        target: Floats,
        room: Floats,
        fan: Floats,
        works: Floats,
        stuck: Floats,
        seat: Floats,
        off_by: Floats,
    ) -> None:
        heater = self.heater
        error = target - self.sensor_c - off_by
        gain = 0.12 / heater.full_k_per_s
        raw = gain * error + self.integral
        held = (raw > 0.0) & (raw < 1.0)
        self.integral += np.where(held, gain * error * STEP_S / 25.0, 0.0)
        self.integral = np.where(target > 0.0, self.integral, 0.0)
        regulated = np.clip(raw, 0.0, 1.0)
        band = heater.on_off_k
        switched = np.where(error > band / 2, 1.0, np.where(error < -band / 2, 0.0, self.power))
        power = np.where(band > 0.0, np.round(switched), regulated)
        self.power = np.where(target > 0.0, power, 0.0)
        self.queue.append(np.maximum(self.power * works, stuck))
        if len(self.queue) > 16:
            self.queue.pop(0)
        back = np.minimum(heater.dead_steps, len(self.queue) - 1).astype(int)
        given = np.array([self.queue[-1 - k][m] for m, k in enumerate(back)])
        loss = (self.block_c - room) / heater.loss_s * (1.0 + heater.fan_loss * fan)
        self.block_c = self.block_c + STEP_S * (heater.full_k_per_s * given - loss)
        felt = room + seat * (self.block_c - room)
        self.sensor_c = self.sensor_c + STEP_S / heater.sensor_s * (felt - self.sensor_c)


def _loop(heater: Heater, start_c: Floats, room: Floats) -> _Loop:
    n = len(start_c)
    hold = (start_c - room) / heater.loss_s / heater.full_k_per_s
    return _Loop(
        heater, start_c.copy(), start_c.copy(), np.zeros(n), np.where(start_c > room + 1, hold, 0.0)
    )


def run(
    rng: np.random.Generator, orders: Orders, upsets: Upsets | None = None, *, warm: bool = True
) -> Run:
    """Let N machines follow their orders. `warm`: they start at their first targets."""
    steps, n = (int(size) for size in orders.nozzle_c.shape)
    upsets = upsets or no_upsets(steps, n)
    room0 = rng.uniform(18.0, 28.0, n)
    swing = rng.uniform(0.0, 3.0, n)
    phase = rng.uniform(0.0, 6.28, n)
    first_n = np.where(warm & (orders.nozzle_c[0] > 0), orders.nozzle_c[0], room0)
    first_b = np.where(warm & (orders.bed_c[0] > 0), orders.bed_c[0], room0)
    hot, plate = _loop(nozzle(rng, n), first_n, room0), _loop(bed(rng, n), first_b, room0)
    chamber = room0 + 0.15 * (first_b - room0)
    shape = (steps, n)
    out = Run(orders, *(np.zeros(shape) for _ in range(10)))
    travel = np.zeros(n)
    top_speed = rng.uniform(40.0, 150.0, n)
    ones, zeros = np.ones(n), np.zeros(n)
    for i in range(steps):
        room = room0 + swing * (np.sin(i * STEP_S / 7200.0 + phase) - np.sin(phase))
        hot.step(
            orders.nozzle_c[i], room, orders.fan[i],
            upsets.heater_works[i], upsets.heater_stuck[i], upsets.seat[i], upsets.reads_more_c[i],
        )  # fmt: skip
        plate.step(orders.bed_c[i], room, zeros, ones, zeros, ones, zeros)
        warmth = room + 0.15 * (plate.block_c - room) + 0.01 * (hot.block_c - room)
        chamber = chamber + STEP_S / 600.0 * (warmth - chamber)
        speed = orders.moving[i] * top_speed * (0.6 + 0.4 * np.abs(np.sin(i * 0.37)))
        travel = travel + speed * STEP_S
        out.time_s[i], out.room_c[i] = i * STEP_S, room
        out.nozzle_c[i], out.nozzle_power[i] = hot.sensor_c, hot.power
        out.bed_c[i], out.bed_power[i] = plate.sensor_c, plate.power
        out.chamber_c[i], out.speed_mm_s[i] = chamber, speed
        out.x_mm[i] = 20.0 + np.abs((travel % 320.0) - 160.0)
        out.y_mm[i] = 20.0 + np.abs((travel * 0.073 % 320.0) - 160.0)
    return out
