"""A new file each day or at a size: nothing lost or doubled, every file opens alone."""

import threading
import time
from collections.abc import Iterator, Sequence
from itertools import count
from pathlib import Path

import pytest

from recordings.check import verify
from recordings.reader import Recording
from recordings.rolling import RollingRecorder
from shared.chain import Chain
from shared.errors import BadInput
from shared.events import Event
from shared.updates import Entry, EntryKind, Update
from tests.recordings.logs import entry_of, finding, joined, night


def names(folder: Path) -> Iterator[Path]:
    return (folder / f"night-{number}.ohmv" for number in count(1))


def settle(recorder: RollingRecorder) -> None:
    """Wait for a file that is being begun."""
    thread = recorder._opening
    if thread is not None:
        thread.join()


def record_days(
    recorder: RollingRecorder, log: Sequence[Update], events: dict[int, Event] | None = None
) -> list[Path]:
    """Record a log with its events by index; the files, in order."""
    paths = [recorder.path]
    for index, update in enumerate(log):
        recorder.entry(entry_of(update))
        recorder.updates([update])
        if events and index in events:
            recorder.event(events[index])
        if index % 40 == 39:
            recorder.flush()
        settle(recorder)
        if recorder.path != paths[-1]:
            paths.append(recorder.path)
    recorder.close()
    assert recorder.trouble == ""
    return paths


def read(path: Path) -> tuple[list[Entry], list[Update], list[Event]]:
    recording = Recording(path)
    try:
        return list(recording.entries()), joined(recording.batches()), recording.events()
    finally:
        recording.close()


@pytest.mark.parametrize(("age_s", "size"), [(60.0, 1 << 40), (1e9, 90_000)])
def test_no_entry_is_lost_or_doubled_at_a_seam(tmp_path: Path, age_s: float, size: int) -> None:
    """By age and by size: files joined are the log, each whole and closed."""
    log = night(1500)
    recorder = RollingRecorder(names(tmp_path), {"title": "t"}, age_s, size)
    paths = record_days(recorder, log)
    assert len(paths) >= 3
    assert sorted(paths) == sorted(tmp_path.iterdir())
    entries: list[Entry] = []
    updates: list[Update] = []
    for path in paths:
        report = verify(path)
        assert report.is_whole
        assert report.is_closed
        some, more, _ = read(path)
        entries += some
        updates += more
    assert entries == [entry_of(update) for update in log]
    assert [update.time_s for update in updates] == [update.time_s for update in log]
    for ours, truth in zip(updates, log, strict=True):
        assert truth.values.items() <= ours.values.items()


def test_each_file_opens_alone(tmp_path: Path) -> None:
    """The first update of a later file holds every key's last value; facts are in each."""
    log = night(800)
    meta = {"title": "garage", "chains": {"nozzle": Chain(wires=3)}, "profile": {"title": "g"}}
    paths = record_days(RollingRecorder(names(tmp_path), meta, 60.0), log)
    held: dict[str, object] = {}
    rows = iter(log)
    for number, path in enumerate(paths, 1):
        _, updates, _ = read(path)
        if number > 1:
            assert updates[0].values == held | dict(log[_index(log, updates[0])].values)
            assert set(updates[0].values) >= {"nozzle.temperature_c", "bed.power", "nozzle.flags"}
        for update, truth in zip(updates, rows, strict=False):
            assert update.time_s == truth.time_s
            held |= truth.values
            if update is updates[-1]:
                break
        recording = Recording(path)
        assert recording.meta["title"] == "garage"
        assert recording.meta["profile"] == {"title": "g"}
        assert recording.chains == {"nozzle": Chain(wires=3)}
        assert recording.meta["series"]["part"] == number
        assert recording.meta["series"].get("after") == (
            paths[number - 2].name if number > 1 else None
        )
        recording.close()


def _index(log: Sequence[Update], update: Update) -> int:
    return next(index for index, item in enumerate(log) if item.time_s == update.time_s)


def test_a_message_of_the_past_is_not_carried_over(tmp_path: Path) -> None:
    """What a host said once does not seem to be said again."""
    log = night(600)
    log[3] = Update(log[3].time_s, {"host.message": "hello", "nozzle.flags": "none"})
    paths = record_days(RollingRecorder(names(tmp_path), {}, 60.0), log)
    _, updates, _ = read(paths[1])
    assert "host.message" not in updates[0].values
    assert "nozzle.flags" in updates[0].values


def test_an_event_that_goes_on_is_in_the_new_file_too(tmp_path: Path) -> None:
    """One that has ended is in its own file only; the end is recorded where it happens."""
    log = night(900)
    going_on = finding(2, start_s=60.0)
    events = {
        100: finding(1, end_s=20.0),
        200: going_on,
        880: finding(2, start_s=60.0, end_s=212.0, count=9),
    }
    paths = record_days(RollingRecorder(names(tmp_path), {}, 100.0), log, events)
    assert len(paths) >= 2
    assert [event.id for event in read(paths[0])[2]] == [1, 2]
    assert read(paths[1])[2][0].start_s == 60.0
    last = read(paths[-1])[2]
    assert [(event.id, event.count) for event in last] == [(2, 9)]


