"""What is said of a value that was refused: what it said, and what to write."""

import json

import msgspec
import pytest

from client.form import Channel, Profile, Reading, UpdateSource
from client.proof import Proof
from client.units import DIMENSION_OF, DIMENSIONS, SUFFIXES
from client.values import number
from shared.updates import Entry, EntryKind
from tui.profilecheck import check_lines


def lines(quantity: str, reading: Reading, *said: object) -> str:
    """The check's lines for one reading and what the host says there."""
    channel = msgspec.structs.replace(Channel(), **{quantity: reading})
    proof = Proof(Profile(format=1, updates=(UpdateSource(),), channels={"nozzle": channel}))
    for n, value in enumerate(said):
        proof.feed(Entry(5.0 + n, EntryKind.MESSAGE, json.dumps({"n": value}).encode()))
    return "\n".join(check_lines(proof))


@pytest.mark.parametrize(
    ("quantity", "unit", "said", "told"),
    [
        ("temperature_c", "celsius", "475.34 K", 'has unit = "celsius": write unit = "kelvin"'),
        ("temperature_c", "kelvin", "180/255", "a share, and temperature_c is a temperature"),
        ("power", "byte", "50 %", 'has unit = "byte": write unit = "percent"'),
        ("target_c", "", "215", "say its unit, one of celsius, kelvin, fahrenheit"),
        ("target_c", "celsius", "off", 'words = { "off" = "0" } if it means off'),
        ("power", "", "idle", 'words = { "idle" = "0" } if it means off'),
        ("target_c", "celsius", "shut", 'words = { "shut" = "none" } if it means that there'),
        ("temperature_c", "celsius", "fault 17", 'words = { "fault 17" = "none" } if it means'),
        ("temperature_c", "", True, 'words = { "true" = "none" } if it means'),
        ("power", "", True, 'words = { true = "1", false = "0" }'),
        ("code", "", "8123 K", "a code has no unit"),
        ("flags", "", 3.5, "which cannot be flags"),
    ],
)
def test_a_refused_value_is_told_with_its_reason(
    quantity: str, unit: str, said: object, told: str
) -> None:
    text = lines(quantity, Reading(at="/n", unit=unit), said, said)
    assert f"nozzle.{quantity} refused 2: the host says '{said}'" in text
    assert told in text
    assert "only changes" not in text


@pytest.mark.parametrize("word", ["off", "none", "no reading", "n/a", "-"])
def test_no_word_in_a_readings_place_is_proposed_as_a_number(word: str) -> None:
    """A lost nozzle that reads 0 °C would be heated without end."""
    text = lines("temperature_c", Reading(at="/n"), 210.0, word)
    assert f"nozzle.temperature_c none 1 ×: the host says '{word}' there" in text
    assert "only changes" not in text
    assert '"0"' not in text


def test_null_beside_numbers_is_told_with_the_way_to_say_that_it_means_unchanged() -> None:
    text = lines("temperature_c", Reading(at="/n"), 210.0, None, None)
    assert "none 2 ×: the host says 'null' there" in text
    assert 'words = { null = "unsent" }' in text


def test_an_object_where_a_number_should_be_is_told() -> None:
    assert "an object stands there: point further into it" in lines(
        "power", Reading(at="/n"), {"is": 0.5}
    )


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_what_it_says_to_write_is_what_reads_the_value(suffix: str) -> None:
    """For every unit that may stand behind a number, where another of its kind was written."""
    unit = SUFFIXES[suffix]
    kind = DIMENSIONS[unit]
    quantity = next(name for name, each in DIMENSION_OF.items() if each == kind)
    wrong = next(name for name in DIMENSIONS if DIMENSIONS[name] == kind and name != unit)
    text = lines(quantity, Reading(at="/n", unit=wrong), f"7 {suffix}")
    written = text.partition('write unit = "')[2].partition('"')[0]
    assert number(written, 1.0, 0.0, {}, kind)(f"7 {suffix}") is not None


def test_a_reading_that_never_came_may_come_yet() -> None:
    """Where nothing was refused it is said that a host may have had nothing to send."""
    text = lines("power", Reading(at="/elsewhere"), 0.5)
    assert "a host that sends only changes may not have had one to send" in text
