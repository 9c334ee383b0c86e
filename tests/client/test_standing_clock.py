"""A host clock that stands, falls or leaps: what the log makes of it, and what is told."""

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from client.clock import JUMP_S, LATE_S, STAND_S, STAND_SAYS, LogTime
from client.form import Channel, Profile, Reading, UpdateSource
from client.mapping import Mapper
from detectors.engine.watch import Watch
from shared.events import Event
from shared.hostclock import GOES, STANDS, TIMEKEEPING, moved, moved_by_s
from shared.updates import Entry, EntryKind, LinkNews, Update, batch_of
from shared.words import Kind, Severity

PERIOD_S = 0.25
PROFILE = Profile(
    format=1,
    addresses=("ws://h",),
    updates=(UpdateSource(has="/at", clock="/at", status="/now"),),
    channels={
        "nozzle": Channel(temperature_c=Reading(at="/n")),
        "controller": Channel(uptime_s=Reading(at="/up")),
    },
)


def test_a_standing_clock_lets_the_log_go_on_by_own_time() -> None:
    """After it is known to stand, a second of ours is a second of the log."""
    time = LogTime(has_clock=True)
    at = [time.at(PERIOD_S * n, min(100.0 + PERIOD_S * n, 110.0)) for n in range(200)]
    assert time.take_news() == STANDS
    assert at[-1] == pytest.approx(100.0 + PERIOD_S * 199)
    later = [time.at(50.0 + PERIOD_S * n, 110.0 + PERIOD_S * (n + 1)) for n in range(40)]
    assert time.take_news() == GOES
    assert later[0] == pytest.approx(150.0)
    assert later[-1] == pytest.approx(later[0] + PERIOD_S * 39)


@pytest.mark.parametrize("coarse_s", [1.0, 2.0, 3.0])
def test_a_clock_in_whole_seconds_does_not_stand(coarse_s: float) -> None:
    """It says the same time a few times, and then a later one."""
    time = LogTime(has_clock=True)
    for n in range(400):
        now_s = PERIOD_S * n
        time.at(now_s, coarse_s * (now_s // coarse_s))
    assert time.take_news() == ""
    assert coarse_s < STAND_S


def test_one_late_repeat_is_no_standing_clock() -> None:
    """A stalled link delivers an old message once; the clock went on all the while."""
    time = LogTime(has_clock=True)
    for n in range(STAND_SAYS):
        time.at(float(n), 100.0 + n)
    time.at(20.0, 100.0 + STAND_SAYS - 1)
    assert time.take_news() == ""


@given(st.floats(-1e6, 1e9).filter(lambda by: by < -LATE_S - 0.5 or by > JUMP_S + 0.5))
def test_a_move_is_told_by_its_size(by_s: float) -> None:
    """Whatever the size, and once."""
    time = LogTime(has_clock=True)
    for n in range(10):
        time.at(PERIOD_S * n, 5000.0 + PERIOD_S * n)
    time.at(PERIOD_S * 10, 5000.0 + PERIOD_S * 10 + by_s)
    told = moved_by_s(time.take_news())
    assert told == pytest.approx(by_s, abs=0.06)
    assert [time.take_news(), time.take_news()] == [GOES, ""]


@given(st.text(max_size=20))
def test_other_words_are_no_move(text: str) -> None:
    """What is no number after the word is none."""
    assert moved_by_s(text) is None or text.startswith("moved ")
    assert moved_by_s(moved(-3.25)) == pytest.approx(-3.2, abs=0.06)


def heard(entries: list[Entry]) -> tuple[list[Update], list[Event]]:
    mapper, watch = Mapper(PROFILE), Watch()
    updates = [update for entry in entries for update in mapper.feed(entry)]
    watch.feed(batch_of(updates))
    watch.finish()
    return updates, [event for event in watch.events if event.kind is Kind.HOST_CLOCK]


def message(own_s: float, at_s: float, **more: object) -> Entry:
    body = {"at": at_s, "now": {"n": 21.0 + own_s % 0.5, **more}}
    return Entry(own_s, EntryKind.MESSAGE, msgspec.json.encode(body))


def test_a_clock_that_stands_is_one_event_from_then_until_it_goes_on() -> None:
    """While it stands readings have times of their own."""
    times = [PERIOD_S * n for n in range(400)]
    entries = [message(own, own if own < 30.0 else max(30.0, own - 40.0)) for own in times]
    updates, (event,) = heard(entries)
    assert event.severity is Severity.MAINTENANCE_REQUIRED
    assert event.start_s == pytest.approx(30.0 + STAND_S, abs=0.5)
    assert event.end_s == pytest.approx(70.0, abs=1.0)
    assert updates[-1].time_s == pytest.approx(times[-1], abs=1.0)
    words = [update.values[TIMEKEEPING] for update in updates if TIMEKEEPING in update.values]
    assert words == [STANDS, GOES]


@pytest.mark.parametrize("by_s", [-3600.0, 7200.0])
def test_a_clock_that_is_set_is_told_with_its_size(by_s: float) -> None:
    """Forward or back; readings go on."""
    entries = [message(PERIOD_S * n, PERIOD_S * n + by_s * (n > 100)) for n in range(200)]
    _, (event,) = heard(entries)
    assert event.value == pytest.approx(by_s, abs=0.1)
    assert ("fell back" if by_s < 0.0 else "leapt forward") in event.text


def test_a_host_that_starts_anew_has_no_clock_at_fault() -> None:
    """Its clock and the controller's begin at 0 with a new link, or with the uptime."""
    before = [message(PERIOD_S * n, 900.0 + PERIOD_S * n) for n in range(100)]
    link = [
        Entry(26.0, EntryKind.LINK, msgspec.json.encode(LinkNews(up=False, why="reset"))),
        Entry(30.0, EntryKind.LINK, msgspec.json.encode(LinkNews(up=True))),
    ]
    after = [message(30.0 + PERIOD_S * n, PERIOD_S * n) for n in range(100)]
    assert heard(before + link + after)[1] == []
    before = [message(PERIOD_S * n, 900.0 + PERIOD_S * n, up=900.0 + n) for n in range(100)]
    after = [message(25.0 + PERIOD_S * n, PERIOD_S * n, up=float(n)) for n in range(100)]
    assert heard(before + after)[1] == []
