"""A reading that stops is found by its own habit, and quiet ones are left alone."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from detectors.engine.watch import Watch
from shared.chain import EXAMPLE, Chain
from shared.events import Event
from shared.updates import Batch, Floats, Update, batch_of
from shared.words import Kind
from tests.detectors.plant import Plant, log_of
from tests.levels import first, one_in

HELD = {0.0: 0.0, 20.0: 210.0}
SENSED = ("nozzle.temperature_c", "nozzle.code")


def stopped(updates: list[Update], from_s: float, until_s: float, repeat: bool) -> list[Update]:
    """The same log with the sensor's values kept (or, for a delta host, not sent) for a while."""
    kept: dict[str, float | str] = {}
    found = []
    for update in updates:
        values = dict(update.values)
        if from_s <= update.time_s < until_s:
            for key in SENSED:
                values.pop(key, None)
            if repeat:
                values.update(kept)
        else:
            kept.update({key: values[key] for key in SENSED if key in values})
        found.append(Update(update.time_s, values))
    return found


def watched(updates: list[Update]) -> Watch:
    watch = Watch({"nozzle": EXAMPLE})
    watch.feed(batch_of(updates))
    watch.finish()
    return watch


def frozen(watch: Watch) -> list[Event]:
    return [event for event in watch.events if event.kind is Kind.FROZEN]


@pytest.mark.parametrize(
    ("period_s", "only_changes"), one_in(3, itertools.product((0.25, 0.5, 1.0), (True, False)))
)
def test_a_reading_that_stops_is_frozen_until_it_moves(period_s: float, only_changes: bool) -> None:
    """One event from the last change to the next, whether the host repeats values or not."""
    scale = period_s / 0.25
    plant = Plant(period_s=period_s, only_changes=only_changes, targets=HELD)
    log = log_of(plant, 700.0 * scale, 1)
    watch = watched(stopped(log, 400.0 * scale, 600.0 * scale, repeat=not only_changes))
    (event,) = frozen(watch)
    assert event.start_s == pytest.approx(400.0 * scale, abs=8.0 * scale)
    assert event.end_s == pytest.approx(600.0 * scale, abs=8.0 * scale)
    assert float(event.facts["limit_rows"]) >= 12.0


def test_a_quiet_channel_is_not_evaluated() -> None:
    """A held 1 °C host says why it can't tell, and raises nothing."""
    plant = Plant(with_code=False, rounding_c=1.0, noise_c=0.02, targets=HELD)
    watch = watched(stopped(log_of(plant, 600.0, 2), 400.0, 600.0, repeat=True))
    assert not frozen(watch)
    (blind,) = [one for one in watch.not_evaluated() if one.kind is Kind.FROZEN]
    assert "noise" in blind.why


def test_an_open_input_is_not_called_frozen() -> None:
    """The open end of the range repeats itself: that is code-high alone."""
    log = log_of(Plant(targets=HELD), 600.0, 3, lambda time_s, ohm: 1e5 if time_s > 400.0 else ohm)
    kinds = {event.kind for event in watched(log).events}
    assert Kind.CODE_HIGH in kinds
    assert Kind.FROZEN not in kinds


def test_a_silent_host_is_not_a_frozen_reading() -> None:
    """No rows come while the host says nothing, so nothing repeats."""
    log = log_of(Plant(targets=HELD), 600.0, 4)
    log = [update for update in log if not 400.0 < update.time_s < 560.0]
    assert not frozen(watched(log))


def test_power_on_the_move_shortens_the_run() -> None:
    """With power swinging meanwhile, half the run is enough, and the words say so."""
    log = stopped(log_of(Plant(targets=HELD), 500.0, 5), 400.0, 500.0, repeat=True)
    swung = [
        Update(u.time_s, {**u.values, "nozzle.power": 0.2 if int(u.time_s) % 4 < 2 else 0.8})
        if u.time_s > 400.0
        else u
        for u in log
    ]
    (plain,), (moved,) = frozen(watched(log)), frozen(watched(swung))
    assert float(moved.facts["rows"]) < 0.7 * float(plain.facts["limit_rows"])
    assert "power" in moved.text


@pytest.mark.parametrize(("bits", "noise"), first(1, itertools.product((15, 16), (0.5, 1.0, 3.0))))
def test_long_healthy_holding_is_never_frozen(bits: int, noise: float) -> None:
    """An hour of a held setpoint raises nothing, at noise from half a code to several."""
    plant = replace(Plant(targets=HELD), noise_codes=noise, chain=Chain(bits=bits))
    assert not frozen(watched(log_of(plant, 3600.0, 6)))


