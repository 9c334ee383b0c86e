"""Recording and reading back: exact, live, and in any SQLite tool."""

import re
import sqlite3
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recordings.logs import open_log
from recordings.notes import add_note
from recordings.reader import Recording
from recordings.writer import Recorder
from shared.chain import Chain
from shared.clock import own_time
from shared.errors import BadInput
from shared.updates import Entry, EntryKind, Update, batch_of
from tests.levels import some
from tests.recordings.logs import entry_of, finding, joined, logs, night, record

entries = st.builds(Entry, st.floats(0.0, 1e9), st.sampled_from(EntryKind), st.binary(max_size=100))


def recorded(path: Path, log: list[Update], cuts: list[int]) -> Recording:
    """A recording of a log, stored in parts."""
    recorder = Recorder(path, {})
    for index, update in enumerate(log):
        recorder.updates([update])
        if index in cuts:
            recorder.flush()
    recorder.close()
    assert recorder.trouble == ""
    return Recording(path)


@settings(deadline=None, max_examples=some(60))
@given(log=logs(), cuts=st.lists(st.integers(0, 30), max_size=4), rows=st.integers(1, 40))
def test_batches_come_back_as_detectors_saw_them(
    tmp_path_factory: pytest.TempPathFactory, log: list[Update], cuts: list[int], rows: int
) -> None:
    """Numbers to the last bit, texts, equal times and empty updates, however stored and read."""
    recording = recorded(tmp_path_factory.mktemp("run") / "a.ohmv", log, cuts)
    assert joined(recording.batches(rows)) == log
    assert recording.first_s == log[0].time_s
    assert recording.last_s == log[-1].time_s
    recording.close()


@settings(deadline=None, max_examples=some(40))
@given(sent=st.lists(entries, max_size=40), cuts=st.lists(st.integers(0, 40), max_size=4))
def test_entries_come_back_byte_for_byte(
    tmp_path_factory: pytest.TempPathFactory, sent: list[Entry], cuts: list[int]
) -> None:
    """What the host sent is kept as it came, whatever it is, in its order."""
    path = tmp_path_factory.mktemp("run") / "a.ohmv"
    recorder = Recorder(path, {})
    for index, entry in enumerate(sent):
        recorder.entry(entry)
        if index in cuts:
            recorder.flush()
    recorder.close()
    recording = Recording(path)
    assert list(recording.entries()) == sent
    recording.close()


def test_large_messages_make_blocks_of_their_own(tmp_path: Path) -> None:
    """A block is closed at 64 KiB of payload, so none grows without bound."""
    sent = [Entry(float(n), EntryKind.MESSAGE, bytes([n]) * 50_000) for n in range(9)]
    recorder = Recorder(tmp_path / "a.ohmv", {})
    for entry in sent:
        recorder.entry(entry)
    recorder.close()
    assert list(Recording(tmp_path / "a.ohmv").entries()) == sent
    with sqlite3.connect(tmp_path / "a.ohmv") as connection:
        sizes = connection.execute("SELECT max(size), count(*) FROM entry_blocks").fetchone()
    assert sizes[0] < 130_000
    assert sizes[1] >= 4


def test_a_long_import_is_cut_into_blocks(tmp_path: Path) -> None:
    """Thousands of updates given at once are stored as blocks of bounded size, exactly."""
    log = night(5000)
    recording = recorded(tmp_path / "a.ohmv", log, [])
    assert joined(recording.batches()) == log
    whole = batch_of(log)
    readings = ("nozzle.temperature_c", "nozzle.code")
    assert recording.samples == sum(np.isfinite(whole.numbers[key]).sum() for key in readings)
    assert recording.channels == ("nozzle",)
    assert recording.duration_s == log[-1].time_s - log[0].time_s


