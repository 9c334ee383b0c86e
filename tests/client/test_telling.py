"""What the client tells of link and own machine, by own times alone."""

from collections.abc import Iterable

from client.company import TOGETHER_S, Company
from client.telling import Teller
from shared.link import How
from shared.updates import LinkNews


def texts(news: Iterable[LinkNews]) -> list[str]:
    return [each.told for each in news]


def heard(teller: Teller, times: Iterable[float]) -> list[str]:
    """What is told while messages come at these times, with a beat each second."""
    found: list[str] = []
    beat_s = 1.0
    for time_s in times:
        while beat_s <= time_s:
            found += texts(teller.beat(beat_s))
            beat_s += 1.0
        found += texts(teller.message(time_s))
    return found


def opened() -> Teller:
    teller = Teller(1.0)
    list(teller.beat(0.0))
    list(teller.opened(0.0, "ws://192.0.2.7/"))
    return teller


QUIET = [0.25 * k for k in range(1, 81)]


def test_messages_at_their_pace_are_nothing_to_tell() -> None:
    """Nor is one that comes late alone."""
    assert heard(opened(), [*QUIET, 26.0, 26.25, 26.5]) == []


def test_messages_that_come_all_at_once_after_a_gap_were_held_up() -> None:
    """As many as the gap should have brought, while we were awake."""
    assert heard(opened(), [*QUIET, *(26.0 + 0.001 * k for k in range(24))]) == ["held-up 6.0"]


def test_a_machine_that_slept_tells_so_before_what_came_meanwhile() -> None:
    """And does not blame the way for what it read late itself."""
    teller = opened()
    for second in range(1, 21):
        assert texts(teller.beat(float(second))) == []
        list(teller.message(second + 0.5))
    found = [text for k in range(24) for text in texts(teller.message(51.0 + 0.001 * k))]
    assert found == ["late 30.0"]


def test_the_same_failure_is_told_once() -> None:
    """Another one is told, and the same again after a link."""
    teller = opened()
    assert texts(teller.lost(1.0, "connection reset", How.RESET)) == [
        "lost reset: connection reset"
    ]
    found = []
    for how in (How.REFUSED, How.REFUSED, How.TIMED_OUT):
        found += texts(teller.failed(1.5, "no", how))
    assert found == ["tried refused: no", "tried timed-out: no"]


def test_a_sign_of_life_is_told_once_for_each_silence() -> None:
    """Until a message comes."""
    teller = opened()
    assert texts([*teller.answers(0.5), *teller.answers(0.6)]) == ["answers"]
    list(teller.message(0.7))
    assert texts(teller.answers(0.8)) == ["answers"]


def test_hosts_that_are_lost_together_are_counted_once() -> None:
    """Each says how many of those that had a link went with it; one alone says nothing."""
    company = Company()
    first, second, third, never = (company.take_seat() for _ in range(4))
    for seat in (first, second, third):
        company.opened(seat)
    company.lost(first, 100.0)
    assert company.share(first, 101.0) is None
    company.lost(second, 105.0)
    assert company.share(first, 100.0 + TOGETHER_S) == (1, 2)
    assert company.share(first, 200.0) is None
    assert company.share(never, 200.0) is None
    alone = Company()
    seat = alone.take_seat()
    alone.opened(seat)
    alone.lost(seat, 1.0)
    assert alone.share(seat, 1.0 + TOGETHER_S) is None
