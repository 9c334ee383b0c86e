"""What stands of acknowledging and shelving at a moment."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from detectors.health import trust_beside, trust_of
from detectors.shelf import Deed, stand_at
from shared.health import Trust
from shared.kinds import KINDS
from shared.words import Act, HostState, Kind, Severity
from tests.tui.fakes import event

OPEN = event(3, Kind.CODE_HIGH, 100.0, None)
SHELVE = Deed(Act.SHELVE, 110.0, "nozzle", Kind.CODE_HIGH, 100.0, until_s=710.0)
JOIN_S = KINDS[Kind.CODE_HIGH].join_s


def test_a_shelf_holds_from_its_beginning_to_its_end_and_not_longer() -> None:
    for now_s, is_on in ((109.0, False), (110.0, True), (709.9, True), (710.0, False)):
        assert (3 in stand_at([OPEN], [SHELVE], now_s).shelved) is is_on


def test_what_is_raised_again_while_shelved_is_shelved_too_and_comes_back() -> None:
    """The kind on the channel is set aside, not one event (ISA-18.2 shelves an alarm; memory)."""
    first = event(3, Kind.CODE_HIGH, 100.0, 120.0)
    again = event(4, Kind.CODE_HIGH, 400.0, None)
    assert set(stand_at([first, again], [SHELVE], 500.0).shelved) == {3, 4}
    assert not stand_at([first, again], [SHELVE], 710.0).shelved


def test_another_kind_or_channel_is_not_shelved() -> None:
    others = [event(4, Kind.SPIKE, 100.0, None), event(5, Kind.CODE_HIGH, 100.0, None, channel="x")]
    assert set(stand_at([OPEN, *others], [SHELVE], 200.0).shelved) == {3}


def test_until_returned_lasts_as_long_as_another_occurrence_would_join() -> None:
    """Within the joining time an event has not returned: chatter does not end the shelf."""
    deed = replace(SHELVE, until_s=None)
    ended = event(3, Kind.CODE_HIGH, 100.0, 150.0)
    assert 3 in stand_at([OPEN], [deed], 1e6).shelved
    assert 3 in stand_at([ended], [deed], 150.0 + JOIN_S).shelved
    assert not stand_at([ended], [deed], 150.0 + JOIN_S + 0.1).shelves


def test_unshelving_takes_it_back_at_once() -> None:
    back = Deed(Act.UNSHELVE, 200.0, "nozzle", Kind.CODE_HIGH, 100.0)
    assert 3 in stand_at([OPEN], [SHELVE, back], 199.0).shelved
    assert not stand_at([OPEN], [SHELVE, back], 200.0).shelved


def test_events_that_ended_before_the_shelf_stay_as_they_were_in_the_list() -> None:
    """They lead no headline, though: the kind on the channel is set aside."""
    old = event(1, Kind.CODE_HIGH, 10.0, 20.0)
    stand = stand_at([old, OPEN], [SHELVE], 200.0)
    assert set(stand.shelved) == {3}
    assert stand.loud([old, OPEN]) == []


def test_acknowledging_means_the_event_that_began_nearest_and_never_a_later_one() -> None:
    """Ids may differ in a cut recording; the time tells."""
    earlier, later = event(8, Kind.CODE_HIGH, 10.0, 20.0), event(9, Kind.CODE_HIGH, 300.0, None)
    deed = Deed(Act.ACKNOWLEDGE, 110.0, "nozzle", Kind.CODE_HIGH, 100.0)
    assert stand_at([earlier, OPEN, later], [deed], 400.0).acknowledged == {3}


def test_a_channel_is_quiet_only_while_nothing_else_is_wrong_there() -> None:
    note = event(5, Kind.RESTART, 100.0, 100.0, severity=Severity.NOTICE)
    other = event(6, Kind.SPIKE, 100.0, 100.0)
    assert stand_at([OPEN, note], [SHELVE], 200.0).quiet([OPEN, note]) == {"nozzle"}
    assert stand_at([OPEN, other], [SHELVE], 200.0).quiet([OPEN, other]) == frozenset()


def test_a_shelved_fault_never_makes_a_reading_true() -> None:
    found = trust_beside("nozzle", [OPEN], {3}, HostState.UP, 200.0)
    assert found == (Trust.SHELVED, 100.0, f"shelved: {OPEN.text}")


@given(
    st.lists(
        st.tuples(
            st.sampled_from([Kind.SPIKE, Kind.CODE_HIGH, Kind.LINK_LOSS]),
            st.integers(0, 100),
            st.one_of(st.none(), st.integers(0, 50)),
            st.booleans(),
        ),
        max_size=6,
    ),
    st.integers(100, 200),
)
def test_trust_beside_shelved_faults_is_that_of_the_others(
    drawn: list[tuple[Kind, int, int | None, bool]], now_s: int
) -> None:
    """Whatever is shelved: true stays true, and what is not shelved keeps its word."""
    found = [
        event(number, kind, float(start), None if lasts is None else float(start + lasts))
        for number, (kind, start, lasts, _) in enumerate(drawn)
    ]
    shelved = {number for number, (_, _, _, is_on) in enumerate(drawn) if is_on}
    rest = [each for each in found if each.id not in shelved]
    trust = trust_beside("nozzle", found, shelved, HostState.UP, float(now_s))[0]
    all_trust = trust_of("nozzle", found, HostState.UP, float(now_s))[0]
    rest_trust = trust_of("nozzle", rest, HostState.UP, float(now_s))[0]
    if rest_trust is not Trust.TRUE:
        assert trust is rest_trust
    else:
        assert trust is (Trust.TRUE if all_trust is Trust.TRUE else Trust.SHELVED)
