"""The simulated printer's scenarios, on machines and hosts that no test fixes.

A scenario's faults and what is to be found stay; what a machine and its host may have is
drawn: noise, wires, leads, room, target, jitter, late and lost updates, and how the host
reports: period, with codes or degrees only, whole or changed-only updates, rounding, a
clock that jumps.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np

from client.clock import LogTime
from client.simulated.plain import moments
from client.simulated.rhythm import PERIOD_S
from client.simulated.scenario import Scenario, Sending, Sensor, Sensors, load_scenario
from detectors.diagnosis import diagnose
from detectors.engine.watch import Watch
from shared.chain import Chain
from shared.events import Event
from shared.updates import Batch, Update, Value, batch_of
from shared.words import EVERY_CHANNEL, Severity

Rng = np.random.Generator
NEEDS_CODE = {"frozen-reading", "flying-bus-wires", "open-from-start", "short", "wrong-reference",
              "wrong-element"}  # fmt: skip
"""What is looked for here are codes, or too little is left of it in degrees."""
OWN_WIRES = {"wrong-wire-count", "contact-reads-low"}
NOT_FOUR = {"loose-terminal", "lead-breaks-at-position", "terminal-repaired"}
"""Four wires cancel what a contact adds."""
BEFORE_S = 10.0
JUMPS_S = (-3000.0, -40.0, 7.0, 4000.0)


@dataclass(frozen=True, slots=True)
class HostStyle:
    """How a host reports."""

    period_s: float
    with_code: bool
    changes_only: bool
    decimals: int
    jump_s: float
    """By how much the host's clock jumps once; 0: it doesn't."""


def draw_host(rng: Rng, name: str) -> HostStyle:
    return HostStyle(
        period_s=float(rng.choice([PERIOD_S, PERIOD_S, 2.0 * PERIOD_S, 1.0])),
        with_code=bool(rng.random() < 0.7) or name in NEEDS_CODE,
        changes_only=bool(rng.random() < 0.5),
        decimals=int(rng.choice([1, 2, 2])),
        jump_s=float(rng.choice(JUMPS_S)) if rng.random() < 0.3 else 0.0,
    )


def varied(name: str, rng: Rng) -> Scenario:
    """The scenario on another machine."""
    scenario = load_scenario(name)
    shift_c = float(rng.uniform(-15.0, 15.0))
    sensors = {
        channel: _sensor(getattr(scenario.channels, channel), name, channel, rng)
        for channel in ("nozzle", "bed", "chamber")
    }
    steps = tuple(
        msgspec.structs.replace(step, nozzle_c=step.nozzle_c + shift_c) if step.nozzle_c else step
        for step in scenario.steps
    )
    start = scenario.start
    start = msgspec.structs.replace(
        start,
        room_c=start.room_c + float(rng.uniform(-3.0, 3.0)),
        nozzle_c=None if start.nozzle_c is None else start.nozzle_c + shift_c,
    )
    sending = Sending(
        jitter_s=float(rng.uniform(0.0, 0.05)),
        late=float(rng.uniform(0.0, 0.01)),
        lost=float(rng.uniform(0.0, 0.01)),
    )
    return msgspec.structs.replace(
        scenario, channels=Sensors(**sensors), steps=steps, start=start, sending=sending
    )


def _sensor(sensor: Sensor, name: str, channel: str, rng: Rng) -> Sensor:
    chain = sensor.chain
    changes: dict[str, Any] = {
        "noise_codes": float(rng.uniform(0.5, 2.0)),
        "lead_m": chain.lead_m * float(rng.uniform(0.8, 1.2)),
    }
    if channel == "nozzle" and name not in OWN_WIRES:
        changes["wires"] = int(rng.choice([2, 3, 3] if name in NOT_FOUR else [2, 3, 3, 4]))
    fitted = msgspec.structs.replace(chain, **changes)
    return msgspec.structs.replace(sensor, chain=fitted)


def reported(
    scenario: Scenario, seed: int, style: HostStyle, for_s: float | None = None
) -> Iterator[Update]:
    """The scenario's updates as such a host gives them, straightened as the client does."""
    end_s = scenario.for_s if for_s is None else for_s
    jump_at_s = 0.3 * end_s + seed % 97 / 97.0 * 0.5 * end_s
    clock = LogTime(has_clock=True)
    held: dict[str, Value] = {}
    waiting: dict[str, Value] = {}
    next_s = -1.0
    for moment, update in moments(scenario, seed, for_s):
        if update is None:
            continue
        if not update.values:
            yield Update(clock.tick(moment.sent_s), {})
            continue
        waiting.update(_as_shown(update.values, style))
        is_gone = update.values.get("host.state") == "gone"
        if moment.time_s < next_s and "host.state" not in update.values:
            continue
        next_s = moment.time_s + style.period_s - 0.5 * PERIOD_S
        if is_gone:
            clock.reopen()
            time_s = clock.time_at(moment.sent_s)
        else:
            host_s = moment.host_s + (style.jump_s if moment.time_s > jump_at_s else 0.0)
            time_s = clock.at(moment.sent_s, host_s)
        held.update(waiting)
        sent = waiting if style.changes_only or is_gone else dict(held)
        yield Update(time_s, sent)
        waiting = {}


