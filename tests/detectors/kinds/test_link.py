"""Silence is judged by the host's own spacing."""

import numpy as np
import pytest

from detectors.engine.watch import Watch
from shared.events import Event
from shared.updates import Update, Value, batch_of
from shared.words import Kind
from tests.levels import first


def events(times: list[float], *, ticks: tuple[float, ...] = (), gone: float = -1.0) -> list[Event]:
    """Events of a host that speaks at these times; ticks say that time passed."""
    updates = [
        Update(time_s, {"bed.temperature_c": 20.0 + 0.01 * (i % 3)})
        for i, time_s in enumerate(times)
    ]
    updates += [Update(time_s, {}) for time_s in ticks]
    if gone >= 0.0:
        updates.append(Update(gone, {"host.state": "gone"}))
        back_s = min(time_s for time_s in times if time_s > gone)
        updates.append(Update(back_s, {"host.state": "up"}))
    watch = Watch({})
    watch.feed(batch_of(sorted(updates, key=lambda update: update.time_s)))
    watch.finish()
    return watch.events


def every(period_s: float, *, rows: int = 100, gap_s: float = 0.0) -> list[float]:
    """Times with one gap added in the middle."""
    return [i * period_s + (gap_s if i >= rows // 2 else 0.0) for i in range(rows)]


@pytest.mark.parametrize("period_s", [0.25, 1.0, 2.0, 5.0, 30.0])
def test_a_slow_host_is_not_silent(period_s: float) -> None:
    """Whatever the host's own spacing is, keeping to it is no silence."""
    assert not events(every(period_s))


@pytest.mark.parametrize(("period_s", "limit_s"), [(0.25, 5.0), (1.0, 10.0), (5.0, 50.0)])
def test_silence_is_stale_beyond_ten_spacings_or_five_seconds(
    period_s: float, limit_s: float
) -> None:
    """Just below the limit is nothing, just above is one event that ends with the next word."""
    assert not events(every(period_s, gap_s=limit_s - 1.5 * period_s))
    times = every(period_s, gap_s=limit_s + 1.0)
    (event,) = events(times)
    assert event.kind is Kind.STALE
    assert (event.start_s, event.end_s) == (times[49], times[50])


def test_silence_is_said_while_it_lasts() -> None:
    """Ticks alone, without a word, are enough to raise it."""
    times = every(0.25)
    (event,) = events(times, ticks=tuple(times[-1] + tick for tick in range(1, 12)))
    assert event.kind is Kind.STALE
    assert event.end_s is None


def test_irregular_hosts_are_judged_by_their_gaps() -> None:
    """A host that speaks when something changes, now and then after long gaps, is not silent."""
    gaps = np.random.default_rng(1).exponential(2.0, 2000)
    assert not events(np.cumsum(gaps).tolist())


def test_a_broken_link_is_no_silence_and_teaches_none() -> None:
    """A gap over which the link was gone is link-loss alone; the next silence counts as before."""
    times = every(0.25, gap_s=60.0)
    kinds = [event.kind for event in events(times, gone=times[49] + 1.0)]
    assert kinds == [Kind.LINK_LOSS]
    later = times + [times[-1] + 8.0 + 0.25 * i for i in range(20)]
    kinds = [event.kind for event in events(later, gone=times[49] + 1.0)]
    assert kinds == [Kind.LINK_LOSS, Kind.STALE]


@pytest.mark.parametrize(("uptime", "kinds"), [(0.25, [Kind.HOST_CLOCK]), (20.0, [Kind.STALE])])
def test_a_clock_that_was_set_is_no_silence(uptime: float, kinds: list[Kind]) -> None:
    """Twenty seconds are missing from the rows: uptime tells whether they went by."""
    updates = []
    for index in range(200):
        late = index >= 100
        values: dict[str, Value] = {
            "bed.temperature_c": 20.0 + 0.01 * (index % 3),
            "controller.uptime_s": 100.0 + 0.25 * index + (uptime if late else 0.0),
        }
        updates.append(Update(0.25 * index + (20.0 if late else 0.0), values))
    for step in (len(updates), 1):
        watch = Watch({})
        for begin in range(0, len(updates), step):
            watch.feed(batch_of(updates[begin : begin + step]))
        watch.finish()
        assert [event.kind for event in watch.events] == kinds


def halt_of(*said: tuple[float, dict[str, Value]], one_by_one: bool = False) -> Event:
    """The halt of a host that speaks at 4 Hz and says these words of itself."""
    updates = [Update(0.25 * i, {"bed.temperature_c": 20.0 + 0.01 * (i % 3)}) for i in range(800)]
    updates += [Update(time_s, words) for time_s, words in said]
    updates.sort(key=lambda update: update.time_s)
    watch = Watch({})
    for batch in [[update] for update in updates] if one_by_one else [updates]:
        watch.feed(batch_of(batch))
    watch.finish()
    (event,) = [event for event in watch.events if event.kind is Kind.HALT]
    return event


HALTED: dict[str, Value] = {"host.state": "halted"}
UP: dict[str, Value] = {"host.state": "up"}
OWN: dict[str, Value] = {"host.said": "bolted"}
STARTED: dict[str, Value] = {"host.message": "print started"}
BEYOND: dict[str, Value] = {"host.message": "bed beyond its limit"}


@pytest.mark.parametrize("one_by_one", first(1, [True, False]))
@pytest.mark.parametrize(
    ("said", "quoted"),
    [
        ([(20.0, STARTED), (100.1, HALTED)], ""),
        ([(20.0, STARTED), (100.1, {**HALTED, **BEYOND})], "bed beyond its limit"),
        ([(20.0, STARTED), (100.1, HALTED), (100.4, BEYOND)], "bed beyond its limit"),
        ([(99.5, STARTED), (100.1, HALTED), (101.1, BEYOND)], "bed beyond its limit"),
        ([(99.5, BEYOND), (100.1, HALTED)], "bed beyond its limit"),
        ([(100.1, {**HALTED, **BEYOND}), (103.0, STARTED)], "bed beyond its limit"),
        ([(100.1, HALTED), (150.0, STARTED)], ""),
        ([(100.1, {**HALTED, **OWN})], "bolted"),
        ([(20.0, STARTED), (100.1, {**HALTED, **OWN}), (100.2, {**HALTED, **OWN})], "bolted"),
        ([(100.1, {**HALTED, **OWN}), (100.4, BEYOND)], "bed beyond its limit"),
        ([(100.1, HALTED), (103.0, {**UP, **STARTED})], ""),
        ([(100.1, {**HALTED, **OWN}), (103.0, {**UP, **STARTED})], "bolted"),
        ([(99.5, BEYOND), (100.1, HALTED), (103.0, {**UP, **STARTED})], "bed beyond its limit"),
        ([(100.1, HALTED), (103.0, {"host.state": "up"}), (104.0, STARTED)], ""),
    ],
)
def test_a_halt_is_quoted_with_words_of_its_own_moment(
    said: list[tuple[float, dict[str, Value]]], quoted: str, one_by_one: bool
) -> None:
    """At the halt or soon after it, else just before it; never what was said long before."""
    event = halt_of(*said, one_by_one=one_by_one)
    assert event.text == "the host stopped the machine" + (f": {quoted}" if quoted else "")
    assert event.facts.get("message", "") == quoted
    assert (event.start_s, event.count) == (100.1, 1)


def test_each_stop_is_told_in_the_states_own_text_be_it_the_same() -> None:
    """Two stops a minute apart, both told by one word."""
    said = {40.0: {**HALTED, **OWN}, 50.0: UP, 100.0: {**HALTED, **OWN}}
    updates = [Update(0.5 * n, {"bed.power": 0.1, **said.get(0.5 * n, {})}) for n in range(240)]
    for step in (1, 240):
        watch = Watch({})
        for begin in range(0, len(updates), step):
            watch.feed(batch_of(updates[begin : begin + step]))
        halts = [event.text for event in watch.events if event.kind is Kind.HALT]
        assert halts == ["the host stopped the machine: bolted"] * 2


@pytest.mark.parametrize("period_s", [45.0, 300.0, 3600.0])
def test_a_host_that_speaks_once_in_minutes_or_hours_is_not_silent(period_s: float) -> None:
    """From the second row on its period is known, and what is longer than ten of it is told."""
    assert not events(every(period_s))
    times = every(period_s, gap_s=12.0 * period_s)
    (event,) = events(times)
    assert (event.kind, event.start_s, event.end_s) == (Kind.STALE, times[49], times[50])


def test_a_first_gap_is_no_habit_once_rows_come_faster() -> None:
    """A log whose first row stands alone deafens nothing."""
    times = [0.0, *(600.0 + time_s for time_s in every(0.25, rows=200, gap_s=20.0))]
    (event,) = events(times)
    assert (event.start_s, event.end_s) == (times[100], times[101])


def test_live_a_first_silence_is_told_and_an_hour_later_none_is() -> None:
    """Nobody can know at first that a host speaks once an hour; time that passes tells it."""
    times = every(3600.0, rows=12)
    ticks = tuple(float(at) for at in np.arange(1.0, times[-1], 10.0) if at % 3600.0)
    (event,) = events(times, ticks=ticks)
    assert (event.start_s, event.end_s) == (0.0, 3600.0)
