"""Several recordings as one log: files of a run, runs one after another, a folder."""

import sqlite3
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest

from detectors.engine.watch import Watch
from recordings.check import repair
from recordings.cut import starts_of
from recordings.cutting import cut_to_events
from recordings.logs import Log
from recordings.losses import losses_of
from recordings.notes import add_note
from recordings.reader import Recording
from recordings.rolling import RollingRecorder
from recordings.schema import StoredRow
from recordings.several import Joined, open_logs
from recordings.store import insert_rows
from recordings.writer import Recorder
from shared.chain import Chain
from shared.errors import BadInput
from shared.updates import Batch, Update, batch_of
from tests.recordings.logs import entry_of, finding, joined, night, record
from tests.recordings.test_rolling import names, record_days


def of(log: Log) -> Joined:
    assert isinstance(log, Joined)
    return log


def run_of(folder: Path, log: list[Update], meta: dict[str, object] | None = None) -> list[Path]:
    folder.mkdir(exist_ok=True)
    recorder = RollingRecorder(names(folder), meta or {"title": "garage"}, 60.0)
    return record_days(recorder, log)


def a_run(path: Path, log: list[Update], wall_s: float) -> None:
    """A run whose log time 0 was at a time of the wall clock, by its anchors."""
    recorder = Recorder(path, {"title": "garage"})
    recorder.updates(log)
    assert recorder.flush()
    recorder.close()
    connection = sqlite3.connect(path, isolation_level=None)
    insert_rows(connection, [StoredRow("anchors", (1, 5.0, wall_s, 0.0, "start"))])
    connection.close()


def test_files_of_one_run_are_the_run(tmp_path: Path) -> None:
    """In any order, and as a folder: every update once, as if there had been one file."""
    truth = night(900)
    paths = run_of(tmp_path / "a", truth)
    assert len(paths) >= 3
    for named in ([*reversed(paths)], [tmp_path / "a"], [paths[1], tmp_path / "a"]):
        log = of(open_logs(named))
        assert joined(log.batches()) == truth
        assert log.paths == tuple(paths)
        assert log.remarks == []
        assert len(starts_of(log.meta)) == 1
        assert log.duration_s == truth[-1].time_s - truth[0].time_s
        assert log.samples >= sum(len(update.values) for update in truth) // 2
        log.close()


def test_one_file_is_opened_as_itself(tmp_path: Path) -> None:
    record(tmp_path / "a.ohmv", night(60))
    for named in (tmp_path / "a.ohmv", tmp_path):
        log = open_logs([named])
        assert isinstance(log, Recording)
        log.close()


def test_an_event_over_the_seam_is_one_event(tmp_path: Path) -> None:
    """Judged together, a frozen stretch over two files is one; each event once among the
    recorded, as the later file has it."""
    truth = night(900)
    for index in range(200, 700):
        truth[index] = Update(truth[index].time_s, {"nozzle.code": 16000.0})
    recorder = RollingRecorder(names(tmp_path), {"title": "garage"}, 60.0)
    events = {100: finding(1), 120: finding(1, count=2), 880: finding(1, count=7, end_s=200.0)}
    paths = record_days(recorder, truth, events)
    assert len(paths) >= 3
    log = of(open_logs(paths))
    assert log.events() == [finding(1, count=7, end_s=200.0)]
    assert _found(log.batches()) == _found_in(truth)
    log.close()


def _found_in(truth: list[Update]) -> list[tuple[object, ...]]:
    return _found([batch_of(truth)])


def _found(batches: Iterable[Batch]) -> list[tuple[object, ...]]:
    watch = Watch({"nozzle": Chain()})
    for batch in batches:
        watch.feed(batch)
    watch.finish()
    return [(event.kind, event.channel, event.start_s, event.end_s) for event in watch.events]


