"""Real temperature sensors, whole and with faults put in at random.

    python -m tests.quality.traces [--seed N] [--each N]

Each trace lies with its source and licence in `tests/data`. None is of a printer: no power, no
target, no motion. Faults are of the sizes that `docs/events.md` states as the least, and up to four
times that; a kind that a trace's rate of readings rules out ("not evaluated") is not asked there.
"""

import argparse
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from detectors.engine.watch import Watch
from detectors.table.speedlimit import LEAST_UNTOLD_C_S
from recordings.logs import open_log
from shared.events import Event
from shared.updates import Batch, Floats
from shared.words import Kind, Severity
from tests.quality.intervals import share_interval

DATA = Path(__file__).parents[1] / "data"
NAMES = ("motes", "station", "tower")
LABELLED = {"mote1": (11_715.0, 12_295.0), "mote4": (11_805.0, 11_960.0)}
"""Two heat events that were made on purpose, s."""
WARM_UP_ROWS = 400
"""Faults come once a channel is known."""
STOOD_ROWS = 100
CHANGES = 0.6
"""Of a channel that repeats two readings in five "frozen" is not evaluated."""
OPEN_C, SHORT_C = 988.8, -242.0
"""What hosts show for an input that is open or shorted (common practice)."""


@dataclass(frozen=True, slots=True)
class Trace:
    """One log of sensors that are whole."""

    name: str
    batch: Batch

    @property
    def spacing_s(self) -> float:
        return float(np.median(np.diff(self.batch.time_s)))

    @property
    def hours(self) -> float:
        return float(self.batch.time_s[-1] - self.batch.time_s[0]) / 3600.0


def trace(name: str) -> Trace:
    log = open_log(str(DATA / name / f"{name}.csv"))
    try:
        (batch,) = log.batches()
    finally:
        log.close()
    return Trace(name, batch)


def watched(batch: Batch) -> list[Event]:
    watch = Watch({})
    watch.feed(batch)
    watch.finish()
    return [
        event
        for event in watch.events
        if event.severity is not Severity.NOTICE
        and event.absorbed_by is None
        and not _is_labelled(event)
    ]


def _is_labelled(event: Event) -> bool:
    from_s, until_s = LABELLED.get(event.channel, (math.inf, math.inf))
    return from_s <= event.start_s <= until_s


Put = Callable[[Trace, Floats, int, np.random.Generator], int]
"""Puts a fault into a column from a row on; how many rows it lasts."""


def _jump_k(trace: Trace, column: Floats, at: int, rng: np.random.Generator) -> float:
    """From the least size that heat may not do, to four times it; either way."""
    noise = float(np.median(np.abs(np.diff(column[at - 100 : at]))))
    least = LEAST_UNTOLD_C_S * trace.spacing_s + 12.0 * noise + 0.5
    return least * float(np.exp(rng.uniform(math.log(1.1), math.log(4.0))))


def _spike(trace: Trace, column: Floats, at: int, rng: np.random.Generator) -> int:
    column[at] += _jump_k(trace, column, at, rng) * rng.choice([-1.0, 1.0])
    return 1


def _break(trace: Trace, column: Floats, at: int, rng: np.random.Generator) -> int:
    """Three of them, a reading or two long."""
    size = _jump_k(trace, column, at, rng)
    for begin in range(at, at + 90, 30):
        rows = int(rng.integers(1, 3))
        column[begin : begin + rows] += size
    return 90


def _step(trace: Trace, column: Floats, at: int, rng: np.random.Generator) -> int:
    column[at:] += _jump_k(trace, column, at, rng) * rng.choice([-1.0, 1.0])
    return len(column) - at


def _noise(_: Trace, column: Floats, at: int, rng: np.random.Generator) -> int:
    """Three to eight times its own, and more than a step, for ten windows."""
    own = column[at - 320 : at]
    rough = float(np.std(np.diff(own, 3))) / math.sqrt(20.0)
    step = float(np.min(np.abs(np.diff(np.unique(own)))))
    rows = 320
    column[at : at + rows] += rng.normal(0.0, max(rough, step) * rng.uniform(3.0, 8.0), rows)
    return rows