def test_events_keep_their_life(tmp_path: Path) -> None:
    """Every change is there, NaN and facts included; the last is how the event stands."""
    record(tmp_path / "a.ohmv", night(10))
    recording = Recording(tmp_path / "a.ohmv")
    changes = list(recording.event_changes())
    assert changes[:2] == [finding(1), finding(1, count=3, end_s=14.0)]
    assert [event.id for event in recording.events()] == [1, 2]
    assert recording.events()[0].end_s == 14.0
    assert np.isnan(recording.events()[1].value)


def test_meta_and_chains_come_back(tmp_path: Path) -> None:
    """Chain facts are as they were given; the recorder adds when it began and ended."""
    chains = {"nozzle": Chain(wires=3, capacitance_nf=10.0)}
    Recorder(tmp_path / "a.ohmv", {"title": "attic", "chains": chains}).close()
    recording = Recording(tmp_path / "a.ohmv")
    assert recording.chains == chains
    assert recording.meta["title"] == "attic"
    assert recording.meta["ended_wall_s"] >= recording.meta["started_wall_s"]


def test_a_reader_follows_a_recording_that_is_written(tmp_path: Path) -> None:
    """It gives what is new and nothing twice, and sees events and notes as they come."""
    log = night(60)
    recorder = Recorder(tmp_path / "a.ohmv", {})
    recorder.updates(log[:20])
    assert recorder.flush()
    recording = Recording(tmp_path / "a.ohmv")
    assert joined(recording.fresh()) == log[:20]
    assert joined(recording.fresh()) == []
    recorder.updates(log[20:40])
    recorder.event(finding(1))
    recorder.note(2.0, "hm")
    assert recorder.flush()
    assert joined(recording.fresh(7)) == log[20:40]
    assert [event.id for event in recording.events()] == [1]
    assert [note.text for note in recording.notes] == ["hm"]
    recorder.updates([*log[40:], Update(99.0, {"late.code": 1.0})])
    recorder.close()
    assert joined(recording.fresh()) == [*log[40:], Update(99.0, {"late.code": 1.0})]
    assert "late.code" in recording.keys


def test_a_raised_event_is_stored_at_once(tmp_path: Path) -> None:
    """Raising an event stores what came before it; nobody has to ask."""
    log = night(10)
    recorder = Recorder(tmp_path / "a.ohmv", {})
    recorder.updates(log)
    recorder.event(finding(1))
    recording = Recording(tmp_path / "a.ohmv")
    for _ in range(2000):
        if recording.events():
            break
        with recorder._changed:
            recorder._changed.wait(0.01)
    assert recording.events() == [finding(1)]
    assert joined(recording.batches()) == log
    recorder.close()


@pytest.mark.parametrize("closed", [True, False])
def test_roll_ups_are_those_of_the_samples(tmp_path: Path, closed: bool) -> None:
    """Low, mean, high and count of each 10 s equal NumPy's, also while the last one is open."""
    log = night(400)
    recorder = Recorder(tmp_path / "a.ohmv", {})
    for start in range(0, 400, 17):
        recorder.updates(log[start : start + 17])
        recorder.flush()
    if closed:
        recorder.close()
    whole = batch_of(log)
    recording = Recording(tmp_path / "a.ohmv")
    for key, column in whole.numbers.items():
        present = ~np.isnan(column)
        starts = np.floor(whole.time_s[present] / 10.0) * 10.0
        parts = [column[present][starts == start] for start in np.unique(starts)]
        found = recording.rollup(key)
        assert found.start_s.tolist() == np.unique(starts).tolist()
        assert found.low.tolist() == [part.min() for part in parts]
        assert found.high.tolist() == [part.max() for part in parts]
        assert found.count.tolist() == [len(part) for part in parts]
        np.testing.assert_allclose(found.mean, [part.mean() for part in parts], rtol=1e-12)
    recorder.close()


