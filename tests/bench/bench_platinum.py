"""Inverse of a million resistances against rtd-sensor and the plain forward polynomial.

    python -m tests.bench.bench_platinum

Ratios on one machine; smaller is faster. rtd-sensor converts one value a call, and is
timed on a part of the values.
"""

import time
from collections.abc import Callable
from functools import partial

import numpy as np
from rtd_sensor import pt100

from shared.platinum import IEC_60751, celsius, celsius_array, ratio_array
from shared.updates import Floats

COUNT = 1_000_000
PART = 20_000
ROUNDS = 5


def best_s(work: Callable[[], object]) -> float:
    """Shortest of a few rounds, s."""
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def _forward(temperature_c: Floats) -> Floats:
    """The plain polynomial, above 0 °C."""
    resistance: Floats = 100.0 * (1.0 + temperature_c * (IEC_60751.a + temperature_c * IEC_60751.b))
    return resistance


def _singly(convert: Callable[[float], float], values: list[float]) -> list[float]:
    return [convert(each) for each in values]


def main() -> None:
    rng = np.random.default_rng(1)
    for name, low in (("0…850 °C", 0.0), ("−200…850 °C", -200.0)):
        temperatures = rng.uniform(low, 850.0, COUNT)
        resistances = 100.0 * ratio_array(temperatures)
        part = resistances[:PART].tolist()
        inverse = best_s(partial(celsius_array, resistances))
        forward = best_s(partial(_forward, temperatures))
        single = best_s(partial(_singly, celsius, part)) * COUNT / PART
        other = best_s(partial(_singly, pt100.resistance_to_celsius, part))
        other *= COUNT / PART
        error = float(np.abs(celsius_array(resistances) - temperatures).max())
        print(f"{name}: inverse of {COUNT:,} resistances, worst error {error:.1e} °C")
        print(f"  array             {inverse * 1e3:9.1f} ms")
        print(f"  ÷ forward in NumPy{inverse / forward:9.2f}")
        print(f"  rtd-sensor ÷ array{other / inverse:9.0f}")
        print(f"  one at a time     {single * 1e3:9.1f} ms")
        print(f"  rtd-sensor ÷ one  {other / single:9.2f}")


if __name__ == "__main__":
    main()
