"""What is lost when: kill −9, power cuts, full disks, flipped bits, missing ends."""

import os
import shutil
import signal
import sqlite3
import struct
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from recordings.check import repair, verify
from recordings.cut import starts_of
from recordings.losses import Loss, loss_lines, losses_of
from recordings.reader import Recording
from recordings.writer import Recorder
from shared.errors import BadInput
from shared.events import Event
from shared.updates import Entry, Update
from shared.when import spelt, tenths
from tests.levels import first
from tests.recordings.logs import entry_of, finding, joined, night, record

ROOT = Path(__file__).parent.parent.parent

RECORD_UNTIL_KILLED = """
import sys
from pathlib import Path
from recordings.writer import Recorder
from tests.recordings.logs import entry_of, night

recorder = Recorder(Path(sys.argv[1]), {})
for index, update in enumerate(night(20_000)):
    recorder.entry(entry_of(update))
    recorder.updates([update])
    if index % 7 == 6 and recorder.flush():
        print(index + 1, flush=True)
"""


def contents(path: Path) -> tuple[list[Entry], list[Update], list[Event], list[str]]:
    """All that a recording holds; raises BadInput when any of it is damaged."""
    recording = Recording(path)
    try:
        return (
            list(recording.entries()),
            joined(recording.batches()),
            list(recording.event_changes()),
            [note.text for note in recording.notes],
        )
    finally:
        recording.close()