def test_any_sqlite_tool_reads_roll_ups_and_events(tmp_path: Path) -> None:
    """The views of docs/recording.md need nothing of ours."""
    log = night(400)
    record(tmp_path / "a.ohmv", log)
    with sqlite3.connect(f"file:{tmp_path / 'a.ohmv'}?mode=ro", uri=True) as connection:
        rows = connection.execute(
            "SELECT start_s, low, high, count FROM roll_up WHERE key = 'nozzle.code'"
        ).fetchall()
        events = connection.execute("SELECT event_id, kind, count FROM events").fetchall()
    assert sum(row[3] for row in rows) == 400
    assert max(row[2] for row in rows) == max(update.values["nozzle.code"] for update in log)
    assert events == [(1, "contact-break", 3), (2, "contact-break", 1)]


def test_a_stretch_is_found_without_reading_the_rest(tmp_path: Path) -> None:
    """Every update of the stretch is there, and hardly any other."""
    log = night(2000)
    record(tmp_path / "a.ohmv", log)
    recording = Recording(tmp_path / "a.ohmv")
    start_s, end_s = log[700].time_s, log[900].time_s
    found = joined(recording.batches(start_s=start_s, end_s=end_s))
    assert [update for update in found if start_s <= update.time_s <= end_s] == log[700:901]
    assert len(found) <= 201 + 2 * 20 + 20


def test_a_closed_recording_is_one_file(tmp_path: Path) -> None:
    """No side file is left, so it can be copied and read from a read-only disk."""
    record(tmp_path / "a.ohmv", night(10))
    assert [path.name for path in tmp_path.iterdir()] == ["a.ohmv"]


def test_notes_can_be_added_while_and_after_recording(tmp_path: Path) -> None:
    """Another program's note stands beside the recorder's own, with its kind and facts."""
    path = tmp_path / "a.ohmv"
    recorder = Recorder(path, {})
    recorder.note(1.0, "mine")
    assert recorder.flush()
    add_note(path, 2.0, "yes", kind="answer", facts={"check": "wiggle-cable"})
    recorder.note(3.0, "mine again")
    recorder.close()
    add_note(path, 4.0, "\x1b[2Jlater")
    notes = Recording(path).notes
    assert [note.text for note in notes] == ["mine", "yes", "mine again", "[2Jlater"]
    assert notes[1].kind == "answer"
    assert notes[1].facts == {"check": "wiggle-cable"}


def test_anchors_tie_own_time_wall_clock_and_log_time(tmp_path: Path) -> None:
    """The three times of an anchor belong to one entry."""
    log = night(10)
    recorder = Recorder(tmp_path / "a.ohmv", {})
    for update in log:
        recorder.entry(entry_of(update))
        recorder.updates([update])
    recorder.close()
    anchors = Recording(tmp_path / "a.ohmv").anchors()
    assert len(anchors) == 1
    own_s, wall_s, time_s = anchors[0]
    assert time_s == log[-1].time_s
    assert own_s == entry_of(log[-1]).own_s
    assert wall_s > 0.0


def test_an_existing_file_is_never_touched(tmp_path: Path) -> None:
    """Nor is a recording begun where none can be."""
    path = tmp_path / "a.ohmv"
    path.write_text("precious")
    with pytest.raises(BadInput, match="there is a file of this name already"):
        Recorder(path, {})
    assert path.read_text() == "precious"
    with pytest.raises(BadInput, match="no such file"):
        Recorder(tmp_path / "none" / "a.ohmv", {})


def test_one_interface_opens_recordings_and_plain_logs(tmp_path: Path) -> None:
    """The content decides; both say the same of the same log."""
    log = night(100)
    record(tmp_path / "a.csv", log)
    (tmp_path / "b.ohmv").write_text(
        "time_s,nozzle.code,motion.x_mm,a.odd\n0,1,1,1\n10,2,,\n12.5,3,,\n"
    )
    recording, plain = open_log(tmp_path / "a.csv"), open_log(tmp_path / "b.ohmv")
    assert joined(recording.batches()) == log
    assert recording.notes[0].text == "tightened the terminal"
    assert (plain.samples, plain.duration_s) == (3, 12.5)
    assert plain.channels == ("nozzle",)
    assert plain.unknown == ("a.odd",)
    assert plain.chains == {}
    recording.close()
    plain.close()
    for content in (b"\x89PNG\r\n\x1a\n\0\0", b"hello", b""):
        (tmp_path / "c").write_bytes(content)
        with pytest.raises(BadInput):
            open_log(tmp_path / "c")


