"""The plain log: exact round trips, and one clear line for everything that is wrong."""

import zipfile
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from detectors.engine.watch import Watch
from recordings.plain_log import read_plain_log
from recordings.plain_writer import number_text, time_text, write_plain_log
from shared.errors import BadInput
from shared.updates import Update, updates_of
from shared.words import Kind
from tests.recordings.logs import finite, grouped, joined, logs

GOOD = "time_s,nozzle.temperature_c,nozzle.flags\n"


def written(path: Path, content: str | bytes) -> Path:
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def read(path: Path, rows: int = 4096) -> list[Update]:
    return joined(read_plain_log(path, rows).batches())


@settings(deadline=None)
@given(log=logs(), cuts=st.lists(st.integers(0, 30)), rows=st.integers(1, 8))
def test_what_is_written_reads_back_to_the_last_bit(
    tmp_path_factory: pytest.TempPathFactory, log: list[Update], cuts: list[int], rows: int
) -> None:
    """Numbers, texts, equal times and empty updates come back as they were, however grouped."""
    path = tmp_path_factory.mktemp("log") / "a.csv"
    if not any(update.values for update in log):
        with pytest.raises(BadInput):
            write_plain_log(path, grouped(log, cuts))
        return
    write_plain_log(path, grouped(log, cuts))
    assert read(path, rows) == log


@given(finite)
def test_a_number_is_written_so_that_it_reads_back(value: float) -> None:
    """The text gives the same double, sign of zero included."""
    again = float(number_text(value))
    assert np.float64(again).tobytes() == np.float64(value).tobytes()


@given(st.floats(-1e9, 1e9), st.integers(1, 1000))
def test_a_repeated_time_increases_as_text(time_s: float, repeats: int) -> None:
    """Further decimals make the text greater and leave the double as it is."""
    assert float(time_text(time_s, repeats)) == time_s
    assert Decimal(time_text(time_s, repeats)) > Decimal(time_text(time_s, repeats - 1))


def test_the_file_is_rfc_4180(tmp_path: Path) -> None:
    """Lines end in CRLF, and cells with commas or quotes are quoted (RFC 4180, section 2)."""
    update = Update(1.5, {"host.message": 'said "no", twice', "nozzle.code": 29268.0})
    write_plain_log(tmp_path / "a.csv", grouped([update], []))
    assert (tmp_path / "a.csv").read_bytes() == (
        b'time_s,nozzle.code,host.message\r\n1.5,29268,"said ""no"", twice"\r\n'
    )


def test_an_empty_cell_is_not_in_the_update(tmp_path: Path) -> None:
    """A host that sends only changes leaves cells empty."""
    path = written(tmp_path / "a.csv", GOOD + "0,200,none\n1,,open\n2,201,\n")
    assert read(path) == [
        Update(0.0, {"nozzle.temperature_c": 200.0, "nozzle.flags": "none"}),
        Update(1.0, {"nozzle.flags": "open"}),
        Update(2.0, {"nozzle.temperature_c": 201.0}),
    ]


@pytest.mark.parametrize("rows", [1, 2, 3, 100])
def test_a_row_of_empty_cells_is_an_update_in_which_the_last_values_hold(
    tmp_path: Path, rows: int
) -> None:
    """It restates what says least; before any value, and while the host is gone, it is none."""
    header = "time_s,bed.temperature_c,bed.flags,bed.power,host.state,controller.uptime_s\n"
    lines = "0,,,,,\n1,20,,,up,5\n2,,,,,\n3,,none,,,\n4,,,,,\n5,,,0.5,,\n6,,,,,\n7,,,,gone,\n"
    path = written(tmp_path / "a.csv", header + lines + "8,,,,,\n9,,,,up,\n10,,,,,\n")
    said = {int(update.time_s): update.values for update in read(path, rows)}
    assert said[0] == {}
    assert said[2] == {"bed.temperature_c": 20.0}
    assert said[4] == {"bed.flags": "none"}
    assert said[6] == said[10] == {"bed.power": 0.5}
    assert said[7] == {"host.state": "gone"}
    assert said[8] == {}


@pytest.mark.parametrize("words", ["", "none"])
def test_an_idle_host_that_sends_only_changes_is_not_silent(tmp_path: Path, words: str) -> None:
    """Coarse readings of a machine at rest do not change for minutes; its rows come all the same.

    Without rows for as long it is silent."""
    rows = [
        f"{second},{20 + second // 50 % 2 if second % 50 == 0 else ''}," for second in range(900)
    ]
    rows[0] += words
    told = written(tmp_path / "a.csv", GOOD + "\n".join(rows) + "\n")
    short = written(tmp_path / "b.csv", GOOD + "\n".join(rows[:400] + rows[440:]) + "\n")
    assert [found(path) for path in (told, short)] == [[], [Kind.STALE]]