def test_what_is_still_shelved_is_in_the_new_file_too(tmp_path: Path) -> None:
    """Not what was taken back, is over, or was acknowledged and has ended."""
    log = night(600)
    recorder = RollingRecorder(names(tmp_path), {}, 60.0)
    first = log[0].time_s

    def deed(act: str, kind: str, until_s: float | None = None) -> None:
        facts = {"channel": "nozzle", "event_kind": kind, "start_s": first, "until_s": until_s}
        recorder.note(first, f"{act} {kind}", act, facts)

    deed("shelve", "spike", first + 3600.0)
    deed("shelve", "step", first + 30.0)
    deed("shelve", "frozen", first + 3600.0)
    deed("unshelve", "frozen")
    deed("acknowledge", "drift")
    recorder.note(first, "a plain note")
    paths = record_days(recorder, log)
    assert len(paths) >= 2
    for path, texts in ((paths[0], 6), (paths[1], 1)):
        recording = Recording(path)
        assert len(recording.notes) == texts
        recording.close()
    recording = Recording(paths[1])
    assert [note.text for note in recording.notes] == ["shelve spike"]
    assert recording.notes[0].time_s == first
    recording.close()


def test_a_file_ends_at_a_quiet_moment_if_one_comes_soon(tmp_path: Path) -> None:
    """While an event is going on the seam waits, a tenth of the file's age at most."""
    log = night(500)
    start = next(index for index, update in enumerate(log) if update.time_s > 99.0)
    end = next(index for index, update in enumerate(log) if update.time_s > 104.0)
    events = {start: finding(1), end: finding(1, end_s=104.0)}
    (tmp_path / "a").mkdir()
    paths = record_days(RollingRecorder(names(tmp_path / "a"), {}, 100.0), log, events)
    assert read(paths[1])[1][0].time_s == pytest.approx(104.0, abs=1.5)
    assert read(paths[1])[2] == []
    (tmp_path / "b").mkdir()
    paths = record_days(RollingRecorder(names(tmp_path / "b"), {}, 100.0), log, {start: finding(1)})
    assert read(paths[1])[1][0].time_s == pytest.approx(110.0, abs=1.5)


def test_a_file_never_begins_with_silence(tmp_path: Path) -> None:
    """Ticks do not turn the page: the next file begins when the host speaks again."""
    recorder = RollingRecorder(names(tmp_path), {}, 10.0)
    for second in range(100):
        recorder.entry(Entry(1000.0 + second, EntryKind.TICK))
        settle(recorder)
    assert recorder.path.name == "night-1.ohmv"
    recorder.entry(Entry(1101.0, EntryKind.MESSAGE, b"{}"))
    assert recorder.path.name == "night-2.ohmv"
    recorder.close()
    assert [len(read(path)[0]) for path in sorted(tmp_path.iterdir())] == [100, 1]


def test_a_file_that_cannot_be_begun_leaves_the_old_one_going_on(tmp_path: Path) -> None:
    """The trouble is said; once a file can be made, it is."""
    taken = tmp_path / "night-2.ohmv"
    taken.write_text("somebody's")
    log = night(1200)
    recorder = RollingRecorder(names(tmp_path), {}, 60.0)
    paths = [recorder.path]
    troubles = set()
    for update in log:
        recorder.entry(entry_of(update))
        recorder.updates([update])
        settle(recorder)
        troubles.add(recorder.trouble)
        if recorder.path != paths[-1]:
            paths.append(recorder.path)
    recorder.close()
    assert any("night-2.ohmv: there is a file of this name" in words for words in troubles)
    assert recorder.trouble == ""
    assert [path.name for path in paths][:2] == ["night-1.ohmv", "night-3.ohmv"]
    assert sum(len(read(path)[0]) for path in paths) == len(log)
    assert taken.read_text() == "somebody's"


def test_the_first_file_must_be_makeable(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no such file"):
        RollingRecorder(names(tmp_path / "missing"), {})


def test_house_is_kept_with_the_files_in_use_and_a_fault_is_said(tmp_path: Path) -> None:
    """Called at the start and for each new file; what it raises never ends the recording."""
    seen: list[list[str]] = []

    def keep_house(used: Sequence[Path]) -> str:
        seen.append([path.name for path in used])
        if len(seen) > 1:
            raise RuntimeError("no")
        return ""

    recorder = RollingRecorder(names(tmp_path), {}, 60.0, keep_house=keep_house)
    for update in night(300):
        recorder.entry(entry_of(update))
        settle(recorder)
    deadline = time.monotonic() + 30.0
    while len(seen) < 2 and time.monotonic() < deadline:
        recorder.entry(Entry(3000.0 + len(seen), EntryKind.TICK))
        threading.Event().wait(0.01)
    recorder.close()
    assert seen[0] == ["night-1.ohmv"]
    assert "night-2.ohmv" in seen[1]
    assert recorder.trouble == "old recordings: RuntimeError: no"
