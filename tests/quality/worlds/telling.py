"""From what a machine did to the plain log: moments, rounding, forms, clock."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shared.platinum import celsius_array
from shared.updates import Batch, Floats
from tests.quality.worlds.chain import Sensor
from tests.quality.worlds.host import Host
from tests.quality.worlds.machine import Rng
from tests.quality.worlds.program import Program
from tests.quality.worlds.run import Run
from tests.quality.worlds.upset import Upset

SQUEEZED_S = 0.004
"""Between updates of one burst, s."""
LATE_S = 1.5
"""How late a power is told where it is told late, s."""
HEARTBEAT_S = 3.0
"""A host that sends changes only says something after so long at the latest."""
GONE = "gone"
"""Said by what listens, so such a row holds no reading."""
Texts = dict[str, list[tuple[int, str]]]


@dataclass(frozen=True, slots=True)
class Moments:
    """Of every update: when it was taken, and what time its row says, both s.

    They differ by a burst's delay, and by what the host's clock is off.
    """

    taken_s: Floats
    said_s: Floats

    def said_at(self, seconds: float) -> float:
        """What a log's clock says at a moment of the machine's."""
        return float(np.interp(seconds, self.taken_s, self.said_s))


def draw_moments(rng: Rng, host: Host, seconds: float, upset: Upset) -> Moments:
    """When updates were taken, lost ones and gaps left out, and what their rows say."""
    count = int(seconds / host.period_s) - 1
    even = host.period_s * (1.0 + np.arange(count))
    taken_s = even + host.period_s * host.jitter * rng.uniform(-0.5, 0.5, count)
    is_lost = rng.random(count) < host.lost
    is_lost &= ~(np.roll(is_lost, 1) & np.roll(is_lost, 2))
    for start_s, stop_s in upset.gaps:
        is_lost |= (taken_s > start_s) & (taken_s < stop_s)
    taken_s = taken_s[~is_lost]
    words = [at_s for at_s, _ in upset.states if 0.0 < at_s < seconds - 1.0]
    taken_s = np.unique(np.concatenate([taken_s, np.array(words, dtype=np.float64)]))
    return Moments(taken_s, _said(host, _bunched(host, taken_s), taken_s, upset))


def _bunched(host: Host, taken_s: Floats) -> Floats:
    """When updates arrived: those of a burst together, when its last was taken."""
    if host.burst == 1:
        return taken_s
    place = np.arange(len(taken_s))
    last = np.minimum(place - place % host.burst + host.burst - 1, len(taken_s) - 1)
    # A burst does not wait over a gap for more.
    waits = taken_s[last] - taken_s <= 2.0 * host.burst * host.period_s
    squeezed = taken_s[last] - (last - place) * min(SQUEEZED_S, 0.2 * host.period_s)
    arrived = np.where(waits, squeezed, taken_s)
    return np.asarray(np.maximum.accumulate(arrived), dtype=np.float64)


def _said(host: Host, arrived_s: Floats, taken_s: Floats, upset: Upset) -> Floats:
    """The host's clock: its origin, its rate, its leaps, its coarse steps; always rising."""
    said = arrived_s * (1.0 + 1e-6 * host.clock_ppm)
    for at_s, by_s in upset.leaps:
        said = said + by_s * (taken_s >= at_s)
    step = host.clock_step
    ticks = np.round(said / step)
    place = np.arange(len(ticks))
    rising = np.maximum.accumulate(ticks - place) + place
    return np.asarray(rising * step + host.origin_s, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Source:
    """All that is told of."""

    program: Program
    run: Run
    sensors: dict[str, Sensor]
    host: Host
    upset: Upset


def told(source: Source, moments: Moments, rng: Rng) -> Batch:
    """The log as the host sends it."""
    host = source.host
    at = np.minimum(
        (moments.taken_s / source.program.step_s).astype(int), len(source.program.fan) - 1
    )
    parts = [_sensor(source, name, moments, at) for name in source.sensors]
    parts += [_motion(source, at)]
    uptime = _uptime(source, moments, rng)
    if uptime:
        parts.append(uptime)
    numbers = _formed(host, [part for part in parts if part], moments.said_s)
    for at_s, word in source.upset.states:
        if word == GONE:
            for column in numbers.values():
                column[_row(moments, at_s)] = np.nan
    texts = _texts(source, moments)
    return _without_empty(Batch(moments.said_s, numbers, texts))


def codes_told(source: Source, name: str, moments: Moments, at: NDArray[np.int64]) -> Floats:
    """Codes at every update, glitches of the way included."""
    codes = source.run.codes[name][at].copy()
    sensor = source.sensors[name]
    for glitch in source.upset.glitches:
        if glitch.channel == name:
            first = _row(moments, glitch.at_s)
            for row in range(first, min(first + _turns(source), len(codes))):
                spoilt = int(codes[row] + round(glitch.ohm / sensor.code_ohm)) ^ glitch.bits
                codes[row] = min(max(spoilt, 0), sensor.top)
    for channel, start_s, stop_s in source.upset.stands:
        if channel == name:
            first, last = np.searchsorted(moments.taken_s, [start_s, stop_s])
            codes[first:last] = codes[min(first, len(codes) - 1)]
    return codes


def _turns(source: Source) -> int:
    """Updates until each part of the machine has been told of once."""
    host = source.host
    if host.form != "in turns":
        return 1
    return len(source.sensors) + (host.motion or host.feed or host.fan) + host.uptime


def _sensor(
    source: Source, name: str, moments: Moments, at: NDArray[np.int64]
) -> dict[str, Floats]:
    host, sensor = source.host, source.sensors[name]
    codes = codes_told(source, name, moments, at)
    ohms = codes * sensor.code_ohm
    degrees = celsius_array(ohms, sensor.r0_ohm)
    if host.cuts:
        degrees = np.clip(degrees, -50.0, 500.0)
    step = host.step_k or 0.001
    found = {f"{name}.temperature_c": np.round(np.round(degrees / step) * step, 4)}
    if host.codes:
        found[f"{name}.code"] = codes
    if host.ohms:
        found[f"{name}.resistance_ohm"] = np.round(ohms, 3)
    if name in source.program.targets:
        if host.target:
            found[f"{name}.target_c"] = source.program.targets[name][at]
        if host.power != "silent":
            found[f"{name}.power"] = _power(source, name, at)
    return found


def _power(source: Source, name: str, at: NDArray[np.int64]) -> Floats:
    host, run, step_s = source.host, source.run, source.program.step_s
    if host.power == "instant":
        share = run.given[name][at]
    elif host.power == "mean":
        total = np.concatenate([[0.0], np.cumsum(run.given[name])])
        span = max(1, round(host.period_s / step_s))
        first = np.maximum(at + 1 - span, 0)
        share = (total[at + 1] - total[first]) / (at + 1 - first)
    elif host.power == "late":
        share = run.duty[name][np.maximum(at - round(LATE_S / step_s), 0)]
    else:
        share = run.duty[name][at]
    return np.round(np.round(share / host.power_step) * host.power_step, 5)


def _motion(source: Source, at: NDArray[np.int64]) -> dict[str, Floats]:
    host, program = source.host, source.program
    found: dict[str, Floats] = {}
    if host.motion:
        found["motion.x_mm"] = np.round(program.x_mm[at], 2)
        found["motion.y_mm"] = np.round(program.y_mm[at], 2)
        found["motion.z_mm"] = np.round(program.z_mm[at], 2)
        found["motion.speed_mm_s"] = np.round(program.speed_mm_s[at], 1)
    if host.feed:
        found["motion.feed_mm_s"] = np.round(program.feed_mm_s[at], 2)
    if host.fan:
        found["fan.speed"] = program.fan[at]
    return found


def _uptime(source: Source, moments: Moments, rng: Rng) -> dict[str, Floats]:
    """Seconds since the controller began, by its own clock, which no leap of the host moves."""
    began_s = -float(rng.uniform(60.0, 90_000.0))
    if not source.host.uptime:
        return {}
    since = np.full(len(moments.taken_s), began_s)
    for at_s in source.upset.restarts:
        since = np.where(moments.taken_s >= at_s, at_s - 0.3, since)
    step = source.host.uptime_step
    return {"controller.uptime_s": np.round(np.floor((moments.taken_s - since) / step) * step, 3)}


def _formed(host: Host, parts: list[dict[str, Floats]], said_s: Floats) -> dict[str, Floats]:
    """Whole updates, changes only, or one part of the machine after another."""
    numbers: dict[str, Floats] = {}
    for place, part in enumerate(parts):
        for key, column in part.items():
            column = column.astype(np.float64)
            if host.form == "in turns":
                mine = np.arange(len(column)) % len(parts) == place
                column = np.where(mine, column, np.nan)
            elif host.form == "changes":
                column = np.where(np.diff(column, prepend=np.nan) == 0.0, np.nan, column)
            numbers[key] = column
    if host.form == "changes":
        first = next(iter(parts[0]))
        _beat(host, numbers, first, parts[0][first], said_s)
    return numbers


def _beat(host: Host, numbers: dict[str, Floats], key: str, whole: Floats, said_s: Floats) -> None:
    """Let one reading be said again where nothing changed for long."""
    is_said = np.any([~np.isnan(column) for column in numbers.values()], axis=0)
    last_s = -np.inf
    column = numbers[key].copy()
    for row in range(len(column)):
        if not is_said[row] and said_s[row] - last_s >= max(HEARTBEAT_S, 2.0 * host.period_s):
            column[row] = whole[row]
            is_said[row] = True
        if is_said[row]:
            last_s = said_s[row]
    numbers[key] = column


def _texts(source: Source, moments: Moments) -> Texts:
    texts: Texts = {}
    if source.host.state:
        pairs = {0: "up"}
        for at_s, word in source.upset.states:
            pairs[_row(moments, at_s)] = word
        texts["host.state"] = sorted(pairs.items())
    if source.host.flags:
        for name in source.sensors:
            rows = {0: "none"}
            for channel, start_s, stop_s, word in source.upset.flags:
                if channel == name:
                    rows[_row(moments, start_s)] = word
                    rows[max(_row(moments, stop_s), _row(moments, start_s) + 1)] = "none"
            texts[f"{name}.flags"] = sorted(
                pair for pair in rows.items() if pair[0] < len(moments.taken_s)
            )
    return texts


def _row(moments: Moments, at_s: float) -> int:
    return min(int(np.searchsorted(moments.taken_s, at_s)), len(moments.taken_s) - 1)


def _without_empty(batch: Batch) -> Batch:
    """Rows that say nothing are not sent."""
    keep = np.zeros(len(batch), dtype=bool)
    for column in batch.numbers.values():
        keep |= ~np.isnan(column)
    for pairs in batch.texts.values():
        keep[[row for row, _ in pairs]] = True
    index = np.cumsum(keep) - 1
    return replace(
        batch,
        time_s=batch.time_s[keep],
        numbers={key: column[keep] for key, column in batch.numbers.items()},
        texts={
            key: [(int(index[row]), text) for row, text in pairs]
            for key, pairs in batch.texts.items()
        },
    )
