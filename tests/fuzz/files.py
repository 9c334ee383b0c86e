"""Files that no writer of ours makes: recordings, bundles, plain logs, frames, profiles.

`strange_file(folder, seed)` makes one by a grammar: a good file in which some parts are replaced,
each by what fits the form but not the meaning. The sums of rows are made to hold, so that what is
tried is what stands behind them.
"""

import io
import math
import random
import sqlite3
import struct
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from recordings.bundle import RECORDING
from recordings.packing import compress
from recordings.schema import TABLES, crc_of
from recordings.writer import Recorder
from shared.updates import Entry, EntryKind, Update
from tests.fuzz.inputs import PROFILE_TEXT
from tests.recordings.logs import entry_of, finding

INTS = [0, 1, -1, 2, 255, 1 << 31, 1 << 32, 1 << 53, 1 << 62, -(1 << 62), -(1 << 63), (1 << 63) - 1]
REALS = [0.0, -1.0, 1e300, -1e300, math.inf, -math.inf, 1e12, 1e13, 5e-324, 0.5, 1e308]
TEXTS = [
    "",
    "x",
    "é\u202e\x1b[31mred\x07",
    "a" * 5000,
    "." * 100_000,
    "nozzle.code",
    "9" * 5000,
    "null",
    "[]",
    "{}",
    "[" * 100_000,
    '{"a": ' * 200 + "1" + "}" * 200,
    '{"x": ' + "9" * 5000 + "}",
    '{"gaps": [{"table": "sample_blocks", "first": 1e400}]}',
    '{"gaps": [{"table": "sample_blocks", "first": 1, "last": 4611686018427387904, "from_s": 1}]}',
    '{"starts": [1e308, -1e308, 5]}',
    '{"starts": ["a", null]}',
    '{"nozzle": {"wires": -1}}',
    '{"nozzle": {"element": 7}}',
    '{"keys": [1, 1, 1]}',
    '{"until_s": 1e308, "channel": "nozzle", "event_kind": "spike"}',
    '{"until_s": "soon", "channel": 5}',
    '{"channel": "nozzle", "check": "wiggle-cable", "outcome": "no-break"}',
    '{"id": [], "part": "x"}',
    '"\\ud800"',
    "NaN",
    "-0",
    "1e5",
]
BLOBS = [b"", b"\0", b"x" * 100, compress(b""), compress(b"\0" * 16), compress(b"\0" * (17 << 20))]
FACTS = (
    *("title", "versions", "profile", "chains", "series", "cut", "repaired", "bundle", "carried"),
    *("columns", "seal", "seal_notes", "started_wall_s", "ended_wall_s", "run_id"),
)
KINDS = ("note", "answer", "trial", "shelve", "unshelve", "acknowledge", "x", "")
KEYS = ("nozzle.temperature_c", "nozzle.code", "bed.power", "nozzle.flags", "host.state")
WILD_KEYS = (
    *KEYS,
    "",
    ".",
    "a",
    "a.",
    ".b",
    "a." * 50_000 + "code",
    "x" * 300 + ".code",
    "é\x1b.code",
)

Row = list[Any]


class Strange(NamedTuple):
    """A file, and what it is: `recording`, `bundle`, `plain`, `frames` or `profile`."""

    kind: str
    path: Path


def strange_file(folder: Path, seed: int) -> Strange:
    """The file of a seed."""
    rng = random.Random(seed)
    kind = rng.choices(("recording", "bundle", "plain", "frames", "profile"), (60, 10, 15, 8, 7))[0]
    return Strange(kind, MAKERS[kind](folder, rng))


def base(folder: Path) -> Path:
    """A good small recording with something in each table; made once a folder."""
    path = folder / "base.ohmv"
    if path.exists():
        return path
    recorder = Recorder(path, {"title": "base", "versions": {"ohmvigil": "0"}, "chains": {}})
    for number in range(60):
        values: dict[str, float | str] = {"nozzle.temperature_c": 200.0 + number % 3 * 0.1}
        values |= {"nozzle.code": 29000.0 + number, "bed.power": 0.25}
        if number % 20 == 0:
            values |= {"nozzle.flags": "none" if number else "open", "host.state": "up"}
        update = Update(number * 0.5, values)
        recorder.entry(entry_of(update))
        recorder.updates([update])
        if number % 20 == 19:
            recorder.flush()
    recorder.entry(Entry(1100.0, EntryKind.TICK))
    recorder.event(finding(1))
    recorder.event(finding(1, count=3, end_s=14.0))
    recorder.note(3.25, "tightened", "trial", {"channel": "nozzle", "change": "tightened-terminal"})
    recorder.close()
    return path


# -- recordings --


