"""The screen's source over files: at a glance first, then judged, and live files followed."""

import os
import threading
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from client.simulated import plain
from client.simulated.scenario import load_scenario
from detectors.diagnosis import diagnose, verdict
from detectors.engine.watch import Watch
from recordings.logs import open_log
from recordings.plain_writer import write_plain_log
from recordings.reader import Recording
from recordings.writer import Recorder
from shared.events import Event
from shared.notes import ANSWER
from shared.updates import Batch, Update, batch_of
from shared.words import Cause
from tests.recordings.logs import night
from tui.history import History
from tui.keys import KEYS, keys_of
from tui.navigate import Navigator
from tui.outline import outline_of
from tui.replay import Replay
from tui.snapshot import LinkState
from tui.state import ScreenState, ViewName
from tui.window import SPANS_S, Window

SCENARIO = load_scenario("loose-terminal")


def wait_until(what: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 60.0
    while not what():
        assert time.monotonic() < deadline
        time.sleep(0.01)


@pytest.fixture(autouse=True)
def _nobody_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    """There is no screen to wait for."""
    monkeypatch.setattr("tui.replay.FIRST_LOOK_S", 0.0)


@pytest.fixture(scope="module")
def faulty() -> tuple[list[Update], list[Event]]:
    """A scenario's updates, and the events that a live watch finds in them."""
    updates = list(plain.updates(SCENARIO, 1))
    watch = Watch(SCENARIO.chains)
    for update in updates:
        watch.feed(batch_of([update]))
    watch.finish()
    return updates, list(watch.events)


@pytest.fixture(scope="module")
def recorded(
    tmp_path_factory: pytest.TempPathFactory, faulty: tuple[list[Update], list[Event]]
) -> Path:
    """The same as a closed recording."""
    path = tmp_path_factory.mktemp("replay") / "fault.ohmv"
    recorder = Recorder(path, {"title": "t", "chains": dict(SCENARIO.chains)})
    recorder.updates(faulty[0])
    for event in faulty[1]:
        recorder.event(event)
    recorder.note(100.0, "watch this")
    recorder.close()
    return path


class Held(Recording):
    """A recording whose samples come only when they are let."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.let = threading.Event()

    def fresh(self, rows: int = 4096) -> Iterator[Batch]:
        """As before, once let."""
        self.let.wait(60.0)
        yield from super().fresh(rows)


def test_the_whole_night_is_there_before_a_sample_is_read(
    recorded: Path, faulty: tuple[list[Update], list[Event]]
) -> None:
    """Span, lows and highs, events and causes come from roll-ups and recorded events."""
    updates, events = faulty
    log = Held(recorded)
    replay = Replay(log, "t")
    replay.start()
    wait_until(lambda: bool(replay.snapshot().events))
    now = replay.snapshot()
    assert not replay.is_judged
    assert {health.channel for health in now.channels} >= {"nozzle", "bed"}
    assert now.channels[0].temperature_c is not None
    assert now.play is not None
    assert (now.play.first_s, now.play.last_s) == (updates[0].time_s, updates[-1].time_s)
    assert [event.id for event in now.events] == [event.id for event in events]
    assert now.causes[0].cause == SCENARIO.expect.cause
    assert now.verdict.text.startswith("as recorded: ")
    key = "nozzle.temperature_c"
    readings = [update.values[key] for update in updates if key in update.values]
    low, high = replay.history.columns(key, *replay.history.span_s, 40)
    assert np.nanmin(low) == min(readings)
    assert np.nanmax(high) == max(readings)
    log.let.set()
    wait_until(lambda: replay.is_judged)
    after = replay.snapshot()
    assert after.events == now.events
    assert not after.verdict.text.startswith("as recorded: ")
    _, values = replay.history.samples(key, *replay.history.span_s)
    assert values.tolist() == readings
    replay.close()


def test_causes_and_verdict_are_those_of_the_cursor(
    recorded: Path, faulty: tuple[list[Update], list[Event]]
) -> None:
    """Before the first event nothing is diagnosed; at the end it is what `judge` says."""
    updates, events = faulty
    replay = Replay(open_log(recorded), "t")
    replay.start()
    wait_until(lambda: replay.is_judged)
    whole = replay.snapshot()
    causes = diagnose(events, SCENARIO.chains)
    assert whole.causes == causes
    first_s = min(event.start_s for event in events)
    replay.seek(first_s - 1.0)
    before = replay.snapshot()
    assert before.events == ()
    assert before.causes == ()
    assert before.verdict.severity == "notice"
    middle = sorted(event.start_s for event in events)[len(events) // 2]
    replay.seek(middle)
    now = replay.snapshot()
    assert now.causes == diagnose(now.events, SCENARIO.chains)
    assert now.verdict.severity == verdict(now.events, now.causes).severity
    replay.seek(updates[-1].time_s + 100.0)
    assert replay.snapshot().causes == causes
    replay.close()


def test_an_answer_counts_from_its_time_on_however_the_cursor_came_there(
    tmp_path: Path, faulty: tuple[list[Update], list[Event]]
) -> None:
    """No event lies between the two places, and yet the ranking differs."""
    updates, events = faulty
    starts = sorted(event.start_s for event in events)
    quiet_s, until_s = max(pairwise([*starts, updates[-1].time_s]), key=lambda gap: gap[1] - gap[0])
    part_s = (until_s - quiet_s) / 4.0
    recorder = Recorder(tmp_path / "a.ohmv", {"chains": dict(SCENARIO.chains)})
    recorder.updates(updates)
    facts = {"channel": "nozzle", "check": "wiggle-cable", "outcome": "breaks-in-the-cable"}
    recorder.note(quiet_s + 2.0 * part_s, "", ANSWER, facts)
    recorder.close()
    replay = Replay(open_log(tmp_path / "a.ohmv"), "t")
    replay.start()
    wait_until(lambda: replay.is_judged)
    told = []
    for cursor_s in (quiet_s + part_s, quiet_s + 3.0 * part_s, quiet_s + part_s):
        replay.seek(cursor_s)
        told.append({cause.cause: cause.probability for cause in replay.snapshot().causes})
    replay.close()
    assert told[1][Cause.BROKEN_LEAD] > 1.5 * told[0][Cause.BROKEN_LEAD]
    assert told[2] == told[0]


def test_a_live_file_is_followed_until_it_is_closed(
    tmp_path: Path, faulty: tuple[list[Update], list[Event]]
) -> None:
    """What is written comes to the screen; then the link is a file, judged to its end."""
    updates, events = faulty
    path = tmp_path / "live.ohmv"
    recorder = Recorder(path, {"chains": dict(SCENARIO.chains)})
    half = len(updates) // 2
    recorder.updates(updates[:half])
    assert recorder.flush()
    replay = Replay(open_log(path), "t")
    replay.start()
    wait_until(lambda: replay.history.detailed_to_s == updates[half - 1].time_s)
    assert replay.snapshot().link.state is LinkState.LIVE_FILE
    assert replay.snapshot().now_s == updates[half - 1].time_s
    recorder.updates(updates[half:])
    recorder.note(50.0, "from another program")
    assert recorder.flush()
    wait_until(lambda: replay.snapshot().now_s == updates[-1].time_s)
    wait_until(lambda: len(replay.snapshot().notes) == 1)
    assert replay.snapshot().link.state is LinkState.LIVE_FILE
    replay.seek(updates[3].time_s)
    assert replay.snapshot().now_s == updates[3].time_s
    recorder.close()
    wait_until(lambda: replay.snapshot().link.state is LinkState.FILE)
    replay.seek(np.inf)
    assert list(replay.snapshot().events) == events
    assert replay.snapshot().link.why == ""
    replay.close()


def test_an_old_file_that_was_cut_off_is_no_live_file(tmp_path: Path) -> None:
    """Nobody writes what has not changed for a minute."""
    path = tmp_path / "old.ohmv"
    recorder = Recorder(path, {})
    recorder.updates(night(50))
    assert recorder.flush()
    copy = tmp_path / "copy.ohmv"
    for suffix in ("", "-wal"):
        target = Path(f"{copy}{suffix}")
        target.write_bytes(Path(f"{path}{suffix}").read_bytes())
        os.utime(target, (time.time() - 3600.0,) * 2)
    recorder.close()
    replay = Replay(open_log(copy), "t")
    assert replay.snapshot().link.state is LinkState.FILE
    replay.start()
    wait_until(lambda: replay.is_judged)
    assert replay.snapshot().now_s == night(50)[-1].time_s
    replay.close()


def test_a_plain_log_replays_too(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_plain_log(path, [batch_of(night(200))])
    replay = Replay(open_log(path), "t")
    replay.start()
    wait_until(lambda: replay.is_judged)
    assert replay.snapshot().now_s == night(200)[-1].time_s
    assert replay.snapshot().link.state is LinkState.FILE
    replay.close()


def test_steps_go_from_update_to_update_and_jumps_by_minutes_and_hours(tmp_path: Path) -> None:
    log = night(20_000)
    path = tmp_path / "a.ohmv"
    recorder = Recorder(path, {})
    recorder.updates(log)
    recorder.close()
    replay = Replay(open_log(path), "t")
    replay.start()
    wait_until(lambda: replay.is_judged)
    moves = Navigator(replay, ScreenState())

    def now_s() -> float:
        return replay.snapshot().now_s

    replay.seek(log[100].time_s)
    moves.step(replay.snapshot(), 1, 60)
    assert now_s() == log[101].time_s
    moves.step(replay.snapshot(), -1, 60)
    moves.step(replay.snapshot(), -1, 60)
    assert now_s() == log[99].time_s
    moves.jump(replay.snapshot(), 3600.0)
    assert now_s() == log[99].time_s + 3600.0
    moves.jump(replay.snapshot(), -60.0)
    assert now_s() == log[99].time_s + 3540.0
    moves.jump(replay.snapshot(), -1e6)
    assert now_s() == log[0].time_s
    moves.step(replay.snapshot(), -1, 60)
    assert now_s() == log[0].time_s
    moves.jump(replay.snapshot(), 1e6)
    assert now_s() == log[-1].time_s
    replay.close()


def test_a_night_fits_the_window_that_replay_opens_with() -> None:
    """The shortest window that holds all of it."""
    assert Window.of(11 * 3600.0).span_s == 12 * 3600.0
    assert Window.of(1.0).span_s == SPANS_S[0]
    assert Window.of(1e9).span_s == SPANS_S[-1]


def test_an_outline_gives_way_to_samples(tmp_path: Path) -> None:
    """Up to the newest sample they are shown alone; beyond, the outline is."""
    log = night(4000)
    path = tmp_path / "a.ohmv"
    recorder = Recorder(path, {})
    recorder.updates(log)
    recorder.close()
    recording = Recording(path)
    outline = outline_of(recording)
    recording.close()
    history = History(None)
    history.outline(outline)
    key = "nozzle.temperature_c"
    assert history.span_s == (log[0].time_s, log[-1].time_s)
    assert history.last(key, 500.0) == pytest.approx(210.0, abs=0.1)
    assert len(history.gaps(*history.span_s, log[-1].time_s)) == 0
    half = 2000
    history.append(batch_of(log[:half]))
    edge_s = log[half - 1].time_s
    times, values = history.samples(key, 0.0, 1e9)
    fine = times <= edge_s
    assert times[fine].tolist() == [update.time_s for update in log[:half]]
    assert values[fine].tolist() == [update.values[key] for update in log[:half]]
    assert np.all(np.diff(times) >= 0.0)
    assert 95 < np.count_nonzero(~fine) < 105
    assert len(history.gaps(*history.span_s, log[-1].time_s)) == 0
    history.append(batch_of(log[half:]))
    times, _ = history.samples(key, 0.0, 1e9)
    assert times.tolist() == [update.time_s for update in log]


@pytest.mark.parametrize("replaying", [True, False])
def test_no_key_means_two_things(replaying: bool) -> None:
    """Live and in a replay each key has one meaning, and ids are unique."""
    keys = [name for key in keys_of(ViewName.OVERVIEW, replaying) for name in key.keys.split(",")]
    assert len(keys) == len(set(keys))
    assert len({key.id for key in KEYS}) == len(KEYS)
