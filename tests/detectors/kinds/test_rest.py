"""Channels at rest should agree at room temperature."""

import itertools

import numpy as np
import pytest

from detectors.engine.watch import Watch
from shared.events import Event
from shared.updates import Batch, Floats
from shared.words import Kind
from tests.levels import one_in


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


def cooling(
    falls: dict[str, tuple[float, float]],
    seconds: float,
    heated_s: float,
    period_s: float,
    room_c: float = 23.0,
) -> Batch:
    """Channels that fall to the room's, each from a temperature with a time constant; the
    first is a heater that holds for `heated_s` before."""
    rng = np.random.default_rng(6)
    time_s = np.arange(0.0, seconds, period_s)
    numbers: dict[str, Floats] = {}
    for index, (name, (from_c, tau_s)) in enumerate(falls.items()):
        fell = np.exp(-np.maximum(time_s - heated_s, 0.0) / tau_s)
        noise = rng.normal(0.0, 0.05, len(time_s))
        numbers[f"{name}.temperature_c"] = np.round(room_c + (from_c - room_c) * fell + noise, 2)
        if index == 0:
            numbers[f"{name}.power"] = np.where(time_s < heated_s, 0.4, 0.0)
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


@pytest.mark.parametrize("off_c", [48.0, 66.0, 120.0])
def test_an_offset_is_seen_whatever_its_size(off_c: float) -> None:
    """The others agree at a room's temperature: heat does not stand still at one sensor."""
    (event,) = events(resting(nozzle=off_c, bed=23.2, chamber=22.9))
    assert event.channel == "nozzle"
    assert event.value == pytest.approx(off_c - 23.05, abs=0.3)
    (event,) = events(resting(nozzle=off_c, bed=23.0))
    assert event.channel == "nozzle"


@pytest.mark.parametrize("off_k", [-6.0, 6.0, 22.0])
def test_a_machine_just_switched_on_shows_its_offset_before_the_first_heat(off_k: float) -> None:
    """One reading a second for 150 s; a board that still warms by itself does not hinder."""
    batch = resting(150.0, 1.0, 0.1, nozzle=23.0 + off_k, bed=23.2, chamber=22.9, board=26.0)
    board = batch.numbers["board.temperature_c"] + np.linspace(0.0, 4.0, len(batch))
    batch = Batch(batch.time_s, {**batch.numbers, "board.temperature_c": board})
    (event,) = events(batch)
    assert event.channel == "nozzle"
    assert event.value == pytest.approx(off_k, abs=0.3)


def test_targets_of_nought_tell_rest_where_power_is_not_reported() -> None:
    batch = resting(nozzle=31.0, bed=23.2, chamber=22.9)
    numbers = {key: values for key, values in batch.numbers.items() if "power" not in key}
    assert [event.channel for event in events(Batch(batch.time_s, numbers))] == ["nozzle"]


def test_two_with_one_wrong_setting_are_both_named() -> None:
    """Both resistances high by 7.5 %; the chamber's own sensor reads what a room can be."""
    found = events(resting(nozzle=43.4, bed=43.1, chamber=23.0))
    assert {event.channel for event in found} == {"nozzle", "bed"}
    assert all(event.value == pytest.approx(20.3, abs=0.4) for event in found)


def test_a_reading_at_its_rail_is_called_that_and_no_offset() -> None:
    batch = resting(nozzle=23.0, bed=23.2, chamber=22.9)
    rail = {
        "nozzle.temperature_c": np.full(len(batch), 988.8),
        "nozzle.code": np.full(len(batch), 32767.0),
    }
    assert events(Batch(batch.time_s, {**batch.numbers, **rail})) == []


FALLS = (
    {"nozzle": (215.0, 200.0), "bed": (60.0, 1500.0), "chamber": (34.0, 3000.0)},
    {"nozzle": (60.0, 400.0), "bed": (60.0, 3600.0), "chamber": (40.0, 5400.0)},
    {"nozzle": (215.0, 200.0), "bed": (31.0, 2400.0), "chamber": (45.0, 7200.0)},
    {"bed": (110.0, 7200.0), "nozzle": (23.0, 300.0), "chamber": (23.5, 300.0)},
)


@pytest.mark.parametrize(
    ("falls", "heated_s", "period_s"),
    one_in(5, itertools.product(FALLS, (0.0, 120.0), (0.25, 1.0))),
)
def test_what_cools_after_a_print_is_no_offset(
    falls: dict[str, tuple[float, float]], heated_s: float, period_s: float
) -> None:
    """Six hours of falling, with time constants up to two hours: all sensors are right."""
    hours = 6.0 if period_s == 1.0 else 1.5
    assert events(cooling(falls, hours * 3600.0, heated_s, period_s)) == []
