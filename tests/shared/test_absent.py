"""How it is told that a number's key has none."""

from shared.absent import absent_key, hold, number_key
from shared.updates import Value


def test_a_key_leads_to_the_one_that_says_there_is_none_and_back() -> None:
    """Only keys of numbers have one: others that begin alike are other things."""
    assert absent_key("hot.end.temperature_c") == "hot.end.no_temperature_c"
    assert number_key("hot.end.no_temperature_c") == "hot.end.temperature_c"
    assert number_key("nozzle.temperature_c") is None
    assert number_key("board.no_load") is None
    assert number_key("host.no_message") is None


def test_a_number_ends_its_absence_and_that_ends_the_number() -> None:
    """What holds is one or the other, never both."""
    held: dict[str, Value] = {"a.power": 0.5}
    hold(held, {"a.temperature_c": 200.0})
    hold(held, {"a.no_temperature_c": "n/a"})
    assert held == {"a.power": 0.5, "a.no_temperature_c": "n/a"}
    hold(held, {"a.temperature_c": 201.0})
    assert held == {"a.power": 0.5, "a.temperature_c": 201.0}
