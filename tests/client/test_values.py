"""A unit in the value decides; one that contradicts the profile is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from client.form import Channel, Profile, Reading, UpdateSource
from client.mapping import Mapper
from client.units import DIMENSION_OF, DIMENSIONS, SUFFIXES, UNITS
from client.values import number, number_in, said_in
from shared.updates import Entry, EntryKind, Value

READINGS = [
    ("temperature_c", "475.34 K", 202.19),
    ("temperature_c", "410 °F", 210.0),
    ("temperature_c", "210.4°C", 210.4),
    ("target_c", "210 deg C", 210.0),
    ("target_c", "-40 degF", -40.0),
    ("power", "50 %", 0.5),
    ("power", "180/255", 180.0 / 255.0),
    ("speed", "125‰", 0.125),
    ("resistance_ohm", "0.1385 kΩ", 138.5),
    ("x_mm", "0.12 m", 120.0),
    ("speed_mm_s", "6000 mm/min", 100.0),
    ("uptime_s", "90 min", 5400.0),
    ("uptime_s", "1500000 us", 1.5),
]
"""What hosts may write, and what it is in ours. Kelvin and fahrenheit: NIST SP 811, B.8."""


@pytest.mark.parametrize(("quantity", "text", "ours"), READINGS)
def test_a_unit_behind_a_number_is_read_without_a_word_of_the_profile(
    quantity: str, text: str, ours: float
) -> None:
    """By its own definition."""
    convert = number("", 1.0, 0.0, {}, DIMENSION_OF[quantity])
    assert convert(text) == pytest.approx(ours)


@pytest.mark.parametrize(
    ("unit", "text"),
    [
        ("celsius", "475.34 K"),
        ("kelvin", "210 °C"),
        ("fahrenheit", "210 C"),
        ("", "50 %"),
        ("", "21.5 V"),
        ("", "21.5"),
        ("celsius", "21.5 counts"),
        ("celsius", "21.5 °C C"),
        ("celsius", "3/0"),
    ],
)
def test_what_contradicts_the_profile_or_means_nothing_is_refused_and_counted(
    unit: str, text: str
) -> None:
    """No suffix is dropped silently."""
    profile = Profile(
        format=1,
        updates=(UpdateSource(),),
        channels={"nozzle": Channel(temperature_c=Reading(at="/n", unit=unit))},
    )
    mapper = Mapper(profile)
    (update,) = mapper.feed(Entry(5.0, EntryKind.MESSAGE, f'{{"n": "{text}"}}'.encode()))
    assert "nozzle.temperature_c" not in update.values
    assert mapper.refused == {"nozzle.temperature_c": 1}


def test_a_text_without_a_unit_is_a_number_where_the_profile_gives_one() -> None:
    assert number("kelvin", 1.0, 0.0, {}, "temperature")("300.15") == pytest.approx(27.0)
    assert number("kelvin", 1.0, 0.0, {}, "temperature")("300.15 K") == pytest.approx(27.0)


@pytest.mark.parametrize("unit", ["", "fraction", "percent", "permille", "byte"])
@pytest.mark.parametrize(("part", "whole"), [(180, 255), (0, 255), (1, 2), (7, 7), (512, 1023)])
def test_a_part_of_a_whole_is_a_share_in_any_unit_of_shares(
    unit: str, part: int, whole: int
) -> None:
    """A fraction says by itself what it is of."""
    convert = number(unit, 1.0, 0.0, {}, "share")
    assert convert(f"{part}/{whole}") == pytest.approx(part / whole)


@pytest.mark.parametrize("unit", ["celsius", "kelvin", ""])
def test_a_part_of_a_whole_is_never_a_temperature(unit: str) -> None:
    assert number(unit, 1.0, 0.0, {}, "temperature")("180/255") is None


@pytest.mark.parametrize("said", [0, 0.0, "0 K", "0", "0.0 K"])
def test_words_stand_for_numbers_too(said: float | str) -> None:
    """What is meant by a number of the host's, in whatever form it says that number."""
    convert = number("kelvin", 1.0, 0.0, {"0": 17.5}, "temperature")
    assert convert(said) == 17.5
    assert convert(273.15) == pytest.approx(0.0)
    assert convert(False) is None


@pytest.mark.parametrize(("unit", "text"), [("kelvin", "0 K"), ("fahrenheit", "0 °F")])
def test_a_target_of_zero_kelvin_or_fahrenheit_means_off(unit: str, text: str) -> None:
    """Nothing is heated to that; a reading of it stays what it is, and words say otherwise."""
    target = number(unit, 1.0, 0.0, {}, "temperature", zero_is_off=True)
    assert [target(0), target(0.0), target(text)] == [0.0, 0.0, 0.0]
    assert number("", 1.0, 0.0, {}, "temperature", zero_is_off=True)(text) == 0.0
    reading = number(unit, 1.0, 0.0, {}, "temperature")
    assert reading(0) == pytest.approx(UNITS[unit][1])
    told = number(unit, 1.0, 0.0, {"0": -17.0}, "temperature", zero_is_off=True)
    assert told(0) == -17.0


def test_a_code_has_no_unit() -> None:
    """Whatever stands behind it."""
    convert = number("", 1.0, 0.0, {}, "")
    assert [convert("8123 K"), convert("8123 %")] == [None, None]


def test_every_unit_and_suffix_measures_something() -> None:
    assert set(UNITS) - {""} == set(DIMENSIONS)
    assert set(SUFFIXES.values()) <= set(DIMENSIONS)


@given(
    st.floats(-1e6, 1e6),
    st.sampled_from(sorted(SUFFIXES)),
    st.sampled_from(["", " ", "  "]),
)
def test_a_number_and_its_suffix_are_read_as_written(value: float, suffix: str, space: str) -> None:
    """With or without a space between."""
    said = said_in(f"{value!r}{space}{suffix}")
    assert said is not None
    assert said.number == value
    assert said.unit == SUFFIXES[suffix]


@given(st.text(max_size=60))
def test_any_text_is_a_finite_number_or_none(text: str) -> None:
    found: Value | None = number_in(text)
    assert found is None or abs(float(found)) >= 0.0