def _frozen(_: Trace, column: Floats, at: int, rng: np.random.Generator) -> int:
    rows = int(STOOD_ROWS * rng.uniform(1.0, 2.0))
    column[at : at + rows] = column[at]
    return rows


def _end(celsius: float) -> Put:
    def put(_: Trace, column: Floats, at: int, rng: np.random.Generator) -> int:
        rows = int(rng.integers(5, 60))
        column[at : at + rows] = celsius
        return rows

    return put


PUTS: dict[Kind, tuple[Put, float]] = {
    Kind.SPIKE: (_spike, 10.0),
    Kind.CONTACT_BREAK: (_break, 10.0),
    Kind.STEP: (_step, 10.0),
    Kind.NOISE_RISE: (_noise, 30.0),
    Kind.FROZEN: (_frozen, math.inf),
    Kind.CODE_HIGH: (_end(OPEN_C), math.inf),
    Kind.CODE_LOW: (_end(SHORT_C), math.inf),
}
"""How each kind is put in, and the rarest readings, s, at which it is asked."""


def _changes(column: Floats) -> float:
    return float(np.mean(np.diff(column) != 0.0))


def asked(trace: Trace, kind: Kind) -> list[str]:
    """Keys in which a kind is put: of those that stand often, none can be said to be frozen."""
    if trace.spacing_s > PUTS[kind][1]:
        return []
    keys = list(trace.batch.numbers)
    if kind is Kind.FROZEN:
        return [key for key in keys if _changes(trace.batch.numbers[key]) > CHANGES]
    return keys


def _touches(trace: Trace, key: str, at: int) -> bool:
    """Whether a fault from this row on would lie among what was done to a sensor."""
    from_s, until_s = LABELLED.get(key.partition(".")[0], (math.inf, -math.inf))
    begins_s = float(trace.batch.time_s[at])
    return from_s - 400 * trace.spacing_s < begins_s < until_s + 100 * trace.spacing_s


def trials(trace: Trace, kind: Kind, each: int, seed: int) -> Iterator[tuple[bool, str]]:
    """Whether a fault that was put in is found, and where it was, for so many of them."""
    keys = asked(trace, kind)
    for number in range(each if keys else 0):
        rng = np.random.default_rng((seed, number, *kind.encode()))
        key = str(rng.choice(keys))
        column = trace.batch.numbers[key].copy()
        told = np.flatnonzero(np.isfinite(column))
        last = int(told[-1]) - 400
        at = int(rng.integers(WARM_UP_ROWS, last))
        while _touches(trace, key, at):
            at = int(rng.integers(WARM_UP_ROWS, last))
        rows = PUTS[kind][0](trace, column, at, rng)
        batch = Batch(trace.batch.time_s, {**trace.batch.numbers, key: column})
        name = key.partition(".")[0]
        from_s = float(batch.time_s[at]) - 40.0 * trace.spacing_s
        until_s = float(batch.time_s[min(at + rows + 70, len(column) - 1)])
        found = any(
            event.kind is kind and event.channel == name and from_s <= event.start_s <= until_s
            for event in watched(batch)
        )
        yield found, f"{trace.name} {name} row {at}"


def lines(each: int, seed: int) -> Iterator[str]:
    """The table of docs/quality.md."""
    traces = [trace(name) for name in NAMES]
    hours = channel_hours = 0.0
    alarms = list[str]()
    for one in traces:
        hours += one.hours
        channel_hours += one.hours * len(one.batch.numbers)
        alarms += [f"{one.name} {e.channel} {e.kind}" for e in watched(one.batch)]
    told = f": {', '.join(alarms)}" if alarms else ""
    yield f"whole: {hours:.0f} h, {channel_hours:.0f} h of channels, {len(alarms)} alarms{told}"
    for kind in PUTS:
        found = [each_ for one in traces for each_ in trials(one, kind, each, seed)]
        right, of = sum(is_found for is_found, _ in found), len(found)
        low, high = share_interval(right, of)
        missed = ", ".join(where for is_found, where in found if not is_found)
        yield f"{kind:<15} {f'{right}/{of}':>8}  {low:.3f}–{high:.3f}  {missed[:120]}"


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.quality.traces")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--each", type=int, default=40)
    given = parser.parse_args()
    for line in lines(given.each, given.seed):
        print(line, flush=True)


if __name__ == "__main__":
    main()
