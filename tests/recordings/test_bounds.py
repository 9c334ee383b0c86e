"""Sizes are bounded before anything is unpacked, and what our writers make is within."""

import sqlite3
import struct
from collections.abc import Callable
from pathlib import Path

import msgspec
import numpy as np
import pytest

from recordings.bounds import HELD_BYTES, MAX_CHANNELS, survey
from recordings.check import verify
from recordings.opening import open_recording
from recordings.packing import (
    MAX_KEYS,
    MAX_TEXTS,
    Damaged,
    unpack_entries,
    unpack_samples,
)
from recordings.plain_log import read_plain_log
from recordings.reader import Recording
from recordings.schema import crc_of
from recordings.writer import Recorder
from shared.errors import BadInput
from shared.updates import Update
from tests.bench.bench_strangers import RECORDINGS, crafted
from tests.levels import first
from tests.recordings.logs import night, record


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("many rows", "sample_blocks says 200000001 rows, of at most"),
        ("giant notes", "notes says 30941992 characters of notes, of at most"),
        ("channels", "keys 257: is of one more than 256 channels"),
        ("texts in a block", "holds .* bytes of text; at most"),
    ],
)
def test_a_crafted_recording_is_refused_in_one_line(name: str, says: str, tmp_path: Path) -> None:
    path = tmp_path / "a.ohmv"
    crafted(path, RECORDINGS[name]())

    def judged() -> None:
        recording = Recording(path)
        try:
            list(recording.batches())
        finally:
            recording.close()

    with pytest.raises(BadInput, match=says) as caught:
        judged()
    assert "\n" not in str(caught.value)


def test_a_block_says_how_much_it_holds_before_it_is_unpacked() -> None:
    """A header that lies costs nothing."""
    texts = msgspec.msgpack.encode([[1, 0, ""]] * (MAX_TEXTS + 1))
    for raw, says in (
        (struct.pack("<4I", 0, MAX_KEYS + 1, 0, 0), "holds 4097 keys"),
        (struct.pack("<4I", 0, 0, 1 << 31, 0), "bytes of text"),
        (struct.pack("<4I", 1, 0, len(texts), 0) + texts + b"\0" * 8, "more than 65536 texts"),
        (struct.pack("<4I", (1 << 32) - 1, 4096, 0, 0), "another length"),
    ):
        with pytest.raises(Damaged, match=says):
            unpack_samples(raw)
    with pytest.raises(Damaged, match="at most 65536"):
        unpack_entries(b"\xdd" + struct.pack(">I", 1 << 31), 1 << 31)


def test_long_texts_are_written_as_blocks_that_can_be_read(tmp_path: Path) -> None:
    """However much a log says in a row, its blocks stay within what a reader takes."""
    path = tmp_path / "a.ohmv"
    recorder = Recorder(path, {"title": "a"})
    keys = [f"host{n}.message" for n in range(80)]
    said = [Update(float(row), dict.fromkeys(keys, "x" * 200)) for row in range(200)]
    recorder.updates(said)
    recorder.close()
    assert recorder.trouble == ""
    recording = Recording(path)
    rows = sum(len(pairs) for batch in recording.batches() for pairs in batch.texts.values())
    recording.close()
    assert rows == 80 * 200
    assert verify(path).is_whole


@pytest.mark.parametrize(("held", "rows"), first(1, [(HELD_BYTES >> 3, 600), (HELD_BYTES, 5000)]))
def test_batches_hold_no_more_than_fits(
    held: int, rows: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("recordings.reader.HELD_BYTES", held)
    # However slow the machine is, no block is larger than what is held.
    monkeypatch.setattr("recordings.packer.BLOCK_ROWS", 128)
    path = tmp_path / "a.ohmv"
    recorder = Recorder(path, {"title": "a"})
    keys = [f"c{n}.temperature_c" for n in range(MAX_CHANNELS)]
    for row in range(rows):
        recorder.updates([Update(float(row), dict.fromkeys(keys, 1.0))])
    recorder.close()
    recording = Recording(path)
    sizes = [len(batch) for batch in recording.batches()]
    recording.close()
    assert sum(sizes) == rows
    assert 8 * max(sizes) * (MAX_CHANNELS + 1) <= held


def test_a_plain_log_is_bounded_by_its_columns_and_its_cells(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wide = tmp_path / "wide.csv"
    wide.write_text(
        ",".join(["time_s", *(f"c{n}.flags" for n in range(1000))]) + "\n0" + "," * 1000
    )
    with pytest.raises(BadInput, match=r"wide.csv:1: column 258 'c256.flags' is of one more"):
        read_plain_log(wide)
    log = tmp_path / "long.csv"
    log.write_text("time_s,a.code\n" + "".join(f"{n},{n}\n" for n in range(100)))
    monkeypatch.setattr("recordings.bounds.MAX_LOG_ROWS", 99)
    with pytest.raises(BadInput, match=r"long.csv:101: more than 99 rows"):
        list(read_plain_log(log).batches())


def test_no_time_is_beyond_all_clocks(tmp_path: Path) -> None:
    log = tmp_path / "a.csv"
    log.write_text("time_s,a.code\n0,1\n1e300,2\n")
    with pytest.raises(BadInput, match=r"a.csv:3: time_s: 1e300 is beyond all times"):
        list(read_plain_log(log).batches())


CELLS: dict[str, tuple[str, Callable[[list[object]], None], str]] = {
    "a time without end": ("anchors", lambda row: row.__setitem__(1, 1e300), "is no time"),
    "a count below 0": ("roll_ups", lambda row: row.__setitem__(6, -1), "count -1 is out of range"),
    "a count of 2^62": ("roll_ups", lambda row: row.__setitem__(6, 1 << 62), "is out of range"),
    "a blob for a text": ("keys", lambda row: row.__setitem__(1, b"x"), "its name is no text"),
    "a key of dots": ("keys", lambda row: row.__setitem__(1, "a." * 50_000), "is too long"),
    "a list of facts": ("notes", lambda row: row.__setitem__(4, "[]"), "facts are no JSON object"),
    "a long number": (
        "notes",
        lambda row: row.__setitem__(4, '{"a": ' + "9" * 5000 + "}"),
        "does not hold JSON",
    ),
    "deep JSON": (
        "about",
        lambda row: row.__setitem__(1, "[" * 60 + "]" * 60),
        "JSON that is too deep",
    ),
}


@pytest.mark.parametrize("name", CELLS)
def test_a_cell_that_no_writer_makes_is_named_by_check(name: str, tmp_path: Path) -> None:
    """Its sum holds; reading says the same in one line where it comes to it."""
    table, change, says = CELLS[name]
    path = tmp_path / "a.ohmv"
    record(path, night(120))
    connection = sqlite3.connect(path, isolation_level=None)
    row = list(connection.execute(f"SELECT * FROM {table} LIMIT 1").fetchone())
    connection.execute(f"DELETE FROM {table} WHERE rowid = (SELECT min(rowid) FROM {table})")
    change(row)
    row[-1] = crc_of(row[:-1])
    marks = ", ".join("?" for _ in row)
    connection.execute(f"INSERT OR REPLACE INTO {table} VALUES ({marks})", row)
    connection.close()
    assert any(fault.table == table and says in fault.why for fault in verify(path).faults)


def test_what_a_recorder_writes_is_far_within(tmp_path: Path) -> None:
    path = tmp_path / "a.ohmv"
    record(path, night(2000))
    survey(open_recording(path), path)
    recording = Recording(path)
    assert np.isfinite(recording.duration_s)
    recording.close()
