"""What `learn` shows of its draft, and what it asks."""

from collections.abc import Callable, Iterator

import msgspec
import pytest

from client.learn import Answers, Draft, answers_in, learn
from client.learn.answers import NONE
from shared.updates import Entry, EntryKind
from tests.client.learn.odd import untold
from tests.client.learn.odd.host import OddHost
from tui import learn_talk


def draft(make: Callable[[], OddHost], said: Answers = NONE) -> Draft:
    host = make()
    return learn(host.run()[0], host.sent(), answers=said)


def lines(make: Callable[[], OddHost]) -> str:
    return "\n".join(learn_talk.found_lines(draft(make)))


def answers(monkeypatch: pytest.MonkeyPatch, given: dict[str, list[str]]) -> list[str]:
    """Answers by a part of the question, in turn; Enter to all others."""
    asked: list[str] = []
    left: dict[str, Iterator[str]] = {part: iter(each) for part, each in given.items()}

    def answer(question: str) -> str:
        asked.append(question)
        return next((next(each) for part, each in left.items() if part in question), "")

    monkeypatch.setattr("builtins.input", answer)
    return asked


@pytest.mark.parametrize(
    ("make", "proof"),
    [
        (untold.spoken_units, "390.08 K  = 116.93 °C"),
        (untold.spoken_units, "44.4 %  = 0.444"),
        (untold.parts_of_a_byte, "113/255  = 0.44314"),
        (untold.parts_of_a_byte, "410.0 °F  = 210 °C"),
        (untold.back_to_back, "byte  = 0."),
    ],
)
def test_a_value_is_shown_as_sent_and_as_read(make: Callable[[], OddHost], proof: str) -> None:
    assert proof in lines(make)


def test_what_the_profile_would_refuse_is_shown_as_refused() -> None:
    """The proof is what the profile's own converter makes of the value."""
    found = draft(untold.spoken_units)
    nozzle = next(channel for channel in found.channels if channel.name == "nozzle")
    nozzle.parts["temperature_c"].quantity = "power"
    assert "390.08 K  refused" in "\n".join(learn_talk.found_lines(found))


def test_words_that_nobody_knows_are_listed() -> None:
    said = lines(untold.down_already)
    assert "state 'Kaput' means nothing known: never taken for up" in said
    assert "--word 'Kaput=up'" in said
    assert "no word for the host's state found" in lines(untold.a_slow_coordinate)


def test_a_word_is_asked_for_until_the_answer_is_a_state(monkeypatch: pytest.MonkeyPatch) -> None:
    """Enter leaves it unknown."""
    found = draft(untold.spoken_units)
    asked = answers(monkeypatch, {"'quenched'": ["down", "halted"]})
    learn_talk.ask(found)
    assert found.words == {"glimmering": None, "quenched": "halted"}
    assert sum("[not known]" in question for question in asked) == 3


def test_a_number_for_a_state_is_asked_for_as_a_word_is(monkeypatch: pytest.MonkeyPatch) -> None:
    found = draft(untold.numbers_for_states)
    answers(monkeypatch, {"'4'": ["up"]})
    learn_talk.ask(found)
    assert found.words == {"4": "up", "70": None}


def of_two() -> Draft:
    """Two texts that may be the state, and neither says so."""
    bodies = [
        {"nozzle temp": 25.0 + n % 7 / 10, "gist": "hale", "lid": "latched"} for n in range(40)
    ]
    return learn(
        Entry(0.25 * n, EntryKind.MESSAGE, msgspec.json.encode(body))
        for n, body in enumerate(bodies)
    )


@pytest.mark.parametrize(
    ("answer", "words"),
    [("", {}), ("1", {"hale": None}), ("2", {"latched": None}), ("-", {})],
)
def test_which_text_is_the_state_is_asked(
    answer: str, words: dict[str, None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Enter takes none, since nothing tells; one that is chosen has its words unknown."""
    found = of_two()
    assert found.words == {}
    asked = answers(monkeypatch, {"host's state": [answer]})
    learn_talk.ask(found)
    assert any("host's state" in question for question in asked)
    assert found.words == words
    assert any("state" in channel.parts for channel in found.channels) == bool(words)


def test_a_state_that_is_named_so_is_not_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    found = draft(untold.numbers_for_states)
    asked = answers(monkeypatch, {})
    learn_talk.ask(found)
    assert not any("host's state" in question for question in asked)


def test_reasons_are_told_in_full() -> None:
    """The column may be as long as its words."""
    found = of_two()
    part = next(channel.parts["temperature_c"] for channel in found.channels if channel.parts)
    part.why = [f"reason {n} of many that there are" for n in range(6)]
    assert "reason 5 of many that there are" in "\n".join(learn_talk.found_lines(found))


def test_a_word_that_was_given_is_not_asked_for_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor is where the state stands, once a word has told it."""
    found = draft(untold.spoken_units, answers_in([], ["glimmering=up"]))
    asked = answers(monkeypatch, {})
    learn_talk.ask(found)
    assert not any("'glimmering'" in question for question in asked)
    assert any("'quenched'" in question for question in asked)
    assert found.words["glimmering"] == "up"


def test_the_state_and_what_is_told_of_other_kinds_are_listed() -> None:
    said = lines(untold.spoken_units)
    assert "the host's state stands at mood" in said
    assert "messages of other kinds were not heard" in said
