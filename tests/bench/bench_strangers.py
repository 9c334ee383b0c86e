"""Files that were crafted to take all memory or time: what each command takes for them.

    python -m tests.bench.bench_strangers [--only NAME]

Prints for each file its size, and for each command, in a process of its own, the exit code,
processor seconds and peak memory; then how many were beyond 10 s or 500 MB.
"""

import argparse
import os
import sqlite3
import struct
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from recordings.packing import compress, pack_entries, pack_samples
from recordings.schema import crc_of, insert_statement
from recordings.seal import SEALED
from recordings.writer import Recorder
from shared.updates import Batch, Entry, EntryKind, Update
from tests.recordings.logs import finding

COMMAND_S, MEMORY_MB = 10.0, 500.0
ROOT = Path(__file__).parents[2]
Rows = Iterator[tuple[str, tuple[Any, ...]]]


def crafted(path: Path, rows: Rows) -> None:
    """A recording with these rows more, whose sums hold."""
    recorder = Recorder(path, {"title": "crafted"})
    recorder.updates([Update(0.0, {"nozzle.temperature_c": 25.0})])
    recorder.close()
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")
    connection.execute("BEGIN")
    connection.execute("DELETE FROM about WHERE name IN (?, ?)", SEALED)
    for table, cells in rows:
        connection.execute(insert_statement(table), (*cells, crc_of(cells)))
    connection.execute("COMMIT")
    connection.close()


def block(number: int, batch: Batch) -> tuple[str, tuple[Any, ...]]:
    """A sample block; keys are numbered as they stand, from 1."""
    ids = {key: at for at, key in enumerate([*batch.numbers, *batch.texts], 1)}
    raw = pack_samples(batch, ids.__getitem__)
    first, last = float(batch.time_s[0]), float(batch.time_s[-1])
    return "sample_blocks", (number, first, last, len(batch), 0, len(raw), compress(raw))


def many_rows() -> Rows:
    """Two million rows of nothing in a block, a hundred times."""
    table, (_, *cells) = block(2, Batch(np.full(2_000_000, 2.0), {}))
    for number in range(2, 102):
        yield table, (number, *cells)


def wide_blocks() -> Rows:
    """Four thousand keys in each of many blocks: as many unpacked bytes as may be."""
    keys = [f"c{n % 200}.q{n}" for n in range(4000)]
    for number, key in enumerate(keys, 2):
        yield "keys", (number, key)
    for number in range(2, 100):
        batch = Batch(np.full(500, float(number)), {key: np.zeros(500) for key in keys})
        yield block(number, batch)


def channels() -> Rows:
    """A thousand columns of flags."""
    keys = [f"c{n}.flags" for n in range(1000)]
    for number, key in enumerate(keys, 2):
        yield "keys", (number, key)
    for number in range(2, 50):
        texts = {key: [(0, "open")] for key in keys}
        yield block(number, Batch(np.full(1, float(number)), {}, texts))


def within() -> Rows:
    """As much as is let through: 64 MB of samples, of 40 sensors, with noise."""
    rng = np.random.default_rng(1)
    keys = ["nozzle.temperature_c", *(f"c{n}.temperature_c" for n in range(40))]
    for number, key in enumerate(keys[1:], 2):
        yield "keys", (number, key)
    noise = np.round(200.0 + rng.normal(0.0, 0.1, 1000), 1)
    for number in range(2, 200):
        times = np.linspace((number - 1) * 250.0, number * 250.0 - 0.25, 1000)
        yield block(number, Batch(times, dict.fromkeys(keys, noise)))


def small_blocks() -> Rows:
    """As many blocks of one row as are let through."""
    for number in range(2, 39_000):
        value = np.array([200.0 + number % 3])
        yield block(number, Batch(np.array([number * 0.5]), {"nozzle.temperature_c": value}))


def million_events() -> Rows:
    """A million changes of events."""
    data = msgspec.msgpack.encode(finding(1))
    for number in range(1, 1_000_001):
        cells = (number, "spike", "n", 0.0, None, "failure", 1, 0.0, "", None, None, "")
        yield "event_changes", (number, *cells, data if number < 100_000 else b"")


def true_events() -> Rows:
    """As many events as are let through."""
    for number in range(1, 99_000):
        event = finding(number, start_s=0.0, end_s=0.1)
        cells = ("contact-break", "nozzle", 0.0, 0.1, "failure", 1, 31.4, "Ω", None, None)
        data = msgspec.msgpack.encode(event)
        yield "event_changes", (number, number, *cells, event.text, data)


def giant_json() -> Rows:
    """Facts of 40 MB."""
    yield "about", ("more", "[" + "[]," * 13_000_000 + "0]")


def nested_json() -> Rows:
    """As many empty lists as fit into the facts."""
    yield "about", ("more", "[" + "[]," * 1_300_000 + "0]")


def giant_notes() -> Rows:
    """Notes of 30 MB in all."""
    for number in range(1, 500):
        yield "notes", (number, 1.0, "note", "x" * 2000, '{"a":"' + "y" * 60_000 + '"}')


def many_entries() -> Rows:
    """Blocks that unpack to millions of empty entries."""
    raw = pack_entries([Entry(0.0, EntryKind.TICK)] * 800_000)
    for number in range(1, 100):
        yield "entry_blocks", (number, 0.0, 0.0, 800_000, len(raw), compress(raw))