def found(path: Path) -> list[Kind]:
    watch = Watch({})
    for batch in read_plain_log(path).batches():
        watch.feed(batch)
    watch.finish()
    return [event.kind for event in watch.events]


def test_passed_time_is_marked_in_an_export_and_is_no_column_of_the_log(tmp_path: Path) -> None:
    """What was no update in the recording is none when it is read back."""
    log = [Update(0.0, {"bed.power": 0.5}), Update(1.0, {}), Update(2.0, {"bed.power": 0.25})]
    path = tmp_path / "a.csv"
    write_plain_log(path, grouped(log, []))
    assert path.read_text().split() == [
        "time_s,bed.power,host.silent",
        "0,0.5,",
        "1,,yes",
        "2,0.25,",
    ]
    assert read(path) == log
    assert read_plain_log(path).keys == ("bed.power",)


def test_unknown_quantities_are_kept_as_text(tmp_path: Path) -> None:
    """They are listed, and nobody takes them for numbers."""
    path = written(tmp_path / "a.csv", "time_s,room.humidity,bed.power\n0,41,0.5\n")
    log = read_plain_log(path)
    assert log.unknown == ("room.humidity",)
    assert log.channels == ("room", "bed")
    assert read(path) == [Update(0.0, {"room.humidity": "41", "bed.power": 0.5})]


def test_text_is_cleaned(tmp_path: Path) -> None:
    """Escape sequences of a stranger's log do not reach a terminal."""
    path = written(tmp_path / "a.csv", "time_s,host.message\n0,\x1b]0;x\x07 \u202ehot\n")
    assert read(path) == [Update(0.0, {"host.message": "]0;x hot"})]


def test_byte_order_mark_blank_lines_and_lone_carriage_returns_pass(tmp_path: Path) -> None:
    """What spreadsheets add is harmless."""
    path = written(tmp_path / "a.csv", "\ufefftime_s,nozzle.code\r0,1\r\r1,2\r")
    assert [update.time_s for update in read(path)] == [0.0, 1.0]


def test_batches_have_the_rows_that_were_asked_for(tmp_path: Path) -> None:
    """Memory holds a block of rows, not the file."""
    path = written(tmp_path / "a.csv", GOOD + "".join(f"{n},1,\n" for n in range(10)))
    assert [len(batch) for batch in read_plain_log(path, 4).batches()] == [4, 4, 2]


ROW_FAULTS = {
    "no number": ("0,1,\n1,warm,\n", ":3: nozzle.temperature_c: 'warm' is no number"),
    "decimal comma": ('0,"1,5",\n', ":2: nozzle.temperature_c: '1,5' is no number"),
    "underscore": ("0,1_000,\n", ":2: nozzle.temperature_c: '1_000' is no number"),
    "other digits": ("0,١,\n", ":2: nozzle.temperature_c: '١' is no number"),
    "nan": ("0,nan,\n", ":2: nozzle.temperature_c: 'nan' is no number"),
    "infinity": ("0,1,\n1,-inf,\n", ":3: nozzle.temperature_c: '-inf' is no number"),
    "too big": ("0,1e999,\n", ":2: nozzle.temperature_c: '1e999' is no number"),
    "time nan": ("nan,1,\n", ":2: time_s: 'nan' is no number"),
    "no time": ("0,1,\n,2,\n", ":3: time_s: empty"),
    "time falls": ("5,1,\n4,2,\n", ":3: time_s: 4 is not after 5"),
    "time repeats": ("5,1,\n5.0,2,\n", ":3: time_s: 5.0 is not after 5"),
    "too few cells": ("0,1,\n1,2\n", ":3: after nozzle.temperature_c: 2 cells"),
    "too many cells": ("0,1,,\n", ":2: after nozzle.flags: 4 cells"),
    "after a blank line": ("0,1,\n\nx,2,\n", ":4: time_s: 'x' is no number"),
    "after a cell of two lines": ('0,1,"a\nb"\nx,2,\n', ":4: time_s: 'x' is no number"),
    "open quote": ('0,1,"a\n1,2,\n', "quoting cannot be read"),
    "NUL": ("0,1,\n1,\0,\n", ":3: a NUL byte"),
    "no row": ("", "no row below the header"),
}


@pytest.mark.parametrize("rows", [1, 2, 4096])
@pytest.mark.parametrize("fault", ROW_FAULTS)
def test_a_fault_in_a_row_names_file_line_and_column(tmp_path: Path, fault: str, rows: int) -> None:
    """At whatever place of a block it stands."""
    content, said = ROW_FAULTS[fault]
    path = written(tmp_path / "a.csv", GOOD + content)
    with pytest.raises(BadInput) as caught:
        read(path, rows)
    assert str(caught.value).startswith(str(path))
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


