"""Channels at rest should agree at room temperature."""

import numpy as np
import pytest

from detectors.watch import Watch
from shared.events import Event
from shared.updates import Batch, Floats
from shared.words import Kind


def resting(
    seconds: float = 300.0,
    period_s: float = 0.25,
    rounding: float = 0.01,
    powered: bool = True,
    slope_c_s: float = 0.0,
    room_c_s: float = 0.0,
    **celsius: float,
) -> Batch:
    """Channels at these temperatures; the first is a heater that is off."""
    rng = np.random.default_rng(5)
    time_s = np.arange(0.0, seconds, period_s)
    numbers: dict[str, Floats] = {}
    for index, (name, value) in enumerate(celsius.items()):
        noise = rng.normal(0.0, 0.03, len(time_s))
        slope = (slope_c_s * (index == 0) + room_c_s) * time_s
        numbers[f"{name}.temperature_c"] = np.round((value + slope + noise) / rounding) * rounding
        if powered and index < 2:
            numbers[f"{name}.target_c"] = np.zeros(len(time_s))
            numbers[f"{name}.power"] = np.zeros(len(time_s))
    return Batch(time_s, numbers)


def events(batch: Batch) -> list[Event]:
    watch = Watch()
    watch.feed(batch)
    watch.finish()
    return [event for event in watch.events if event.kind is Kind.OFFSET_COLD]


@pytest.mark.parametrize("rounding", [0.01, 0.1])
@pytest.mark.parametrize("period_s", [0.25, 1.0])
@pytest.mark.parametrize("off_k", [-20.0, -4.0, 4.0, 8.0])
def test_the_odd_one_of_three_is_named(off_k: float, period_s: float, rounding: float) -> None:
    batch = resting(300.0, period_s, rounding, nozzle=23.0 + off_k, bed=23.2, chamber=22.9)
    (event,) = events(batch)
    assert event.channel == "nozzle"
    assert event.value == pytest.approx(off_k, abs=0.3)
    assert float(event.facts["offset_ohm"]) == pytest.approx(0.385 * off_k, abs=0.15)


def test_a_reference_of_400_for_430_ohms_shows_as_its_gain() -> None:
    """All resistances low by 7 %: 23 °C reads 3.4 °C (IEC 60751, computed)."""
    (event,) = events(resting(nozzle=3.4, bed=23.2, chamber=22.9))
    assert float(event.facts["implied_gain"]) == pytest.approx(400.0 / 430.0, abs=0.003)


def test_sensors_that_agree_within_their_class_say_nothing() -> None:
    """Class B and the usual two-wire lead: 2.4 K apart; a board that is 9 K warmer."""
    assert events(resting(nozzle=25.3, bed=23.0, chamber=22.9, board=32.0)) == []


def test_two_that_differ_are_judged_by_what_a_room_can_be() -> None:
    (event,) = events(resting(nozzle=43.0, bed=23.0))
    assert event.channel == "nozzle"
    (event,) = events(resting(nozzle=18.0, bed=23.0))
    assert event.channel == "*"


def test_what_still_cools_is_not_at_rest() -> None:
    """A bed that loses 0.2 K a minute has 4 K left to lose at a time constant of 20 minutes."""
    assert events(resting(600.0, bed=30.0, nozzle=23.0, chamber=23.0, slope_c_s=-0.2 / 60.0)) == []


def test_a_room_that_warms_is_no_hindrance() -> None:
    """All channels rise by 4 K an hour: the odd one is named, and those that agree are not."""
    warming = 4.0 / 3600.0
    (event,) = events(
        resting(900.0, room_c_s=warming, nozzle=31.0, bed=23.2, chamber=22.9, board=26.0)
    )
    assert event.channel == "nozzle"
    assert events(resting(900.0, room_c_s=warming, nozzle=23.4, bed=23.2, chamber=22.9)) == []


def test_a_machine_that_cools_as_one_is_not_at_rest_before_an_hour() -> None:
    """Falling together by 5 K an hour, 6 K apart: the hotter one may only be the slower."""
    cooling = -5.0 / 3600.0
    assert events(resting(900.0, room_c_s=cooling, nozzle=29.0, bed=23.2, chamber=22.9)) == []


def test_without_a_heater_rest_is_not_known() -> None:
    """Sensors indoors and outdoors differ, and nobody heats them."""
    batch = resting(powered=False, indoors=23.0, outdoors=33.0, roof=35.0)
    watch = Watch()
    watch.feed(batch)
    assert events(batch) == []
    assert Kind.OFFSET_COLD in {said.kind for said in watch.not_evaluated()}
