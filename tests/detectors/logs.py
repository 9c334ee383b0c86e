"""Small synthetic logs for detector tests: plain numbers, no simulator behind them."""

from collections.abc import Callable

import numpy as np

from detectors.engine.watch import Watch
from shared.chain import EXAMPLE, Chain
from shared.converter import code_of
from shared.events import Event
from shared.platinum import ohms
from shared.updates import Update, Value, batch_of


def steady(
    seconds: float = 120.0,
    celsius: Callable[[float], float] = lambda _: 210.0,
    *,
    period_s: float = 0.25,
    noise_c: float = 0.05,
    seed: int = 1,
    channel: str = "nozzle",
    chain: Chain = EXAMPLE,
    with_code: bool = True,
) -> list[Update]:
    """Updates of one channel held by a heater, with noise, degrees rounded to 0.01."""
    rng = np.random.default_rng(seed)
    updates = []
    for index in range(int(seconds / period_s)):
        time_s = round(index * period_s + float(rng.uniform(0.0, 0.02)), 4)
        true_c = celsius(time_s) + float(rng.normal(0.0, noise_c))
        values: dict[str, Value] = {
            f"{channel}.temperature_c": round(true_c, 2),
            f"{channel}.target_c": 210.0,
            f"{channel}.power": 0.4,
        }
        if with_code:
            values[f"{channel}.code"] = float(
                code_of(ohms(true_c, chain.r0_ohm), chain.reference_ohm, chain.bits)
            )
        updates.append(Update(time_s, values))
    return updates


def watched(updates: list[Update], chains: dict[str, Chain] | None = None) -> list[Event]:
    """Events of a log fed as one block, absorbed ones left out."""
    watch = Watch(chains or {"nozzle": EXAMPLE})
    watch.feed(batch_of(updates))
    watch.finish()
    return [event for event in watch.events if event.absorbed_by is None]