@pytest.mark.parametrize(
    "seed",
    [*first(1, range(4)), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(4, 200))],
)
def test_kill_9_loses_nothing_that_was_stored(tmp_path: Path, seed: int) -> None:
    """Whatever the moment, the file holds the log up to its last stored batch, without a gap."""
    rng = np.random.default_rng(seed)
    path = tmp_path / "a.ohmv"
    child = subprocess.Popen(
        [sys.executable, "-c", RECORD_UNTIL_KILLED, str(path)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    assert child.stdout is not None
    stored = 0
    for _ in range(int(rng.integers(1, 120))):
        stored = int(child.stdout.readline())
    os.kill(child.pid, signal.SIGKILL)
    stored = int(([str(stored), *child.stdout.read().split()])[-1])
    child.wait()
    child.stdout.close()
    log = night(20_000)
    entries, updates, _, _ = contents(path)
    assert updates == log[: len(updates)]
    assert entries == [entry_of(update) for update in log[: len(entries)]]
    assert stored <= len(updates) <= stored + 14
    assert len(entries) == len(updates) or abs(len(entries) - len(updates)) == 1
    report = verify(path)
    assert report.faults == []
    assert not report.is_closed


def test_a_power_cut_leaves_what_was_stored_before(tmp_path: Path) -> None:
    """A write-ahead log cut at any byte costs the batches beyond, never those before."""
    log = night(200)
    recorder = Recorder(tmp_path / "a.ohmv", {"title": "t"})
    sizes: list[tuple[int, int]] = []
    wal = tmp_path / "a.ohmv-wal"
    for start in range(0, 200, 20):
        recorder.updates(log[start : start + 20])
        assert recorder.flush()
        sizes.append((wal.stat().st_size, start + 20))
    rng = np.random.default_rng(1)
    whole = wal.read_bytes()
    for cut in [0, 31, 32, *rng.integers(0, len(whole), 40).tolist()]:
        copy = tmp_path / f"cut{cut}.ohmv"
        shutil.copy(tmp_path / "a.ohmv", copy)
        Path(f"{copy}-wal").write_bytes(whole[:cut])
        held = max((rows for size, rows in sizes if size <= cut), default=0)
        updates = contents(copy)[1]
        assert updates == log[: len(updates)]
        assert len(updates) == held
    recorder.close()


def same_or_reported(path: Path, truth: str) -> bool:
    """True when damage was reported; the contents must else be the truth."""
    try:
        found = verify(path)
    except BadInput:
        return True
    if found.faults:
        return True
    assert repr(contents(path)) == truth
    return False


@pytest.mark.parametrize(("flips", "least"), first(1, [(60, 10), (300, 50)]))
def test_any_flipped_bit_is_reported_or_harmless(tmp_path: Path, flips: int, least: int) -> None:
    """Either `verify` names damage or everything reads back as it was written."""
    path = tmp_path / "a.ohmv"
    record(path, night(120))
    truth = repr(contents(path))
    content = bytearray(path.read_bytes())
    rng = np.random.default_rng(2)
    reported = 0
    for place in rng.integers(0, 8 * len(content), flips).tolist():
        content[place // 8] ^= 1 << place % 8
        (tmp_path / "b.ohmv").write_bytes(content)
        reported += same_or_reported(tmp_path / "b.ohmv", truth)
        content[place // 8] ^= 1 << place % 8
    assert reported > least


MARKS = {
    "about": "SELECT value FROM about WHERE name = 'title'",
    "keys": "SELECT name FROM keys WHERE id = 1",
    "entry_blocks": "SELECT data FROM entry_blocks WHERE id = 3",
    "sample_blocks": "SELECT data FROM sample_blocks WHERE id = 3",
    "roll_ups": "SELECT mean FROM roll_ups WHERE id = 2",
    "event_changes": "SELECT data FROM event_changes WHERE id = 2",
    "notes": "SELECT text FROM notes WHERE id = 1",
    "anchors": "SELECT wall_s FROM anchors WHERE id = 1",
}


def flip(path: Path, table: str) -> None:
    """Flip one bit in a row of a table."""
    with sqlite3.connect(path) as connection:
        (value,) = connection.execute(MARKS[table]).fetchone()
    connection.close()
    if isinstance(value, str):
        value = value.encode()
    mark = struct.pack(">d", value) if isinstance(value, float) else value
    content = bytearray(path.read_bytes())
    place = content.rindex(mark)
    content[place + len(mark) // 2] ^= 0x04
    path.write_bytes(content)


@pytest.mark.parametrize("table", MARKS)
def test_a_flipped_bit_is_reported_in_its_row(tmp_path: Path, table: str) -> None:
    """The report names the table; all rows but one are whole, and repair saves those."""
    path = tmp_path / "a.ohmv"
    record(path, night(120))
    before = verify(path)
    assert before.is_whole
    assert before.is_closed
    truth = contents(path)
    flip(path, table)
    report = repair(path, tmp_path / "b.ohmv")
    assert table in {fault.table for fault in report.faults}
    assert report.whole[table] == before.whole[table] - 1
    saved = verify(tmp_path / "b.ohmv")
    # A lost key's samples keep their numbers under a name that says so.
    assert saved.faults == []
    assert saved.is_closed
    assert saved.whole["entry_blocks"] == report.whole["entry_blocks"]
    assert saved.whole["sample_blocks"] == report.whole["sample_blocks"]
    entries, updates, events, notes = contents(tmp_path / "b.ohmv")
    assert set(notes) <= set(truth[3])
    assert all(entry in truth[0] for entry in entries)
    if table == "sample_blocks":
        assert updates == truth[1][:40] + truth[1][60:]
    elif table != "keys":
        assert updates == truth[1]
    assert len(events) == len(truth[2]) - (table == "event_changes")


@pytest.mark.parametrize("table", ["entry_blocks", "sample_blocks", "keys", "notes"])
def test_reading_damage_names_the_block(tmp_path: Path, table: str) -> None:
    """Whoever reads it gets one line with file, block and what to do."""
    path = tmp_path / "a.ohmv"
    record(path, night(120))
    flip(path, table)
    with pytest.raises(BadInput, match=rf"a\.ohmv: damaged: {table} [13]: its CRC does not hold"):
        contents(path)


@pytest.mark.parametrize("cuts", [20, pytest.param(200, marks=pytest.mark.slow)])
def test_a_file_cut_anywhere_gives_a_clear_line_and_its_rest(tmp_path: Path, cuts: int) -> None:
    """Reading says that it is damaged; repair saves rows that are all true ones."""
    path = tmp_path / "a.ohmv"
    record(path, night(600))
    truth = contents(path)
    content = path.read_bytes()
    rng = np.random.default_rng(3)
    saved = 0
    for cut in [0, 15, 16, 100, 4096, *rng.integers(1, len(content) - 1, cuts).tolist()]:
        (tmp_path / "b.ohmv").write_bytes(content[:cut])
        with pytest.raises(BadInput) as caught:
            contents(tmp_path / "b.ohmv")
        assert "\n" not in str(caught.value)
        out = tmp_path / f"saved{cut}.ohmv"
        try:
            report = repair(tmp_path / "b.ohmv", out)
        except BadInput:
            continue
        assert report.faults
        assert verify(out).faults == []
        updates = contents(out)[1]
        assert all(update in truth[1] for update in updates)
        saved = max(saved, len(updates))
    assert saved > 100


def test_a_missing_block_is_reported(tmp_path: Path) -> None:
    """A row that somebody deleted leaves a gap in the ids."""
    path = tmp_path / "a.ohmv"
    record(path, night(120))
    with sqlite3.connect(path) as connection:
        connection.execute("DELETE FROM entry_blocks WHERE id = 3")
    connection.close()
    assert [str(fault) for fault in verify(path).faults] == ["entry_blocks: ids 3 to 3 are missing"]


def test_a_repaired_file_checks_clean_and_lists_what_was_lost(tmp_path: Path) -> None:
    """Its gap list has the ids and the times, also after a second repair of a second damage."""
    path = tmp_path / "a.ohmv"
    log = night(120)
    record(path, log)
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE sample_blocks SET data = x'00' WHERE id = 2")
        connection.execute("DELETE FROM sample_blocks WHERE id = 3")
    connection.close()
    first = tmp_path / "first.ohmv"
    lost = Loss("sample_blocks", 2, 3, log[19].time_s, log[60].time_s)
    assert repair(path, first).lost == [lost]
    assert verify(first).faults == []
    assert verify(first).lost == [lost]
    with sqlite3.connect(first) as connection:
        connection.execute("UPDATE sample_blocks SET data = x'00' WHERE id = 4")
        connection.execute("UPDATE notes SET text = 'another' WHERE id = 1")
    connection.close()
    assert [fault.table for fault in verify(first).faults] == ["sample_blocks", "notes"]
    second = tmp_path / "second.ohmv"
    repair(first, second)
    assert verify(second).faults == []
    assert verify(second).lost == [
        Loss("notes", 1, 1),
        Loss("sample_blocks", 2, 4, log[19].time_s, log[80].time_s),
    ]
    with sqlite3.connect(second) as connection:
        connection.execute("DELETE FROM sample_blocks WHERE id = 5")
    connection.close()
    found = [str(fault) for fault in verify(second).faults]
    assert found == ["sample_blocks: ids 2 to 5 are missing"]


def test_whoever_judges_a_repaired_file_is_told_of_its_gaps(tmp_path: Path) -> None:
    """A gap is a line; one too long to judge across begins the watch anew."""
    path = tmp_path / "a.ohmv"
    log = night(2000)
    record(path, log, every=200)
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE sample_blocks SET data = x'00' WHERE id = 4")
    connection.close()
    repair(path, tmp_path / "b.ohmv")
    meta = Recording(tmp_path / "b.ohmv").meta
    (line,) = loss_lines(meta)
    start_s, end_s = log[599].time_s, log[800].time_s
    assert line == (
        f"the recording was repaired: samples are missing, {tenths(start_s)} to {tenths(end_s)} "
        f"({spelt(end_s - start_s)})"
    )
    assert starts_of(meta)[1:] == (end_s,)
    assert loss_lines({"repaired": {"gaps": [3, {"table": "x"}, {"table": 1, "first": 2}]}}) == ()
    assert loss_lines({"repaired": [1]}) == ()
    hostile = {"table": "sample_blocks\x1b[2J", "first": 1, "last": 1}
    assert losses_of({"repaired": {"gaps": [hostile, {"table": [], "first": 1}]}}) == ()


def test_a_full_disk_is_waited_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What comes meanwhile is kept in memory, the trouble is said, and nothing is lost."""
    log = night(100)
    recorder = Recorder(tmp_path / "a.ohmv", {})
    recorder.updates(log[:30])
    assert recorder.flush()
    with monkeypatch.context() as patch:
        full = SimpleNamespace(total=1 << 30, used=1 << 30, free=0)
        patch.setattr("recordings.store.shutil.disk_usage", lambda _: full)
        recorder.updates(log[30:60])
        assert not recorder.flush()
        assert "only 0 MiB are free" in recorder.trouble
        recorder.event(finding(1))
        assert not recorder.flush()
    recorder.updates(log[60:])
    assert recorder.flush()
    assert recorder.trouble == ""
    recorder.close()
    _, updates, events, _ = contents(tmp_path / "a.ohmv")
    assert updates == log
    assert events == [finding(1)]
    assert verify(tmp_path / "a.ohmv").is_whole


def test_a_file_that_vanishes_is_begun_anew(tmp_path: Path) -> None:
    """The folder comes back, and a new file holds all that was not stored in the old one."""
    log = night(100)
    folder = tmp_path / "stick"
    folder.mkdir()
    recorder = Recorder(folder / "a.ohmv", {"title": "t"})
    recorder.updates(log[:30])
    assert recorder.flush()
    shutil.rmtree(folder)
    recorder.updates(log[30:60])
    assert not recorder.flush()
    assert recorder.trouble.startswith("cannot store: No such file")
    folder.mkdir()
    assert recorder.flush()
    recorder.updates(log[60:])
    recorder.close()
    assert recorder.trouble == ""
    assert contents(folder / "a.ohmv")[1] == log[30:]
    assert Recording(folder / "a.ohmv").meta["title"] == "t"
    assert verify(folder / "a.ohmv").is_whole


def test_another_file_in_its_place_is_left_alone(tmp_path: Path) -> None:
    """The recorder says so and does not write into it."""
    recorder = Recorder(tmp_path / "a.ohmv", {})
    for path in tmp_path.iterdir():
        path.unlink()
    (tmp_path / "a.ohmv").write_text("somebody's")
    recorder.updates(night(10))
    assert not recorder.flush()
    assert "another file has taken its place" in recorder.trouble
    assert (tmp_path / "a.ohmv").read_text() == "somebody's"
    (tmp_path / "a.ohmv").unlink()
    assert recorder.flush()
    recorder.close()


LIMITED = """
import resource, signal, sys
from pathlib import Path
from recordings.reader import Recording
from recordings.writer import Recorder
from tests.recordings.logs import joined, night

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
log = night(6000)
recorder = Recorder(Path(sys.argv[1]), {})
hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
resource.setrlimit(resource.RLIMIT_FSIZE, (150_000, hard))
stored = [recorder.updates(log[at : at + 20]) or recorder.flush() for at in range(0, 6000, 20)]
assert any(stored) and not stored[-1], stored
assert recorder.trouble.startswith("cannot store: "), recorder.trouble
resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
assert recorder.flush(), recorder.trouble
recorder.close()
assert joined(Recording(Path(sys.argv[1])).batches()) == log
"""


def test_a_disk_that_refuses_writes_loses_nothing_once_it_takes_them(tmp_path: Path) -> None:
    """The system itself refuses here (a limit on file size), in the midst of transactions."""
    path = tmp_path / "a.ohmv"
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(path)],
        check=False,
        capture_output=True,
        text=True,
        cwd=ROOT,
    )
    assert done.returncode == 0, done.stderr
    assert verify(path).is_whole
