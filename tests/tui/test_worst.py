"""The order of hosts: worst first, and calm."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from shared.words import Kind, Severity
from tests.tui.fakes import NOW_S, event, snapshot
from tui.snapshot import LinkState, LinkView, Snapshot
from tui.worst import HOLD_S, Order, WorstLevel, level_of, severity_of

FAILURE, NOTHING = WorstLevel(severity=4), WorstLevel()


def with_events(*severities: Severity, state: LinkState = LinkState.OPEN) -> Snapshot:
    found = tuple(
        event(number, Kind.SPIKE, NOW_S, None, severity=severity)
        for number, severity in enumerate(severities)
    )
    return replace(snapshot(), events=found, channels=(), link=LinkView(state, 0.0, 0.0, "why"))


def test_severity_outweighs_the_link_and_the_link_outweighs_doubt() -> None:
    failing = with_events(Severity.NOTICE, Severity.FAILURE)
    connecting = with_events(state=LinkState.CONNECTING)
    doubted = replace(snapshot(), events=())
    levels = [level_of(now) for now in (failing, connecting, doubted, with_events())]
    assert levels == sorted(levels, reverse=True)
    assert len(set(levels)) == 4


def test_a_link_that_is_down_weighs_as_much_as_its_event() -> None:
    assert severity_of(with_events(state=LinkState.ENDED)) is Severity.CHECK_FUNCTION
    assert severity_of(with_events(Severity.FAILURE, state=LinkState.LOST)) is Severity.FAILURE
    assert severity_of(with_events()) is None


def test_an_event_that_another_explains_or_that_has_ended_weighs_nothing() -> None:
    absorbed = event(1, Kind.SPIKE, 1.0, None, absorbed_by=2)
    ended = event(3, Kind.SPIKE, 1.0, 2.0)
    assert severity_of(replace(with_events(), events=(absorbed, ended))) is None


def test_hosts_that_are_as_bad_stand_as_they_were_given() -> None:
    assert Order(4).places([NOTHING, FAILURE, NOTHING, FAILURE], 0.0) == [1, 3, 0, 2]


def test_a_host_rises_at_once_and_falls_after_the_hold() -> None:
    order = Order(2)
    assert order.places([NOTHING, NOTHING], 0.0) == [0, 1]
    assert order.places([NOTHING, FAILURE], 1.0) == [1, 0]
    assert order.places([NOTHING, NOTHING], 1.25) == [1, 0]
    assert order.places([NOTHING, NOTHING], 0.99 + HOLD_S) == [1, 0]
    assert order.places([NOTHING, NOTHING], 1.0 + HOLD_S) == [0, 1]


def test_a_host_that_flickers_moves_once() -> None:
    """An event that comes and goes every second for an hour moves nobody twice."""
    order = Order(2)
    seen = {
        tuple(order.places([NOTHING, FAILURE if second % 2 else NOTHING], float(second)))
        for second in range(1, 3600)
    }
    assert seen == {(1, 0)}


LEVELS = st.builds(WorstLevel, st.integers(-1, 4), st.integers(0, 3), st.integers(0, 3))


@given(st.lists(st.tuples(st.floats(0.01, 5.0), LEVELS, LEVELS), min_size=1, max_size=60))
def test_each_place_is_by_the_worst_of_the_last_seconds(
    steps: list[tuple[float, WorstLevel, WorstLevel]],
) -> None:
    order, at_s = Order(2), 0.0
    told: list[tuple[float, WorstLevel, WorstLevel]] = []
    for pause_s, first, second in steps:
        at_s += pause_s
        told.append((at_s, first, second))
        held = [step for step in told if at_s - step[0] < HOLD_S]
        worst = [max(step[1] for step in held), max(step[2] for step in held)]
        wanted = [0, 1] if worst[0] >= worst[1] else [1, 0]
        assert order.places([first, second], at_s) == wanted
