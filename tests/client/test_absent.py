"""What stands in a number's place and is none: from then on there is no number."""

from typing import Any

import pytest

from client.form import Channel, Reading
from client.mapping import Mapper
from tests.client.test_mapping import bare, message

TIP = Channel(base="/tip", temperature_c="/is", target_c="/goal", power="/drive")


def heard(*bodies: Any, channel: Channel = TIP) -> list[dict[str, Any]]:
    mapper = Mapper(bare({"nozzle": channel}))
    said = enumerate(bodies)
    return [mapper.feed(message({"tip": body}, 100.0 + n))[0].values for n, body in said]


@pytest.mark.parametrize(
    ("said", "word"), [(None, "null"), ("n/a", "n/a"), ("kein Wert", "kein Wert"), ("", "")]
)
def test_a_reading_that_the_host_says_it_has_not_is_none(said: Any, word: str) -> None:
    """Null and any text without a digit, in the host's own word; no value is refused for it."""
    mapper = Mapper(bare({"nozzle": TIP}))
    mapper.feed(message({"tip": {"is": 210.0}}, 100.0))
    (update,) = mapper.feed(message({"tip": {"is": said}}, 101.0))
    assert update.values == {"nozzle.no_temperature_c": word}
    assert not mapper.refused


def test_a_reading_is_missed_from_the_first_and_other_numbers_only_where_they_stood() -> None:
    """A chamber without a heater has no target to miss."""
    first, second, third = heard(
        {"is": None, "goal": None}, {"is": 20.0, "goal": 200}, {"is": 20.0, "goal": None}
    )
    assert first == {"nozzle.no_temperature_c": "null"}
    assert second == {"nozzle.temperature_c": 20.0, "nozzle.target_c": 200.0}
    assert third == {"nozzle.temperature_c": 20.0, "nozzle.no_target_c": "null"}


@pytest.mark.parametrize("said", [{"c": 1}, [1], True, 1e300, "fault 17"])
def test_what_cannot_be_read_where_a_number_stood_leaves_none(said: Any) -> None:
    """It is refused and counted, and the number before it holds no longer."""
    mapper = Mapper(bare({"nozzle": TIP}))
    (never,) = mapper.feed(message({"tip": {"is": said, "drive": 0.1}}, 100.0))
    mapper.feed(message({"tip": {"is": 210.0}}, 101.0))
    (update,) = mapper.feed(message({"tip": {"is": said}}, 102.0))
    assert "nozzle.no_temperature_c" not in never.values
    assert str(update.values["nozzle.no_temperature_c"]).startswith("unreadable: ")
    assert mapper.refused["nozzle.temperature_c"] == 2


def test_a_profile_says_what_a_word_or_a_number_in_a_readings_place_means() -> None:
    """`none` for a number that stands for no reading, `unsent` for a null that means unchanged."""
    words = {"-999": "none", "null": "unsent", "warm": "35"}
    channel = Channel(base="/tip", temperature_c=Reading(at="/is", words=words))
    said = heard({"is": 210}, {"is": -999}, {"is": None}, {"is": "warm"}, channel=channel)
    assert said == [
        {"nozzle.temperature_c": 210.0},
        {"nozzle.no_temperature_c": "-999"},
        {},
        {"nozzle.temperature_c": 35.0},
    ]