HEADER_FAULTS = {
    "no header": (b"0,200\n1,201\n", ":1: no header"),
    "other first column": (b"time,nozzle.code\n", ":1: the first column is 'time', not 'time_s'"),
    "a text": (b"Dear all,\nthe nozzle is cold.\n", ":1: the first column is 'Dear all'"),
    "semicolons": (b"time_s;nozzle.code\n0;1\n", ":1: cells are separated by semicolons"),
    "tabs": (b"time_s\tnozzle.code\n", ":1: cells are separated by tabs"),
    "no column": (b"time_s\n0\n", ":1: no column besides time_s"),
    "no quantity": (b"time_s,nozzle\n", ":1: column 2 'nozzle' is no CHANNEL.QUANTITY"),
    "no channel": (b"time_s,.code\n", ":1: column 2 '.code' is no CHANNEL.QUANTITY"),
    "control character": (b"time_s,a\x7f.code\n", ":1: column 2 'a.code' is no CHANNEL.QUANTITY"),
    "empty name": (b"time_s,a.code,\n", ":1: column 3 '' is no CHANNEL.QUANTITY"),
    "twice": (b"time_s,a.code,a.code\n", ":1: column 3 'a.code' is there already as column 2"),
    "empty file": (b"", ": the file is empty"),
    "binary": (bytes(range(256)), ": is a binary file"),
    "UTF-16": ("time_s,a.code\n".encode("utf-16"), ": is not UTF-8 but UTF-16"),
    "Latin-1": ("time_s,Düse.code\n".encode("latin-1"), ":1: byte 9 (0xfc) is not UTF-8"),
    "endless line": (b"x" * (2 << 20), ":1: a line of more than"),
}


@pytest.mark.parametrize("fault", HEADER_FAULTS)
def test_what_is_no_plain_log_is_refused_at_once(tmp_path: Path, fault: str) -> None:
    """Opening says so, before any row is read."""
    content, said = HEADER_FAULTS[fault]
    path = written(tmp_path / "a.csv", content)
    with pytest.raises(BadInput) as caught:
        read_plain_log(path)
    assert str(caught.value).startswith(str(path) + said)


def test_a_byte_that_is_not_utf_8_is_found_far_into_the_file(tmp_path: Path) -> None:
    """The line is named though the decoder reads in blocks."""
    lines = "".join(f"{n},1,none\n" for n in range(3000))
    path = written(tmp_path / "a.csv", (GOOD + lines).encode() + b"3000,1,\xff\n")
    with pytest.raises(BadInput, match=r"a\.csv:3002: byte 8 \(0xff\) is not UTF-8"):
        read(path)


def test_a_zip_named_csv_is_called_a_zip(tmp_path: Path) -> None:
    """The content decides, not the name."""
    with zipfile.ZipFile(tmp_path / "a.csv", "w") as archive:
        archive.writestr("a.csv", GOOD)
    with pytest.raises(BadInput, match="is a zip archive"):
        read_plain_log(tmp_path / "a.csv")


def test_missing_files_and_folders_are_named(tmp_path: Path) -> None:
    """So are names that no file can have."""
    with pytest.raises(BadInput, match="no such file"):
        read_plain_log(tmp_path / "none.csv")
    with pytest.raises(BadInput, match="is a folder"):
        read_plain_log(tmp_path)
    with pytest.raises(BadInput, match="is no file name"):
        read_plain_log("a\0b")
    with pytest.raises(BadInput, match="is no regular file"):
        read_plain_log("/dev/zero")


def test_a_folder_that_cannot_be_written_is_bad_input(tmp_path: Path) -> None:
    """Exporting into nowhere is one line."""
    log = grouped([Update(0.0, {"a.code": 1.0})], [])
    with pytest.raises(BadInput, match="no such file"):
        write_plain_log(tmp_path / "none" / "a.csv", log)


@settings(deadline=None)
@given(st.binary(max_size=300))
def test_no_bytes_whatever_make_a_traceback(
    tmp_path_factory: pytest.TempPathFactory, content: bytes
) -> None:
    """Either updates in order of time, or bad input."""
    path = written(tmp_path_factory.mktemp("any") / "a.csv", b"time_s,a.code,a.b\n" + content)
    try:
        batches = list(read_plain_log(path).batches())
    except BadInput:
        return
    times = [update.time_s for batch in batches for update in updates_of(batch)]
    assert times == sorted(times)
    assert np.isfinite(times).all()
