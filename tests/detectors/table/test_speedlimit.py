"""Heat's speed limit: defaults first, then what this heater was seen to do."""

import numpy as np
import pytest

from detectors.engine.watch import Watch
from detectors.table.speedlimit import (
    DEFAULT_FALL_C_S,
    DEFAULT_RISE_C_S,
    LEAST_C_S,
    LEAST_PASSIVE_C_S,
    LEAST_UNTOLD_C_S,
    share_of_power,
    shares_of_power,
)
from shared.chain import EXAMPLE
from shared.updates import batch_of
from tests.detectors.plant import Plant, log_of


def limits(plant: Plant, seconds: float) -> tuple[float, float]:
    """Rise and fall in force at the end of a log."""
    watch = Watch({"nozzle": EXAMPLE})
    watch.feed(batch_of(log_of(plant, seconds, 1)))
    learned = watch._channels["nozzle"].learned
    return learned.rise_c_s, learned.fall_c_s


def test_before_a_heat_up_the_defaults_hold() -> None:
    """A cold heater has shown nothing yet."""
    assert limits(Plant(targets={0.0: 0.0}), 200.0) == (DEFAULT_RISE_C_S, DEFAULT_FALL_C_S)


@pytest.mark.parametrize("full_c_s", [2.0, 4.0])
def test_a_heat_up_teaches_the_rise_with_room_to_spare(full_c_s: float) -> None:
    """The limit lies above the fastest rise that the heater can make, and not far above."""
    plant = Plant(full_c_s=full_c_s, loss_per_s=0.003 * full_c_s, targets={0.0: 0.0, 20.0: 230.0})
    rise, _ = limits(plant, 300.0)
    assert max(full_c_s, LEAST_C_S) <= rise <= 2.1 * full_c_s


def test_a_cool_down_teaches_the_fall() -> None:
    """A heater that loses 3 % of its heat a second falls by 7 K/s at first."""
    plant = Plant(loss_per_s=0.03, full_c_s=9.0, targets={0.0: 0.0, 10.0: 260.0, 150.0: 0.0})
    _, fall = limits(plant, 400.0)
    assert 0.03 * 240.0 <= fall <= 0.03 * 275.0 * 1.15 * 1.6
    assert fall != DEFAULT_FALL_C_S


@pytest.mark.parametrize(
    ("beside", "limit"), [({"bed.target_c": 0.0}, LEAST_PASSIVE_C_S), ({}, LEAST_UNTOLD_C_S)]
)
def test_a_sensor_without_a_heater_is_held_to_its_own_pace(
    beside: dict[str, float], limit: float
) -> None:
    """Air that hardly moves has a limit of its own, never below what a hand can do. Where no heater
    tells of itself, this may be one."""
    log = log_of(Plant(targets={0.0: 0.0}), 400.0, 2)
    for update in log:
        for key in ("nozzle.power", "nozzle.target_c"):
            update.values.pop(key, None)
        update.values.update(beside)
    watch = Watch({"nozzle": EXAMPLE})
    watch.feed(batch_of(log))
    assert watch._channels["nozzle"].learned.rise_c_s == limit


def test_power_scales_alike_for_floats_and_arrays() -> None:
    """The live path and the block path take the same share, whether power is known or not."""
    power = np.array([0.0, 0.3, 0.9, 1.0, np.nan])
    recent = np.array([0.5, 0.1, 0.95, 1.0, 1.0])
    single = [share_of_power(a, b) for a, b in zip(power.tolist(), recent.tolist(), strict=True)]
    assert shares_of_power(power, recent).tolist() == single
