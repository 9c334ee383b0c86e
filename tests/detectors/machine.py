"""A small heater of its own making, for detector tests: one mass, dead time, a PI loop.

It shares nothing with the simulated host. Faults are hooks on time.
"""

from collections.abc import Callable

import numpy as np

from detectors.engine.watch import Watch
from shared.events import Event
from shared.updates import Batch, Floats
from shared.words import Kind

STEP_S = 0.05


def heated(
    seconds: float,
    target: Callable[[float], float],
    *,
    rise_c_s: float = 2.5,
    loss_s: float = 250.0,
    dead_s: float = 1.5,
    gain: float = 0.05,
    reset_s: float = 60.0,
    on_off_k: float = 0.0,
    noise_c: float = 0.03,
    rounding: float = 0.01,
    period_s: float = 0.25,
    room_c: float = 22.0,
    start_c: float | None = None,
    works: Callable[[float], float] = lambda _: 1.0,
    seen: Callable[[float, float], float] = lambda _, celsius: celsius,
    extra_c_s: Callable[[float], float] = lambda _: 0.0,
    seed: int = 1,
    channel: str = "nozzle",
) -> Batch:
    """Rows of one heater. `works`: part of the power that heats; `seen`: time and truth to
    what the sensor shows; `extra_c_s`: heat that no power made; `on_off_k`: half the band of
    a heater that is only switched on and off."""
    rng = np.random.default_rng(seed)
    true_c = start_c if start_c is not None else room_c
    late = [0.0] * max(round(dead_s / STEP_S), 1)
    integral = power = 0.0
    if start_c is not None and target(0.0) > 0.0:
        integral = power = (start_c - room_c) / loss_s / rise_c_s
        late = [power] * len(late)
    rows: list[tuple[float, float, float, float]] = []
    next_s = 0.0
    for index in range(int(seconds / STEP_S)):
        now = index * STEP_S
        late.append(power)
        heat = rise_c_s * late.pop(0) * works(now) + extra_c_s(now)
        true_c += STEP_S * (heat - (true_c - room_c) / loss_s)
        if now >= next_s:
            next_s += period_s
            reading = seen(now, true_c) + float(rng.normal(0.0, noise_c))
            wanted = target(now)
            if on_off_k:
                error = wanted - reading
                power = 1.0 if error > on_off_k else 0.0 if error < -on_off_k else float(power > 0)
                power *= wanted > 0.0
            elif wanted > 0.0:
                error = wanted - reading
                power = min(max(gain * error + integral, 0.0), 1.0)
                if 0.0 < gain * error + integral < 1.0:
                    integral = min(max(integral + gain * error * period_s / reset_s, 0.0), 1.0)
            else:
                integral = power = 0.0
            jitter = float(rng.uniform(0.0, 0.1 * period_s))
            rows.append((now + jitter, round(reading / rounding) * rounding, wanted, power))
    columns = np.array(rows)
    return Batch(
        columns[:, 0],
        {
            f"{channel}.temperature_c": columns[:, 1],
            f"{channel}.target_c": columns[:, 2],
            f"{channel}.power": columns[:, 3],
        },
    )


def together(*batches: Batch, **columns: Floats) -> Batch:
    """Channels of equal length side by side on the first one's times; `a__b` means `a.b`."""
    numbers = {key: values for batch in batches for key, values in batch.numbers.items()}
    numbers |= {key.replace("__", "."): values for key, values in columns.items()}
    return Batch(batches[0].time_s, numbers)


def found(batch: Batch, *kinds: Kind) -> list[Event]:
    """Events of these kinds, or above a notice when none is given."""
    watch = Watch()
    watch.feed(batch)
    watch.finish()
    return [
        event
        for event in watch.events
        if event.absorbed_by is None and (event.kind in kinds if kinds else event.severity.rank > 0)
    ]
