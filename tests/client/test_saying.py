"""What a host says in words: where message rules look, what ends a stop that words told."""

from typing import Any

import pytest

from client.form import Channel, MessageRule, Profile, Reading, UpdateSource
from client.mapping import Mapper
from shared.words import HostState, Kind
from tests.client.test_mapping import bare, link, message

STOP = MessageRule(pattern="heat is cut|guard open", state=HostState.HALTED)
GOOD: dict[str, Any] = {"tip": {"is": 210.0, "goal": 210.0}}
TIP = Channel(base="/tip", temperature_c="/is", target_c="/goal")
CUT = "All heat is cut: the tip cannot be believed."


def heard(profile: Profile, *bodies: Any) -> list[dict[str, Any]]:
    """Values that each message gives; empty where it gives no update."""
    mapper = Mapper(profile)
    updates = [mapper.feed(message(body, 100.0 + n)) for n, body in enumerate(bodies)]
    return [found[0].values if found else {} for found in updates]


def stopped(**more: Any) -> Profile:
    return bare({"nozzle": TIP, **more}, messages=(STOP,))


HALTED = {"host.state": "halted", "host.message": CUT}


@pytest.mark.parametrize(
    "told", [{"shout": CUT}, {"deep": [{"er": [1, CUT]}]}, {"tip": CUT}, [CUT]]
)
def test_a_rule_is_tried_on_every_text_of_a_message_without_readings(told: Any) -> None:
    """Wherever it stands, and it is the host's message from then on."""
    assert heard(stopped(), GOOD, told)[1] == HALTED


def test_a_message_that_no_entry_reads_is_heard_as_well() -> None:
    """Its method and id are no words of the host's."""
    source = UpdateSource(has="/tip")
    rule = MessageRule(pattern="guard open|stopped", state=HostState.HALTED)
    profile = Profile(format=1, updates=(source,), channels={"nozzle": TIP}, messages=(rule,))
    said = {"jsonrpc": "2.0", "method": "stopped.not", "params": {"why": "the guard opened"}}
    quiet = {**said, "params": {}}
    _, second, third = heard(profile, GOOD, quiet, said)
    assert second == {}
    assert third == {"host.state": "halted", "host.message": "the guard opened"}


def test_words_beside_readings_count_where_no_message_is_mapped() -> None:
    """Once for as long as they stand there: repeated, they say nothing new."""
    cut = {**GOOD, "note": CUT}
    assert [values.get("host.state") for values in heard(stopped(), GOOD, cut, cut, GOOD, cut)] == [
        None,
        "halted",
        None,
        None,
        "halted",
    ]


def test_where_a_message_is_mapped_no_other_text_beside_readings_is_tried() -> None:
    """A name or a file may hold the words of a rule."""
    profile = stopped(host=Channel(message="/line"))
    file = {**GOOD, "line": "all is well", "file": "guard opener.job"}
    assert "host.state" not in heard(profile, file)[0]
    assert heard(profile, GOOD, {"shout": CUT})[1] == HALTED


def test_what_is_read_as_a_state_is_not_tried_as_words() -> None:
    host = Channel(state=Reading(at="/mood", words={"guard open": "up"}))
    (values,) = heard(stopped(host=host), {**GOOD, "mood": "guard open"})
    assert values["host.state"] == "up"


def test_a_state_without_a_meaning_is_tried_as_words_for_as_long_as_it_stands() -> None:
    host = Channel(state=Reading(at="/mood", words={"fine": "up"}))
    said = [{**GOOD, "mood": mood} for mood in ("fine", "guard open!", "guard open!", "odd")]
    states = [values.get("host.state") for values in heard(stopped(host=host), *said)]
    assert states == ["up", "halted", "halted", "odd"]


def test_a_kind_that_words_report_counts_each_time_they_come() -> None:
    rule = MessageRule(pattern="hiccup", kind=Kind.SPIKE, channel="nozzle")
    profile = bare({"nozzle": TIP}, messages=(rule,))
    said = heard(profile, GOOD, {"shout": "hiccup"}, {"shout": "hiccup"})
    assert [values.get("nozzle.reported") for values in said] == [None, "spike", "spike"]


OFF: dict[str, Any] = {"tip": {"is": 190.0, "goal": 0}}


def test_a_stop_that_words_told_ends_when_a_target_is_set_after_all_were_off() -> None:
    """Targets that still stand as the words come are not yet a return."""
    said = heard(stopped(), GOOD, {"shout": CUT}, GOOD, OFF, {"shout": CUT}, OFF, GOOD, GOOD)
    states = [values.get("host.state") for values in said]
    assert states == [None, "halted", None, None, "halted", None, "up", None]


def test_a_stop_that_words_told_ends_when_the_controller_starts_anew() -> None:
    controller = Channel(uptime_s="/up")
    said = heard(stopped(controller=controller), {"up": 9.0}, {"shout": CUT}, {"up": 11}, {"up": 1})
    assert [values.get("host.state") for values in said] == [None, "halted", None, "up"]


def test_a_stop_that_the_state_told_ends_by_the_state_alone() -> None:
    host = Channel(state=Reading(at="/mood", words={"well": "up", "cut": "halted"}))
    well, cut = {"mood": "well"}, {"mood": "cut"}
    said = heard(stopped(host=host), {**GOOD, **well}, {**OFF, **cut}, GOOD, {**GOOD, **well})
    assert [values.get("host.state") for values in said] == ["up", "halted", None, "up"]


def test_after_a_lost_link_a_stop_that_words_told_still_stands() -> None:
    mapper = Mapper(stopped())
    for n, body in enumerate([GOOD, {"shout": CUT}, OFF]):
        mapper.feed(message(body, 100.0 + n))
    mapper.feed(link(False, 104.0))
    mapper.feed(link(True, 105.0))
    (update,) = mapper.feed(message(OFF, 106.0))
    assert update.values["host.state"] == "halted"


@pytest.mark.parametrize(
    ("said", "words"), [("All is cut", "All is cut"), (False, None), (66, None), ("well", None)]
)
def test_a_stop_that_the_state_tells_as_text_keeps_that_text(said: Any, words: str | None) -> None:
    """A number, or false, says nothing to a person."""
    state = Reading(at="/mood", words={"well": "up"}, other=HostState.HALTED)
    (values,) = heard(bare({"nozzle": TIP, "host": Channel(state=state)}), {**GOOD, "mood": said})
    assert values.get("host.said") == words


def test_a_stop_that_state_and_words_told_ends_by_the_state() -> None:
    host = Channel(state=Reading(at="/mood", words={"well": "up", "cut": "halted"}))
    said = heard(stopped(host=host), GOOD, {**OFF, "mood": "cut", "note": CUT}, OFF, GOOD)
    assert [values.get("host.state") for values in said] == [None, "halted", None, None]