def recording(folder: Path, rng: random.Random, name: str = "strange.ohmv") -> Path:
    path = folder / name
    path.write_bytes(base(folder).read_bytes())
    if rng.random() < 0.06:
        _spoil_bytes(path, rng)
        return path
    connection = _lax(path)
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        rng.choice(CHANGES)(connection, rng)
    _strict(connection)
    if rng.random() < 0.05:
        _spoil_bytes(path, rng)
    return path


def _lax(path: Path) -> sqlite3.Connection:
    """The recording without its NOT NULL, which only binds who writes."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA writable_schema = ON")
    connection.execute("CREATE TEMP TABLE kept AS SELECT name, sql FROM main.sqlite_schema")
    connection.execute("UPDATE main.sqlite_schema SET sql = replace(sql, ' NOT NULL', '')")
    connection.execute("PRAGMA writable_schema = RESET")
    return connection


def _strict(connection: sqlite3.Connection) -> None:
    connection.execute("PRAGMA writable_schema = ON")
    connection.execute(
        "UPDATE main.sqlite_schema AS s SET sql = "
        "(SELECT kept.sql FROM kept WHERE kept.name = s.name)"
    )
    connection.close()


def _rows(connection: sqlite3.Connection, table: str) -> list[Row]:
    found = connection.execute(f"SELECT rowid, * FROM {table}").fetchall()
    return [list(row) for row in found]


def _put(connection: sqlite3.Connection, table: str, row: Row) -> None:
    """Replace the row of this rowid, with a sum that holds."""
    rowid, *cells, _ = row
    try:
        crc = crc_of(cells)
    except (OverflowError, UnicodeError):
        crc = 0
    marks = ", ".join("?" * (len(cells) + 1))
    connection.execute(f"DELETE FROM {table} WHERE rowid = ?", (rowid,))
    try:
        connection.execute(f"INSERT OR REPLACE INTO {table} VALUES ({marks})", (*cells, crc))
    except (sqlite3.Error, OverflowError):
        return


def _wild(rng: random.Random) -> Any:
    return rng.choice(rng.choice(([None], INTS, REALS, TEXTS, BLOBS)))


def _some(connection: sqlite3.Connection, table: str, rng: random.Random) -> Row | None:
    rows = _rows(connection, table)
    return rng.choice(rows) if rows else None


def change_cell(connection: sqlite3.Connection, rng: random.Random) -> None:
    table = rng.choice(list(TABLES))
    row = _some(connection, table, rng)
    if row is not None:
        row[rng.randrange(1, len(row) - 1)] = _wild(rng)
        _put(connection, table, row)


def change_fact(connection: sqlite3.Connection, rng: random.Random) -> None:
    name = rng.choice(FACTS)
    said = rng.choice(TEXTS)
    if rng.random() < 0.3:
        said = msgspec.json.encode(rng.choice([*INTS, 0.5, {}, [], None, [{}], "x"])).decode()
    _put(connection, "about", [-1, name, said, 0])


def change_times(connection: sqlite3.Connection, rng: random.Random) -> None:
    """A sample block whose times, values, ids or texts no log has, and which says so itself."""
    row = _some(connection, "sample_blocks", rng)
    if row is None or type(row[7]) is not bytes:
        return
    try:
        raw = zlib.decompress(row[7])
        rows, keys, size, _ = struct.unpack_from("<4I", raw)
    except (zlib.error, struct.error):
        return
    at = 16 + 4 * keys
    ids = list(struct.unpack_from(f"<{keys}I", raw, 16))
    words = msgspec.msgpack.decode(raw[at : at + size]) if size else []
    planes = raw[at + size :]
    step = len(planes) // 8
    doubles = [
        struct.unpack("<d", bytes(planes[plane * step + n] for plane in range(8)))[0]
        for n in range(step)
    ]
    what = rng.randrange(8)
    if what == 0 and rows:
        doubles[rng.randrange(rows)] = rng.choice([*REALS, math.nan])
    elif what == 1:
        doubles[:rows] = reversed(doubles[:rows])
    elif what == 2 and rows * keys:
        doubles[rows + rng.randrange(rows * keys)] = rng.choice([*REALS, math.nan])
    elif what == 3 and keys:
        ids[rng.randrange(keys)] = rng.choice([*ids, 0, 99, (1 << 32) - 1])
    elif what == 4:
        text = [
            rng.choice([1, 4, 5, 77, -1, 1 << 62]),
            rng.choice([0, rows, -1, 5]),
            rng.choice(TEXTS),
        ]
        words.append(text)
    elif what == 5:
        rows, keys, doubles, words = 0, rng.choice((0, keys)), [], []
        ids = ids[:keys]
    elif what == 6:
        words = rng.choice([{}, [[1, 2]], [1], "x", [[1, 0, "a"]] * 70_000])
    else:
        doubles = [each * 1e290 for each in doubles]
    body = b"".join(struct.pack("<d", each) for each in doubles)
    body = b"".join(body[plane::8] for plane in range(8))
    packed = msgspec.msgpack.encode(words) if words else b""
    head = struct.pack("<4I", rows, keys, len(packed), 0)
    raw = head + struct.pack(f"<{len(ids)}I", *ids) + packed + body
    first, last = (doubles[0], doubles[rows - 1]) if rows else (0.0, 0.0)
    row[2:5] = [_no_nan(first), _no_nan(last), rows]
    row[6:8] = [len(raw), compress(raw)]
    _put(connection, "sample_blocks", row)


def _no_nan(value: float) -> float | None:
    return None if math.isnan(value) else value


def change_entries(connection: sqlite3.Connection, rng: random.Random) -> None:
    row = _some(connection, "entry_blocks", rng)
    if row is None:
        return
    entries: Any = [
        [rng.choice([*REALS, math.nan, 1000.0, 5]), rng.choice(["message", "tick", "x", 7]), b"x"]
        for _ in range(rng.choice((0, 1, 3)))
    ]
    entries = rng.choice([entries, entries, {}, [[]], 7, [None]])
    raw = msgspec.msgpack.encode(entries)
    if rng.random() < 0.2:
        raw = b"\xdd" + struct.pack(">I", rng.choice((1 << 31, 1 << 20))) + raw
    count = rng.choice([len(entries) if isinstance(entries, list) else 1, 1 << 31, 0])
    _put(
        connection, "entry_blocks", [row[0], row[1], 0.0, 1e300, count, len(raw), compress(raw), 0]
    )


def change_event(connection: sqlite3.Connection, rng: random.Random) -> None:
    """An event whose columns and data agree, on what no detector says."""
    row = _some(connection, "event_changes", rng)
    if row is None or type(row[14]) is not bytes:
        return
    try:
        event = msgspec.msgpack.decode(row[14])
    except msgspec.MsgspecError:
        return
    if not isinstance(event, dict):
        return
    columns = (
        *("id", "kind", "channel", "start_s", "end_s", "severity", "count", "value", "unit"),
        *("tied_to", "absorbed_by", "text"),
    )
    for _ in range(rng.choice((1, 2))):
        name = rng.choice([*columns, "facts", "gate"])
        event[name] = _wild(rng)
        if name == "facts":
            event[name] = {rng.choice(TEXTS): rng.choice([1e300, "x", math.nan, 1 << 62])}
        if name in columns and not isinstance(event[name], bytes):
            row[2 + columns.index(name)] = event[name]
    try:
        row[14] = msgspec.msgpack.encode(event)
    except (OverflowError, UnicodeError):
        return
    _put(connection, "event_changes", row)


def change_note(connection: sqlite3.Connection, rng: random.Random) -> None:
    time_s = rng.choice([*REALS, 5.0, None])
    note = [50, 50, time_s, rng.choice(KINDS), rng.choice(TEXTS), rng.choice(TEXTS), 0]
    _put(connection, "notes", note)


def change_key(connection: sqlite3.Connection, rng: random.Random) -> None:
    row = _some(connection, "keys", rng)
    if row is not None:
        row[2] = rng.choice(WILD_KEYS)
        _put(connection, "keys", row)


def many_keys(connection: sqlite3.Connection, rng: random.Random) -> None:
    quantity = rng.choice(("flags", "code", "odd"))
    for number in range(100, 100 + rng.choice((50, 300, 1200))):
        _put(connection, "keys", [number, number, f"c{number}.{quantity}", 0])


def lose_rows(connection: sqlite3.Connection, rng: random.Random) -> None:
    table = rng.choice(list(TABLES))
    row = _some(connection, table, rng)
    if row is not None:
        sign = rng.choice(("=", "=", ">=", "<="))
        connection.execute(f"DELETE FROM {table} WHERE rowid {sign} ?", (row[0],))


def move_row(connection: sqlite3.Connection, rng: random.Random) -> None:
    table = rng.choice([name for name in TABLES if name != "about"])
    row = _some(connection, table, rng)
    if row is not None:
        number = rng.choice([-5, 0, 1, 2, 3, 99, 1 << 40, (1 << 63) - 1])
        _put(connection, table, [number, number, *row[2:]])


CHANGES: tuple[Callable[[sqlite3.Connection, random.Random], None], ...] = (
    change_cell,
    change_cell,
    change_fact,
    change_fact,
    change_times,
    change_times,
    change_entries,
    change_event,
    change_note,
    change_key,
    many_keys,
    lose_rows,
    move_row,
)


def _spoil_bytes(path: Path, rng: random.Random) -> None:
    data = bytearray(path.read_bytes())
    if rng.random() < 0.4:
        del data[rng.randrange(len(data)) :]
    for _ in range(rng.choice((1, 10, 200))):
        if data:
            data[rng.randrange(len(data))] = rng.randrange(256)
    path.write_bytes(data)


# -- the others --


def bundle(folder: Path, rng: random.Random) -> Path:
    inside = recording(folder, rng, "inside.ohmv").read_bytes()
    path = folder / "strange.zip"
    how = rng.choice((zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED))
    with zipfile.ZipFile(path, "w", how) as archive:
        names = rng.choice([[RECORDING], [RECORDING], ["x"], [], ["../" + RECORDING, RECORDING]])
        for name in names:
            content = rng.choice([inside, inside, b"", b"\0" * (3 << 20), b"SQLite format 3\0"])
            archive.writestr(name, content)
        for number in range(rng.choice((0, 0, 3, 100))):
            archive.writestr(f"more-{number}", b"x")
    if rng.random() < 0.5:
        _spoil_bytes(path, rng)
        path.write_bytes(b"PK\x03\x04" + path.read_bytes()[4:])
    return path


CELLS = ["", "1", "-1", "1e300", "1e-300", "9" * 5000, "nan", "inf", "0x10", "1_0", "open;short"]
CELLS += ["none", '"a\nb"', "é", "\x1b[2J", "=1+1", "up", "halted", "209.75", "true", '""']


def plain(folder: Path, rng: random.Random) -> Path:
    path = folder / "strange.csv"
    keys = rng.sample([*KEYS, "bed.temperature_c", "motion.x_mm", "fan.speed", "a.odd"], 3)
    if rng.random() < 0.1:
        keys = [f"c{number}.flags" for number in range(rng.choice((100, 300, 3000)))]
    if rng.random() < 0.2:
        keys[0] = rng.choice(WILD_KEYS)
    out = io.StringIO()
    out.write(",".join([rng.choice(["time_s"] * 20 + ["time", "\ufefftime_s"]), *keys]) + "\n")
    time_s = rng.choice((0.0, 0.0, 1e9, -1e6, 1e15, 1e300))
    for _ in range(rng.choice((0, 1, 20, 100))):
        time_s += rng.choice((0.25, 0.25, 0.25, 1e-9, 1e6))
        cells = [rng.choice(CELLS) if rng.random() < 0.04 else "25" for _ in keys]
        cells = [repr(time_s) if rng.random() < 0.99 else rng.choice(CELLS), *cells]
        out.write(",".join(cells[: None if rng.random() < 0.995 else -1]) + "\n")
    path.write_text(out.getvalue(), encoding="utf-8")
    if rng.random() < 0.1:
        _spoil_bytes(path, rng)
    return path


def frames(folder: Path, rng: random.Random) -> Path:
    path = folder / "strange.ndjson"
    lines = []
    for number in range(rng.choice((1, 5, 30))):
        value: Any = rng.choice([25.0, 1e300, "x", None, [], {}, -1, True])
        own_s: Any = number if rng.random() < 0.95 else rng.choice([1e300, -1, "x", None])
        frame: Any = {"w": "a", "d": {"t": value}, "l": [{"n": "b", "t": value}]}
        lines.append(msgspec.json.encode({"own_s": own_s, "frame": frame}))
        if rng.random() < 0.05:
            lines.append(rng.choice(TEXTS).encode())
    path.write_bytes(b"\n".join(lines))
    return path


def profile(folder: Path, rng: random.Random) -> Path:
    path = folder / "strange.toml"
    lines = (PROFILE_TEXT + CHAIN).splitlines()
    for _ in range(rng.choice((1, 2, 5))):
        at = rng.randrange(len(lines))
        name = lines[at].partition("=")[0].strip()
        wild = [*map(str, INTS), "1e300", "nan", "inf", '""', "[]", "{}", "true", "9" * 5000]
        wild += ['"' + "x" * 5000 + '"', "[[[[1]]]]", '"\\u001b[31m"', '"("', "[" * 500, '"/"']
        lines[at] = rng.choice(
            (f"{name} = {rng.choice(wild)}", f"x{name}", "", f"[{name}]", lines[at] * 2)
        )
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


CHAIN = """
[channels.nozzle.chain]
wires = 2
reference_ohm = 430.0
bits = 15
lead_m = 1.2
lead_awg = 30
"""

MAKERS: dict[str, Callable[[Path, random.Random], Path]] = {
    "recording": recording,
    "bundle": bundle,
    "plain": plain,
    "frames": frames,
    "profile": profile,
}
