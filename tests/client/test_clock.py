"""Log time from host time and own time."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from client.clock import DRIFT, JUMP_S, LATE_S, WAIT_S, LogTime

OWN = 5000.0


def started(host_s: float = 100.0, pace: float = 1.0) -> LogTime:
    time = LogTime(has_clock=True)
    time.set_pace(pace)
    assert time.at(OWN, host_s) == host_s
    return time


def test_the_log_begins_at_the_hosts_first_time_and_follows_it() -> None:
    """Arrival jitter leaves no trace in log time."""
    time = started()
    for n, jitter in enumerate([0.0, 0.3, -0.1, 0.6, 0.0], start=1):
        assert time.at(OWN + n + jitter, 100.0 + n) == 100.0 + n
    assert time.jumps == 0


def test_a_burst_after_a_stall_keeps_the_hosts_own_times() -> None:
    """Ten seconds of updates that arrive at once are ten seconds of log."""
    time = started()
    assert [time.at(OWN + 10.0, 100.0 + n) for n in range(1, 11)] == [
        100.0 + n for n in range(1, 11)
    ]
    assert time.jumps == 0


def test_updates_that_overtake_one_another_are_held() -> None:
    """The log does not fall, and nothing is moved for a little disorder."""
    time = started()
    assert [time.at(OWN + 1, s) for s in (101.0, 100.5, 101.2)] == [101.0, 101.0, 101.2]
    assert time.jumps == 0


@pytest.mark.parametrize("jump_s", [-90.0, -LATE_S - 0.51, JUMP_S + 0.01, 3600.0])
def test_a_host_clock_that_jumps_is_moved_to_own_time(jump_s: float) -> None:
    """The log goes on by own time elapsed, and later host times count from there."""
    time = started()
    assert time.at(OWN + 0.5, 100.5 + jump_s) == pytest.approx(100.5)
    assert time.at(OWN + 0.75, 100.75 + jump_s) == pytest.approx(100.75)
    assert time.jumps == 1


def test_a_restarted_host_goes_on_where_own_time_stands() -> None:
    """Host time starts anew at 0 after 30 s away; the log shows 30 s."""
    time = started(host_s=7000.0)
    assert time.time_at(OWN + 2.0) == pytest.approx(7002.0)
    time.reopen()
    assert time.at(OWN + 30.0, 0.25) == pytest.approx(7030.0)
    assert time.at(OWN + 30.25, 0.5) == pytest.approx(7030.25)


def test_a_host_that_restarts_within_its_first_second_is_noticed() -> None:
    """After the link opened anew even half a second backwards is a restart."""
    time = started(host_s=0.5)
    time.at(OWN + 1, 1.5)
    time.reopen()
    assert time.at(OWN + 3, 1.0) == pytest.approx(3.5)
    assert time.at(OWN + 3.25, 1.25) == pytest.approx(3.75)


def test_a_link_that_comes_back_to_the_same_host_finds_its_time_again() -> None:
    """Host time that went on meanwhile is taken as it is."""
    time = started()
    time.time_at(OWN + 3.0)
    time.reopen()
    assert time.at(OWN + 20.2, 120.0) == 120.0
    assert time.jumps == 0


def test_slow_drift_is_followed_for_days() -> None:
    """A crystal off by half of what is allowed, either way, is never taken for a jump."""
    for drift in (-DRIFT / 2, DRIFT / 2):
        time = started()
        for minute in range(1, 3 * 24 * 60):
            host_s = 100.0 + 60.0 * minute * (1 + drift)
            assert time.at(OWN + 60.0 * minute, host_s) == host_s
        assert time.jumps == 0


def test_a_tick_leaves_room_for_what_is_merely_late() -> None:
    """An update that comes a little after a tick still keeps its own time."""
    time = started()
    assert time.tick(OWN + 3.0) == pytest.approx(103.0 - LATE_S)
    assert time.at(OWN + 3.1, 102.5) == 102.5


def test_without_a_host_clock_own_time_counts_from_the_first_entry() -> None:
    """The log begins at 0."""
    time = LogTime(has_clock=False)
    time.see(OWN)
    assert time.is_known
    assert [time.time_at(OWN), time.time_at(OWN + 2.5)] == [0.0, 2.5]


def test_a_clock_that_never_shows_itself_is_not_waited_for() -> None:
    """After a while the log begins by own time; host time that comes later counts from there."""
    time = LogTime(has_clock=True)
    time.see(OWN)
    time.see(OWN + WAIT_S - 0.1)
    assert not time.is_known
    time.see(OWN + WAIT_S)
    assert time.time_at(OWN + WAIT_S) == WAIT_S
    assert time.at(OWN + WAIT_S + 5, 1e9) == WAIT_S + 5
    assert time.at(OWN + WAIT_S + 6, 1e9 + 1) == WAIT_S + 6
    assert time.jumps == 0


def test_simulated_time_passes_at_the_hosts_pace() -> None:
    """At pace 60 a second of own time is a minute, and no jump."""
    time = started(pace=60.0)
    assert [time.at(OWN + n, 100.0 + 60 * n) for n in (1, 2, 3)] == [160.0, 220.0, 280.0]
    assert time.jumps == 0
    assert time.time_at(OWN + 4) == pytest.approx(340.0)


def test_a_simulated_host_that_cannot_keep_its_pace_is_not_outrun() -> None:
    """Own time stands in at the rate that was kept, so the next host time need not be held."""
    time = started(pace=600.0)
    for n in range(1, 20):
        time.at(OWN + n, 100.0 + 200 * n)
    assert time.time_at(OWN + 20) == pytest.approx(100.0 + 200 * 20)
    assert time.jumps == 0


@pytest.mark.parametrize("pace", [0.0, -1.0, 1e9, float("nan")])
def test_an_absurd_pace_is_ignored(pace: float) -> None:
    """Time goes on as if the host had said nothing."""
    time = started()
    time.set_pace(pace)
    assert time.time_at(OWN + 1) == pytest.approx(101.0)


moments = st.floats(0, 1e10)
calls = st.lists(
    st.tuples(
        st.floats(0, 100),
        st.sampled_from(["at", "time_at", "tick", "reopen", "see", "pace"]),
        moments,
    )
)


@given(calls, st.booleans())
def test_log_time_never_falls_and_is_the_same_each_time(
    steps: list[tuple[float, str, float]], has_clock: bool
) -> None:
    """Whatever a host claims, in whatever order things come."""

    def played() -> list[float]:
        time = LogTime(has_clock)
        own_s, log = OWN, []
        for elapsed_s, call, moment in steps:
            own_s += elapsed_s
            time.see(own_s)
            if call == "at":
                log.append(time.at(own_s, moment))
            elif call == "reopen":
                time.reopen()
            elif call == "pace":
                time.set_pace(moment % 100)
            elif time.is_known and call != "see":
                log.append(time.tick(own_s) if call == "tick" else time.time_at(own_s))
        return log

    log = played()
    assert log == sorted(log)
    assert log == played()