def entry_bomb() -> Rows:
    """Messages of zeros: 16 MB each, a thousand times smaller packed."""
    raw = pack_entries([Entry(0.0, EntryKind.MESSAGE, b"\0" * (15 << 20))])
    data = compress(raw)
    for number in range(1, 2000):
        yield "entry_blocks", (number, 0.0, 0.0, 1, len(raw), data)


def texts_in_a_block() -> Rows:
    """A block with four million texts of nothing."""
    words = msgspec.msgpack.encode([[1, 0, ""]] * 4_000_000)
    raw = struct.pack("<4I", 1, 0, len(words), 0) + words + b"\0" * 8
    for number in range(2, 4):
        yield "sample_blocks", (number, 0.0, 0.0, 1, 0, len(raw), compress(raw))


def many_roll_ups() -> Rows:
    """Roll-ups, as many as are let through, that are of no samples."""
    for number in range(2, 399_000):
        yield "roll_ups", (number, number * 10.0, 1, 0.0, 0.0, 0.0, 1)


RECORDINGS: dict[str, Callable[[], Rows]] = {
    each.__name__.replace("_", " "): each
    for each in (
        *(many_rows, wide_blocks, channels, within, small_blocks, million_events, true_events),
        *(giant_json, nested_json, giant_notes, many_entries, entry_bomb, texts_in_a_block),
        *(many_roll_ups,),
    )
}


def wide_log(path: Path) -> None:
    """A plain log of ten thousand columns."""
    keys = [f"c{n % 200}.q{n}" for n in range(9000)]
    with path.open("w") as file:
        file.write(",".join(["time_s", "nozzle.temperature_c", *keys]) + "\n")
        for row in range(2000):
            file.write(f"{row},25{',' * len(keys)}\n")


def long_lines(path: Path) -> None:
    """A plain log of cells of a megabyte."""
    with path.open("w") as file:
        file.write("time_s,nozzle.temperature_c,host.message\n")
        for row in range(48):
            file.write(f"{row},25,{'x' * 1_000_000}\n")


def many_channels_log(path: Path) -> None:
    """A plain log of a thousand columns of flags."""
    keys = [f"c{n}.flags" for n in range(1000)]
    with path.open("w") as file:
        file.write(",".join(["time_s", *keys]) + "\n")
        for row in range(5000):
            file.write(f"{row}{',open' * len(keys)}\n")


def long_log(path: Path) -> None:
    """A plain log of 48 MB of one sensor: more rows than a recording would need."""
    with path.open("w") as file:
        file.write("time_s,nozzle.temperature_c\n")
        file.writelines(f"{row},9\n" for row in range(4_900_000))


LOGS: dict[str, Callable[[Path], None]] = {
    each.__name__.replace("_", " "): each
    for each in (wide_log, long_lines, many_channels_log, long_log)
}


def bundle_bomb(path: Path) -> None:
    """A bundle of 3 MB that unpacks to 3 GB."""
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("recording.ohmv", "w", force_zip64=True) as out,
    ):
        out.write(b"SQLite format 3\0")
        for _ in range(3000):
            out.write(b"\0" * (1 << 20))


def make(name: str, path: Path) -> None:
    if name in RECORDINGS:
        crafted(path, RECORDINGS[name]())
    elif name in LOGS:
        LOGS[name](path)
    else:
        bundle_bomb(path)


def measured(arguments: list[str]) -> tuple[int, float, float, str]:
    """Exit code, processor seconds, MB and the last line of a command."""
    with tempfile.TemporaryFile() as said:
        child = subprocess.Popen(
            [sys.executable, "-m", "tui.main", *arguments],
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=said,
        )
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0)
        lines = said.read().decode(errors="replace").splitlines()
    spent_s = usage.ru_utime + usage.ru_stime
    return child.returncode, spent_s, usage.ru_maxrss / 1024, lines[-1] if lines else ""


def commands(file: str, out: str) -> Iterator[list[str]]:
    yield ["judge", file]
    yield ["report", file, "-o", f"{out}.html"]
    yield ["export", file, "-o", f"{out}.csv"]
    yield ["bundle", file, "-o", f"{out}.zip"]
    yield ["check", file]
    yield ["check", file, "--repair", f"{out}.ohmv"]
    yield ["import", file, "-o", f"{out}.i.ohmv"]
    yield ["note", file, "seen"]


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--only", default="")
    only: str = options.parse_args().only
    beyond = total = 0
    for name in [*RECORDINGS, *LOGS, "bundle bomb"]:
        if only not in name:
            continue
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "strange"
            # In another process: a command's peak begins with that of who started it.
            if os.fork() == 0:
                make(name, path)
                os._exit(0)
            os.wait()
            print(f"{name}: {path.stat().st_size / 1e6:.1f} MB")
            for arguments in commands(str(path), str(Path(folder) / "out")):
                code, spent_s, memory_mb, line = measured(arguments)
                is_beyond = spent_s > COMMAND_S or memory_mb > MEMORY_MB or code not in (0, 1, 2)
                beyond += is_beyond
                total += 1
                mark = "  BEYOND" if is_beyond else ""
                words = arguments[0] + (" --repair" if "--repair" in arguments else "")
                line = line.replace(folder, "")[:110]
                print(f"  {words}: {code}, {spent_s:.1f} s, {memory_mb:.0f} MB{mark}  {line}")
            sys.stdout.flush()
    print(f"{total} commands, {beyond} beyond {COMMAND_S:g} s or {MEMORY_MB:g} MB")


if __name__ == "__main__":
    main()
