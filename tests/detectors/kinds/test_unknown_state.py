"""unknown-state: a host's word without a meaning is told, and never taken for up."""

import pytest

from detectors.diagnosis import diagnose
from detectors.diagnosis.verdict import verdict
from detectors.engine.watch import Watch
from shared.health import Trust
from shared.updates import Update, batch_of
from shared.words import Kind, Severity


def rows(*words: tuple[float, str], seconds: float = 120.0) -> list[Update]:
    """A quiet nozzle; the host says these words at these times."""
    said = dict(words)
    updates = []
    for n in range(int(seconds * 2)):
        state = {"host.state": said[n / 2]} if n / 2 in said else {}
        updates.append(Update(n / 2, {"nozzle.temperature_c": 25.0 + n % 3 * 0.1, **state}))
    return updates


def watched(updates: list[Update], *, singly: bool) -> Watch:
    watch = Watch({})
    for part in [[update] for update in updates] if singly else [updates]:
        watch.feed(batch_of(part))
    return watch


@pytest.mark.parametrize("singly", [True, False])
@pytest.mark.parametrize("first_s", [0.0, 60.0])
def test_a_word_without_a_meaning_withholds_true(first_s: float, singly: bool) -> None:
    """From the first row on or later: the event has the host's word, and nothing is true."""
    watch = watched(rows((first_s, "smouldering")), singly=singly)
    (event,) = [each for each in watch.events if each.kind is Kind.UNKNOWN_STATE]
    assert (event.start_s, event.end_s, event.channel) == (first_s, None, "*")
    assert "'smouldering'" in event.text
    assert {health.trust for health in watch.health()} == {Trust.UNKNOWN}
    found = verdict(watch.events, diagnose(watch.events, {}))
    assert found.severity is Severity.CHECK_FUNCTION
    assert "smouldering" in found.text


def test_the_next_word_that_is_known_ends_it() -> None:
    watch = watched(rows((10.0, "smouldering"), (20.0, "charred"), (30.0, "up")), singly=False)
    events = [each for each in watch.events if each.kind is Kind.UNKNOWN_STATE]
    assert [(e.start_s, e.end_s) for e in events] in (
        [(10.0, 20.0), (20.0, 30.0)],
        [(10.0, 30.0)],
    )
    assert {health.trust for health in watch.health()} == {Trust.TRUE}


def test_each_word_is_an_event_of_its_own() -> None:
    """The second may be the stop: it has its own time, however near the first."""
    said = rows((10.0, "warming"), (12.0, "seized"))
    events = [e for e in watched(said, singly=True).events if e.kind is Kind.UNKNOWN_STATE]
    assert [(e.start_s, e.end_s) for e in events] == [(10.0, 12.0), (12.0, None)]
    assert "'warming'" in events[0].text
    assert "'seized'" in events[1].text


def test_words_that_come_again_and_again_make_no_flood_of_events() -> None:
    """The newest event goes on, and says what the host says now."""
    said = rows(*((n / 2, ("warming", "seized")[n % 2]) for n in range(200)))
    events = [e for e in watched(said, singly=True).events if e.kind is Kind.UNKNOWN_STATE]
    assert len(events) == 2
    assert events[-1].end_s is None
    assert "'warming', then 'seized'" in events[-1].text


@pytest.mark.parametrize(
    ("words", "is_told"),
    [((), False), (((5.0, "gone"), (8.0, "up")), False), (((5.0, "up"),), True)],
)
def test_a_host_that_never_says_a_state_is_not_called_sound(
    words: tuple[tuple[float, str], ...], is_told: bool
) -> None:
    """That its link stands says nothing of its machine: a stop would not have been seen."""
    watch = watched(rows(*words), singly=False)
    blind = watch.not_evaluated()
    text = verdict(watch.events, (), span_s=120.0, not_evaluated=blind).text
    says_so = "whether the host stopped the machine is not told" in text
    assert text.startswith("no fault found") == is_told
    assert says_so == ("no fault found" in text and not is_told)
    assert ((Kind.HALT, "*") in {(each.kind, each.channel) for each in blind}) != is_told


def test_no_cause_is_weighed_for_a_word() -> None:
    """It is a question to the profile, not to the wiring."""
    assert diagnose(watched(rows((5.0, "smouldering")), singly=False).events, {}) == ()
