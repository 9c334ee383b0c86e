"""Updates made up in Ω for measured checks: a cold bench, one or two channels, no simulator."""

from collections.abc import Callable, Iterator, Mapping

import numpy as np

from detectors.measured.form import Measured
from shared.chain import EXAMPLE, Chain
from shared.converter import code_of
from shared.platinum import celsius
from shared.updates import Update, Value

Ohms = Callable[[float], float]
PERIOD_S = 0.25


def rows(
    seconds: float,
    ohms: Mapping[str, Ohms],
    *,
    from_s: float = 0.0,
    seed: int = 1,
    noise: Callable[[float], float] = lambda _: 0.5,
    chain: Chain = EXAMPLE,
    also: Callable[[float], dict[str, Value]] = lambda _: {},
) -> Iterator[Update]:
    """Updates at 4 Hz; `ohms` by channel gives Ω at a time, `noise` codes, `also` other keys."""
    rng = np.random.default_rng(seed)
    for index in range(round(seconds / PERIOD_S)):
        time_s = from_s + index * PERIOD_S
        values: dict[str, Value] = {}
        for channel, ohm in ohms.items():
            seen = ohm(time_s) + float(rng.normal(0.0, noise(time_s))) * chain.step_ohm
            code = code_of(max(seen, 0.0), chain.reference_ohm, chain.bits)
            shown = celsius(code * chain.step_ohm, chain.r0_ohm)
            values[f"{channel}.code"] = float(code)
            values[f"{channel}.temperature_c"] = round(shown, 2) if shown == shown else 999.0
            values[f"{channel}.target_c"] = 0.0
            values[f"{channel}.power"] = 0.0
        yield Update(time_s, {**values, **also(time_s)})


def fed(check: Measured, updates: Iterator[Update]) -> int:
    """Feed a check; how many updates rang the bell."""
    return sum(check.feed(update) for update in updates)