def altered(path: Path, statement: str, *values: object) -> Path:
    record(path, night(30))
    with sqlite3.connect(path) as connection:
        connection.execute(statement, values)
    connection.close()
    return path


def test_strangers_databases_are_refused(tmp_path: Path) -> None:
    """Another application's, a newer schema, a table in another shape: one line each."""
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE t (x)")
    connection.close()
    with pytest.raises(BadInput, match="is an SQLite database but no recording"):
        Recording(path)
    with pytest.raises(BadInput, match="schema version 99; this ohmvigil reads up to 1"):
        Recording(altered(tmp_path / "a", "PRAGMA user_version = 99"))
    with pytest.raises(BadInput, match="its table notes is not as"):
        Recording(altered(tmp_path / "b", "ALTER TABLE notes ADD COLUMN more"))


def test_a_block_that_would_unpack_to_too_much_is_refused(tmp_path: Path) -> None:
    """Whatever size it claims, memory is not given to it."""
    from recordings.packing import MAX_UNPACKED, Damaged, compress, decompress

    bomb = compress(bytes(MAX_UNPACKED + 1))
    for claimed in (100, MAX_UNPACKED + 1, -1):
        with pytest.raises(Damaged):
            decompress(bomb, claimed)
    assert decompress(compress(b"x" * 100), 100) == b"x" * 100


def test_wrong_chain_facts_are_bad_input(tmp_path: Path) -> None:
    """A recording from a stranger cannot bring impossible facts in."""
    Recorder(tmp_path / "a", {"chains": {"nozzle": {"bits": 500}}}).close()
    with pytest.raises(BadInput, match="bits is 500"):
        Recording(tmp_path / "a")
    Recorder(tmp_path / "b", {"chains": {"nozzle": {"colour": "red"}}}).close()
    with pytest.raises(BadInput, match="chain facts are wrong"):
        Recording(tmp_path / "b")


def test_the_documented_queries_run(tmp_path: Path) -> None:
    """Each SQL block of docs/recording.md is valid and finds something, but for rare spread."""
    record(tmp_path / "a.ohmv", night(400))
    add_note(tmp_path / "a.ohmv", 5.0, "shelved for 10 min", "shelve", {"wall_s": 1.8e9})
    page = (Path(__file__).parent.parent.parent / "docs" / "recording.md").read_text()
    queries = re.findall(r"```sql\n(.*?)```", page, re.DOTALL)
    assert len(queries) == 4
    with sqlite3.connect(f"file:{tmp_path / 'a.ohmv'}?mode=ro", uri=True) as connection:
        found = [connection.execute(query.replace("> 2", "> 0")).fetchall() for query in queries]
    connection.close()
    assert all(found)


def test_a_clock_that_is_set_is_anchored_and_log_time_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An hour's step shows as an anchor of its own; samples know nothing of it."""
    wall = time.time
    path = tmp_path / "a.ohmv"
    recorder = Recorder(path, {})
    for number, moved_s in enumerate((0.0, 3600.0, 3600.0, -7200.0)):
        monkeypatch.setattr("recordings.writer.time.time", lambda moved_s=moved_s: wall() + moved_s)
        recorder.entry(Entry(own_time(), EntryKind.TICK))
        recorder.updates([Update(float(number), {})])
        assert recorder.flush()
    monkeypatch.undo()
    recorder.close()
    assert recorder.trouble == ""
    with sqlite3.connect(path) as connection:
        anchors = connection.execute("SELECT why, wall_s - own_s, time_s FROM anchors").fetchall()
    connection.close()
    offset_s = anchors[0][1]
    assert [(why, round(moved - offset_s), time_s) for why, moved, time_s in anchors] == [
        ("start", 0, 0.0),
        ("step", 3600, 1.0),
        ("step", -7200, 3.0),
    ]
