"""no-rise where no power is told: on the reading and its target alone."""

import numpy as np
import pytest

from detectors.engine.watch import Watch
from shared.events import Event
from shared.updates import Batch
from shared.words import Kind
from tests.detectors.machine import heated
from tests.levels import first


def without_power(batch: Batch) -> Batch:
    numbers = {key: values for key, values in batch.numbers.items() if not key.endswith(".power")}
    return Batch(batch.time_s, numbers, batch.texts)


def found(batch: Batch, cuts: int = 1) -> list[Event]:
    watch = Watch()
    size = -(-len(batch) // cuts)
    for start in range(0, len(batch), size):
        watch.feed(batch.cut(start, min(start + size, len(batch))))
    watch.finish()
    return [event for event in watch.events if event.kind is Kind.NO_RISE]


@pytest.mark.parametrize("period_s", [0.3, 1.0])
def test_a_heater_that_comes_no_nearer_is_told_with_what_is_not_known(period_s: float) -> None:
    """Once, until it is no longer asked for."""
    batch = heated(
        600.0,
        lambda now: 0.0 if now < 60.0 or now > 500.0 else 200.0,
        works=lambda _: 0.0,
        period_s=period_s,
    )
    (event,) = found(without_power(batch))
    assert 50.0 < event.start_s < 110.0
    assert event.end_s is not None
    assert "no power is told" in event.text
    assert found(without_power(batch), cuts=40) == [event]


@pytest.mark.parametrize(("works", "is_told"), [(1.0, False), (0.0, True)])
def test_air_is_given_twenty_minutes(works: float, is_told: bool) -> None:
    """It may rise by half a kelvin a minute."""
    batch = heated(
        3000.0,
        lambda now: 0.0 if now < 60.0 else 50.0,
        rise_c_s=0.008,
        loss_s=8000.0,
        dead_s=120.0,
        works=lambda _: works,
        period_s=1.0,
        channel="chamber",
    )
    assert bool(found(without_power(batch))) == is_told


@pytest.mark.parametrize("seed", first(1, range(3)))
@pytest.mark.parametrize(("rise", "loss"), [(2.5, 250.0), (0.1, 1500.0), (5.0, 150.0)])
def test_a_heater_that_rises_is_none_however_slowly(rise: float, loss: float, seed: int) -> None:
    """Up to the slowest that is thought of, and beyond what it can reach."""
    batch = heated(
        2400.0,
        lambda now: 0.0 if now < 60.0 else 60.0,
        rise_c_s=rise,
        loss_s=loss,
        seed=seed,
    )
    assert found(without_power(batch)) == []


def test_a_reading_near_its_target_or_above_it_is_not_judged() -> None:
    """It is held, or cools to a lower target."""
    held = heated(900.0, lambda _: 210.0, start_c=203.0, works=lambda _: 0.45)
    lower = heated(900.0, lambda now: 210.0 if now < 300.0 else 150.0, start_c=210.0)
    assert found(without_power(held)) == []
    assert found(without_power(lower)) == []


def test_where_power_is_told_power_decides() -> None:
    """A heater that is kept off on purpose is far below its target and no fault."""
    batch = heated(600.0, lambda _: 200.0, works=lambda _: 0.0)
    numbers = dict(batch.numbers)
    numbers["nozzle.power"] = np.zeros(len(batch))
    assert found(Batch(batch.time_s, numbers, batch.texts)) == []