def test_a_later_run_is_placed_by_the_wall_clock(tmp_path: Path) -> None:
    """Notes, events and updates of it lie where they happened; what is between is said."""
    first, second = night(100), night(80, seed=1)
    a_run(tmp_path / "z.ohmv", first, 1_000_000.0)
    a_run(tmp_path / "a.ohmv", second, 1_003_600.0)
    add_note(tmp_path / "a.ohmv", 5.0, "seen", "acknowledge", {"start_s": 4.0, "reason": "x"})
    log = of(open_logs([tmp_path]))
    assert [path.name for path in log.paths] == ["z.ohmv", "a.ohmv"]
    updates = joined(log.batches())
    assert updates[:100] == first
    times = [update.time_s for update in updates[100:]]
    assert times == pytest.approx([update.time_s + 3600.0 for update in second])
    assert [update.values for update in updates[100:]] == [update.values for update in second]
    assert starts_of(log.meta)[0] == first[0].time_s
    assert starts_of(log.meta)[1:] == pytest.approx([second[0].time_s + 3600.0])
    (note,) = log.notes
    assert note.time_s == pytest.approx(3605.0)
    assert note.facts == {"start_s": pytest.approx(3604.0), "reason": "x"}
    (line,) = log.remarks
    assert line.startswith("nothing was recorded from 0:00:2")
    assert line.endswith(", before a.ohmv")
    rolled = log.rollups()["nozzle.temperature_c"]
    assert rolled.count.sum() == sum("nozzle.temperature_c" in u.values for u in updates)
    assert (np.diff(rolled.start_s) > 0.0).all()
    log.close()


def test_a_missing_or_cut_file_begins_a_new_stretch(tmp_path: Path) -> None:
    """What lies between must not look like silence."""
    truth = night(1400)
    paths = run_of(tmp_path / "a", truth)
    assert len(paths) >= 5
    paths[1].unlink()
    cut_to_events(paths[3], [(paths_first(paths[3]), paths_first(paths[3]) + 20.0)])
    log = of(open_logs([tmp_path / "a"]))
    begun = [paths_first(path) for path in (paths[0], *paths[2:5])]
    assert starts_of(log.meta) == tuple(begun)
    assert len(log.remarks) == 3
    log.close()


def paths_first(path: Path) -> float:
    recording = Recording(path)
    try:
        assert recording.first_s is not None
        return recording.first_s
    finally:
        recording.close()


def test_a_live_folder_is_followed(tmp_path: Path) -> None:
    """Earlier files are given once, the newest as it grows."""
    truth = night(600)
    recorder = RollingRecorder(names(tmp_path), {"title": "garage"}, 60.0)
    log: Joined | None = None
    got: list[Update] = []
    for index, update in enumerate(truth):
        recorder.entry(entry_of(update))
        recorder.updates([update])
        if recorder._opening is not None:
            recorder._opening.join()
        if index in (300, 420):
            recorder.flush()
            log = log or of(open_logs([tmp_path]))
            got += joined(log.fresh())
            assert [u.time_s for u in got][-1] <= update.time_s
        if index == 420:
            break
    recorder.close()
    assert log is not None
    got += joined(log.fresh())
    assert [u.time_s for u in got] == [u.time_s for u in truth[: len(got)]]
    assert len(got) > 250
    log.close()


def test_what_cannot_be_one_log_is_refused_in_one_line(tmp_path: Path) -> None:
    a_run(tmp_path / "a.ohmv", night(100), 1_000_000.0)
    a_run(tmp_path / "b.ohmv", night(100), 1_000_005.0)
    record(tmp_path / "other.ohmv", night(60))
    (tmp_path / "plain.csv").write_text("time_s,nozzle.code\n0,1\n1,2\n")
    (tmp_path / "empty").mkdir()
    for named, words in (
        (["a.ohmv", "b.ohmv"], "b.ohmv: was recorded at the same time as .*a.ohmv"),
        (["a.ohmv", "other.ohmv"], "other.ohmv: is of another host than"),
        (["a.ohmv", "plain.csv"], "plain.csv: is a plain log; only recordings are joined"),
        (["empty"], "empty: holds no recording"),
        (["a.ohmv", "gone.ohmv"], "gone.ohmv: no such file"),
    ):
        with pytest.raises(BadInput, match=words) as caught:
            open_logs([tmp_path / name for name in named])
        assert "\n" not in str(caught.value)


def test_losses_of_a_repaired_file_keep_their_place(tmp_path: Path) -> None:
    a_run(tmp_path / "a.ohmv", night(100), 1_000_000.0)
    second = tmp_path / "b.ohmv"
    recorder = Recorder(second, {"title": "garage"})
    for start in range(0, 100, 20):
        recorder.updates(night(100)[start : start + 20])
        recorder.flush()
    recorder.close()
    connection = sqlite3.connect(second, isolation_level=None)
    insert_rows(connection, [StoredRow("anchors", (1, 5.0, 1_000_100.0, 0.0, "start"))])
    connection.execute("DELETE FROM sample_blocks WHERE id = 2")
    connection.close()
    repair(second, tmp_path / "c.ohmv")
    log = of(open_logs([tmp_path / "a.ohmv", tmp_path / "c.ohmv"]))
    (loss,) = losses_of(log.meta)
    assert loss.from_s == pytest.approx(night(100)[19].time_s + 100.0)
    log.close()
