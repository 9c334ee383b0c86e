"""What recording and reading cost: `python -m tests.bench.bench_recording [HOURS [CHANNELS]]`.

A host at 4 Hz that sends changes only, three quantities a channel, stored every 5 s of log
time, as fast as the machine goes.
"""

import sqlite3
import sys
import tempfile
import time
from pathlib import Path

import msgspec
import numpy as np

from recordings.reader import Recording
from recordings.writer import Recorder
from shared.updates import Entry, EntryKind, Update, Value


def night(hours: float, channels: int) -> list[Update]:
    """Readings with noise on a slow wander, power to 0.01, targets that never change."""
    rng = np.random.default_rng(0)
    count = int(hours * 14_400)
    shape = (count, channels)
    reading = 200.0 + np.cumsum(rng.normal(0.0, 0.01, shape), axis=0) + rng.normal(0.0, 0.03, shape)
    power = rng.normal(0.4, 0.02, shape)
    last: dict[str, Value] = {}
    updates = []
    for row in range(count):
        said: dict[str, Value] = {}
        for channel in range(channels):
            said[f"c{channel}.temperature_c"] = round(float(reading[row, channel]), 2)
            said[f"c{channel}.power"] = round(float(power[row, channel]), 2)
            said[f"c{channel}.target_c"] = 210.0
        changed = {key: value for key, value in said.items() if last.get(key) != value}
        last.update(changed)
        updates.append(Update(row * 0.25, changed))
    return updates


def bytes_to_disk() -> int:
    """Bytes that this process has had written, where the system counts them."""
    try:
        lines = Path("/proc/self/io").read_text().splitlines()
    except OSError:
        return 0
    return int(next(line.split()[1] for line in lines if line.startswith("write_bytes")))


def parts(path: Path) -> str:
    """What the tables of a recording hold, largest first."""
    connection = sqlite3.connect(path)
    sizes = {
        "messages": "SELECT sum(length(data)) FROM entry_blocks",
        "samples": "SELECT sum(length(data)) FROM sample_blocks",
    }
    found = {name: connection.execute(query).fetchone()[0] / 1e6 for name, query in sizes.items()}
    rows = connection.execute("SELECT count(*) FROM roll_ups").fetchone()[0]
    connection.close()
    found["the rest"] = path.stat().st_size / 1e6 - sum(found.values())
    listed = ", ".join(f"{name} {size:.1f} MB" for name, size in found.items())
    return f"{listed} ({rows} roll-ups)"


def main() -> None:
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    channels = int(sys.argv[2]) if len(sys.argv) > 2 else 8
    updates = night(hours, channels)
    entries = [
        Entry(1000.0 + update.time_s, EntryKind.MESSAGE, msgspec.json.encode(update))
        for update in updates
    ]
    raw = sum(len(entry.payload) for entry in entries)
    values = sum(len(update.values) for update in updates)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.ohmv"
        before, begun = bytes_to_disk(), time.process_time()
        recorder = Recorder(path, {})
        for index, (entry, update) in enumerate(zip(entries, updates, strict=True)):
            recorder.entry(entry)
            recorder.updates([update])
            if index % 20 == 19:
                recorder.flush()
        recorder.close()
        cpu_s, to_disk = time.process_time() - begun, bytes_to_disk() - before
        print(f"{hours:g} h of {channels} channels at 4 Hz: {len(entries)} messages")
        print(f"raw {raw / 1e6:.1f} MB, file {path.stat().st_size / 1e6:.1f} MB")
        print(f"written to the disk {to_disk / 1e6:.1f} MB, CPU {cpu_s:.2f} s")
        recording = Recording(path)
        # Processor time, since others may use the machine as well.
        begun_s = time.process_time()
        for _ in recording.batches():
            pass
        batches_s = time.process_time() - begun_s
        begun_s = time.process_time()
        for _ in recording.entries():
            pass
        entries_s = time.process_time() - begun_s
        begun_s = time.perf_counter()
        next(recording.batches(start_s=hours * 1800.0, end_s=hours * 1800.0 + 600.0))
        seek_s = time.perf_counter() - begun_s
        begun_s = time.perf_counter()
        recording.rollup("c0.temperature_c")
        rollup_s = time.perf_counter() - begun_s
        recording.close()
        print(f"of the file: {parts(path)}")
    print(
        f"read {values / batches_s / 1e6:.1f} M samples/s, {len(entries) / entries_s / 1e6:.2f} M "
        f"messages/s; 10 min in the middle in {1e3 * seek_s:.0f} ms, "
        f"one key's roll-up in {1e3 * rollup_s:.0f} ms"
    )


if __name__ == "__main__":
    main()