_CODED = (".code", ".resistance_ohm", ".flags")


def _as_shown(values: dict[str, Value], style: HostStyle) -> dict[str, Value]:
    shown: dict[str, Value] = {}
    for key, value in values.items():
        if not style.with_code and key.endswith(_CODED):
            continue
        is_celsius = key.endswith(".temperature_c") and not isinstance(value, str)
        shown[key] = round(float(value), style.decimals) if is_celsius else value
    return shown


@dataclass(frozen=True, slots=True)
class Played:
    """One scenario on one machine, judged."""

    name: str
    healthy: bool
    found: bool
    """Whether one of the expected kinds was found on its channel."""
    cause: bool
    """Whether the true cause, or one that fits as well, leads."""
    false_alarms: tuple[str, ...]
    """Kinds above a notice before the fault, or anywhere where nothing is wrong."""
    hours: float
    """Of health."""


def played(name: str, seed: int, for_s: float | None = None) -> Played:
    """Vary, play and judge a scenario."""
    rng = np.random.default_rng([seed, *name.encode()])
    scenario = varied(name, rng)
    style = draw_host(rng, name)
    batch = batch_of(reported(scenario, seed, style, for_s))
    chains = _known(scenario, style)
    watch = Watch(chains)
    watch.feed(batch)
    watch.finish()
    events = [event for event in watch.events if event.absorbed_by is None]
    expect = scenario.expect
    onset_s = _onset_s(scenario, batch)
    early = [
        str(event.kind)
        for event in events
        if event.severity is not Severity.NOTICE and _is_early(event, onset_s)
    ]
    places = {expect.channel, EVERY_CHANNEL}
    found = any(event.kind in expect.kinds and event.channel in places for event in events)
    ranked = [each for each in diagnose(events, chains) if each.channel == expect.channel]
    fits = {expect.cause, *expect.also_fits}
    cause = bool(ranked) and ranked[0].cause in fits
    first_s, last_s = float(batch.time_s[0]), float(batch.time_s[-1])
    hours = max(min(onset_s, last_s) - first_s, 0.0) / 3600.0
    return Played(name, expect.healthy, found, cause, tuple(early), hours)


def _is_early(event: Event, onset_s: float) -> bool:
    """Over before anything is wrong: kinds that need a window look back from their fault."""
    end_s = float("inf") if event.end_s is None else event.end_s
    return onset_s == float("inf") or end_s < onset_s - BEFORE_S


def _known(scenario: Scenario, style: HostStyle) -> dict[str, Chain]:
    chains = scenario.chains
    rounding = 10.0**-style.decimals
    return {k: msgspec.structs.replace(c, rounding_c=rounding) for k, c in chains.items()}


def _onset_s(scenario: Scenario, batch: Batch) -> float:
    """Log time at which something begins to be wrong; inf where nothing is."""
    if scenario.expect.healthy:
        return float("inf")
    if not scenario.faults:
        return float(batch.time_s[0])
    return float(batch.time_s[0]) + min(fault.at_s for fault in scenario.faults)
