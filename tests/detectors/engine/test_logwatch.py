"""Stretches of a log are judged each as a log of its own."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from client.simulated.plain import updates
from client.simulated.scenario import load_scenario
from detectors.engine.logwatch import LogWatch
from detectors.engine.watch import Watch
from shared.updates import Update, batch_of
from tests.recordings.logs import grouped

SCENARIO = load_scenario("loose-terminal")
LOG = list(updates(SCENARIO, 1, 100.0))


def judged(log: list[Update]) -> list[tuple[str, str, float]]:
    watch = Watch(SCENARIO.chains)
    watch.feed(batch_of(log))
    watch.finish()
    return [(event.kind, event.channel, event.start_s) for event in watch.events]


def test_one_stretch_is_what_a_watch_makes_of_it() -> None:
    watch = LogWatch(SCENARIO.chains)
    watch.feed(batch_of(LOG))
    watch.finish()
    assert [(e.kind, e.channel, e.start_s) for e in watch.events] == judged(LOG)


@pytest.fixture(scope="module")
def of_both_halves() -> list[tuple[str, str, float]]:
    """What each half gives by itself, one after the other."""
    at = len(LOG) // 2
    return judged(LOG[:at]) + judged(LOG[at:])


@settings(max_examples=15, deadline=None)
@given(cuts=st.lists(st.integers(0, len(LOG)), max_size=5))
def test_two_stretches_are_two_logs_however_they_are_grouped(
    of_both_halves: list[tuple[str, str, float]], cuts: list[int]
) -> None:
    """Events are those of both parts; ids rise and are used once."""
    at = len(LOG) // 2
    watch = LogWatch(SCENARIO.chains, (LOG[0].time_s, LOG[at].time_s))
    for batch in grouped(LOG, cuts):
        watch.feed(batch)
    watch.finish()
    assert [(e.kind, e.channel, e.start_s) for e in watch.events] == of_both_halves
    ids = [event.id for event in watch.events]
    assert ids == sorted(set(ids))


def test_absorbed_events_still_name_the_event_that_explains_them() -> None:
    """A dip of the supply explains what it did; the second stretch has it at another id."""
    scenario = load_scenario("supply-dip")
    log = list(updates(scenario, 1, 160.0))
    start_s = log[150].time_s
    watch = LogWatch(scenario.chains, (log[0].time_s, start_s))
    dip = Update(log[100].time_s, {"host.state": "gone"})
    watch.feed(batch_of([*log[:100], dip, *log[150:]]))
    watch.finish()
    first_id = next(event.id for event in watch.events if event.start_s >= start_s)
    assert first_id > 0
    by_id = {event.id: event for event in watch.events}
    absorbed = [event for event in watch.events if event.absorbed_by is not None]
    assert absorbed
    for event in absorbed:
        assert event.absorbed_by is not None
        assert event.absorbed_by >= first_id
        assert by_id[event.absorbed_by].absorbed_by is None
