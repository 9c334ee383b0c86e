"""What settles after a start is the start's; what does not becomes what it is."""

import math

import numpy as np
import pytest

from detectors.engine.watch import Watch
from shared.chain import EXAMPLE
from shared.events import Event
from shared.updates import Update, Value, batch_of
from shared.words import Kind
from tests.detectors.plant import Disturb, Plant, log_of

START_S = 200.0
PLANT = Plant(targets={0.0: 0.0, 20.0: 210.0}, late=0.0)


def watched(
    disturb: Disturb,
    seconds: float = 400.0,
    restarts: tuple[float, ...] = (START_S,),
    extra: dict[float, dict[str, Value]] | None = None,
) -> list[Event]:
    """Events of a log whose controller restarts; `extra` adds values from a time on, once."""
    waiting = dict(extra or {})
    updates = []
    for update in log_of(PLANT, seconds, 1, disturb):
        values = dict(update.values)
        since = max((at for at in restarts if at <= update.time_s), default=-500.0)
        values["controller.uptime_s"] = update.time_s - since
        for at in [at for at in waiting if at <= update.time_s]:
            values.update(waiting.pop(at))
        updates.append(Update(update.time_s, values))
    watch = Watch({"nozzle": EXAMPLE})
    watch.feed(batch_of(updates))
    watch.finish()
    return watch.events


def settling(from_s: float, tau_s: float = 4.0) -> Disturb:
    """A filter that settles from far above after a start."""

    def disturb(time_s: float, ohm: float) -> float:
        if time_s < from_s:
            return ohm
        return ohm + 400.0 * math.exp(-(time_s - from_s) / tau_s)

    return disturb


def opened(from_s: float, until_s: float) -> Disturb:
    return lambda time_s, ohm: 1e5 if from_s <= time_s < until_s else ohm


def final(events: list[Event]) -> set[Kind]:
    return {event.kind for event in events if event.absorbed_by is None}


def test_readings_that_settle_after_a_restart_need_nothing() -> None:
    """Absurd readings that settle leave a restart and a startup-transient, with its time."""
    events = watched(settling(START_S))
    assert final(events) == {Kind.RESTART, Kind.STARTUP_TRANSIENT}
    (transient,) = [e for e in events if e.kind is Kind.STARTUP_TRANSIENT]
    assert transient.end_s is not None
    assert 5.0 < float(transient.facts["settled_s"]) < 40.0
    assert any(e.kind is Kind.CODE_HIGH and e.absorbed_by == transient.id for e in events)


def test_the_same_readings_in_mid_run_are_faults() -> None:
    """Without a restart nothing is explained away."""
    assert Kind.CODE_HIGH in final(watched(settling(START_S), restarts=()))


def test_an_input_that_stays_open_becomes_what_it_is() -> None:
    """After 90 s without settling, code-high stands and the startup-transient is withdrawn."""
    events = watched(opened(START_S + 2.0, 1e9))
    assert Kind.CODE_HIGH in final(events)
    assert Kind.STARTUP_TRANSIENT not in final(events)


def test_a_halt_gives_faults_back_at_once() -> None:
    """When the host stops the machine for it, it was no harmless start."""
    halt: dict[str, Value] = {"host.state": "halted", "host.message": "beyond limits"}
    events = watched(opened(START_S + 2.0, START_S + 12.0), 230.0, extra={START_S + 8.0: halt})
    assert {Kind.CODE_HIGH, Kind.HALT} <= final(events)
    assert Kind.STARTUP_TRANSIENT not in final(events)


def test_a_log_that_ends_before_it_settled_says_what_it_saw() -> None:
    """Nothing is explained by a settling that was not seen."""
    assert Kind.CODE_HIGH in final(watched(opened(START_S + 2.0, 1e9), START_S + 20.0))


def test_faults_after_the_start_are_never_explained_by_it() -> None:
    """A break seventy seconds after the restart stands, also when there was one in the start."""
    late = opened(START_S + 70.0, START_S + 71.0)
    assert Kind.CONTACT_BREAK in final(watched(late))
    first = opened(START_S + 5.0, START_S + 6.0)
    both = final(watched(lambda t, ohm: late(t, first(t, ohm)), 500.0))
    assert Kind.CONTACT_BREAK in both


def test_a_young_uptime_at_the_log_s_beginning_is_a_start_too() -> None:
    """A log that begins seconds after a start has no restart in it, yet a start."""
    events = watched(settling(5.0), 200.0, restarts=(0.0,))
    assert final(events) == {Kind.STARTUP_TRANSIENT}


@pytest.mark.parametrize("halted", [False, True])
def test_a_reading_that_stays_absurd_has_not_settled(halted: bool) -> None:
    """A steady −180 °C is quiet and no temperature of a printer, be it that the host stopped."""
    rng = np.random.default_rng(3)
    updates = []
    for n in range(1200):
        time_s = 0.25 * n
        restarted = time_s >= START_S
        values: dict[str, Value] = {
            "nozzle.temperature_c": (-180.0 if restarted else 210.0) + rng.normal(0.0, 0.1),
            "nozzle.target_c": 210.0,
            "controller.uptime_s": time_s - START_S if restarted else time_s + 500.0,
        }
        if halted and time_s == START_S + 4.0:
            values["host.state"] = "halted"
        updates.append(Update(time_s, values))
    watch = Watch()
    watch.feed(batch_of(updates))
    watch.finish()
    assert Kind.STEP in final(watch.events)
    assert Kind.STARTUP_TRANSIENT not in final(watch.events)