@pytest.mark.parametrize("freezes", [True, False])
def test_a_coarse_reading_that_does_not_cool_is_frozen(freezes: bool) -> None:
    """Whole degrees hide all noise; but with its power off a nozzle cannot stay at 215 °C."""
    updates = []
    for index in range(4000):
        time_s = 0.25 * index
        off_s = max(time_s - 500.0, 0.0)
        true = 25.0 + 190.0 * math.exp(-off_s / 300.0)
        values: dict[str, float | str] = {
            "nozzle.temperature_c": 215.0 if freezes and time_s < 800.0 else float(round(true)),
            "nozzle.target_c": 215.0 if off_s == 0.0 else 0.0,
            "nozzle.power": 0.4 if off_s == 0.0 else 0.0,
        }
        updates.append(Update(time_s, values))
    for size in (len(updates), 1):
        watch = Watch({})
        for start in range(0, len(updates), size):
            watch.feed(batch_of(updates[start : start + size]))
        watch.finish()
        found = [event for event in watch.events if event.kind is Kind.FROZEN]
        assert len(found) == freezes
        assert all(event.end_s == 800.0 for event in found)


def already_down(state: str) -> list[Update]:
    """A host that is met with its heater off, and a reading that stands at 812 °C."""
    hot: dict[str, float | str] = {"temperature_c": 812.4, "target_c": 0.0, "power": 0.0}
    values = {f"nozzle.{name}": value for name, value in hot.items()} | {"host.state": state}
    return [Update(float(n), values) for n in range(40)]


def test_a_hot_reading_that_stands_still_without_power_is_told_in_true_words() -> None:
    """Neither power nor target moved, and the words do not say so."""
    (event,) = frozen(watched(already_down("up")))
    assert "812.4 °C" in event.text
    assert "heater off" in event.text
    assert "moved" not in event.text
    assert event.facts["power_moved"] == 0.0


@pytest.mark.parametrize("size", [1, 40])
def test_what_a_host_that_stopped_the_machine_last_read_is_not_called_frozen(size: int) -> None:
    """It may hold the reading that made it stop."""
    updates, watch = already_down("halted"), Watch({})
    for start in range(0, len(updates), size):
        watch.feed(batch_of(updates[start : start + size]))
    assert [event.kind for event in watch.events] == [Kind.HALT]


def test_on_a_stopped_host_the_whole_run_of_its_own_habit_is_needed() -> None:
    """Power fell as it stopped; that makes no shorter run tell."""
    log = stopped(log_of(Plant(targets=HELD), 700.0, 5), 400.0, 700.0, repeat=True)
    halted = [
        Update(u.time_s, {**u.values, "host.state": "halted", "nozzle.power": 0.0})
        if u.time_s > 405.0
        else u
        for u in log
    ]
    (event,) = frozen(watched(halted))
    assert float(event.facts["rows"]) >= float(event.facts["limit_rows"])
    assert "moved" not in event.text


def fed(time_s: Floats, celsius: Floats, power: Floats) -> Watch:
    watch = Watch({})
    keys = "nozzle.temperature_c", "nozzle.target_c", "nozzle.power"
    watch.feed(
        Batch(time_s, dict(zip(keys, (celsius, np.full(len(time_s), 200.0), power), strict=True)))
    )
    watch.finish()
    return watch


@pytest.mark.parametrize(("is_switched", "is_told"), [(False, True), (True, False)])
def test_power_that_is_switched_on_and_off_is_none_that_moved(
    is_switched: bool, is_told: bool
) -> None:
    """A quiet reading stands for three quarters of the run that its habit allows."""
    rng = np.random.default_rng(5)
    time_s = np.arange(0.0, 900.0, 0.5)
    reading = np.round((200.0 + rng.normal(0.0, 0.08, len(time_s))) / 0.1) * 0.1
    power = np.full(len(time_s), 0.4)
    watch = fed(time_s, reading, power)
    limit = watch._channel("nozzle").learned.frozen_rows
    stands = slice(1500, 1500 + round(0.75 * limit))
    reading[stands] = reading[1500]
    power[1500 + round(0.4 * limit) : stands.stop] = 0.9
    if is_switched:
        power[stands] = np.arange(stands.stop - 1500) % 2
    assert bool(frozen(fed(time_s, reading, power))) == is_told
