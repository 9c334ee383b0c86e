"""Load: many hosts × 8 channels × 4 Hz into one `ohmvigil record`, recordings on; and a flood.

    python -m tests.bench.bench_hosts [--hosts 200] [--seconds 20]

The hosts run in a process of their own, on loopback; `ohmvigil record` is the real program in
another. Prints its share of one core, its memory and threads, the delay from the host's send to
the reader's stamp, and from there to what is on disk; every message must be on record once.

The flood: one host sends a hundred times as fast, the recorder on. Then all are on record; and a
watch that cannot keep up at all (it takes nothing) drops its oldest, counts them, and stays
within its bound.
"""

import argparse
import asyncio
import json
import math
import multiprocessing
import multiprocessing.connection
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import client.reader as reader_module
from client.form import Channel, Profile, UpdateSource
from client.reader import Reader
from recordings.check import verify
from recordings.reader import Recording
from shared.clock import own_time
from shared.updates import EntryKind

CHANNELS = 8
RATE_HZ = 4.0


FLOOD = 100
"""How many times the usual rate a flood is."""


def serve(hosts: int, rate_hz: float, ready: "multiprocessing.connection.Connection") -> None:
    """All hosts: each on a port of its own, with a phase of its own. Numbers its messages."""

    async def main() -> None:
        loop = asyncio.get_running_loop()

        async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            n = 0
            start = loop.time() + (hash(writer.get_extra_info("peername")) % 250) / 1000.0
            try:
                while True:
                    await asyncio.sleep(max(start + n / rate_hz - loop.time(), 0.0))
                    heat = [round(200.0 + c + 0.2 * math.sin(n / 3.0 + c), 2) for c in range(8)]
                    body = {
                        "t": own_time(),
                        "n": n,
                        "h": [{"r": r, "g": 200.0 + c, "p": 0.4} for c, r in enumerate(heat)],
                    }
                    writer.write(json.dumps(body).encode() + b"\n")
                    await writer.drain()
                    n += 1
            except OSError:
                writer.close()

        servers = [await asyncio.start_server(talk, "127.0.0.1", 0) for _ in range(hosts)]
        ready.send([server.sockets[0].getsockname()[1] for server in servers])
        await asyncio.Event().wait()

    asyncio.run(main())


def profile_at(port: int) -> Profile:
    channels = {
        f"channel {n}": Channel(base=f"/h/{n}", temperature_c="/r", target_c="/g", power="/p")
        for n in range(CHANNELS)
    }
    return Profile(
        format=1,
        addresses=(f"tcp://127.0.0.1:{port}",),
        updates=(UpdateSource(clock="/t"),),
        channels=channels,
    )


def profile_text(port: int) -> str:
    """The profile of one host, as a user's file."""
    lines = ["format = 1", f'addresses = ["tcp://127.0.0.1:{port}"]', "[[updates]]", 'clock = "/t"']
    for n in range(CHANNELS):
        lines += [f'[channels."channel {n}"]', f'base = "/h/{n}"', 'temperature_c = "/r"']
        lines += ['target_c = "/g"', 'power = "/p"']
    return "\n".join(lines) + "\n"


@contextmanager
def hosts(count: int, rate_hz: float) -> Iterator[list[int]]:
    """Ports of hosts that run in a process of their own."""
    ours, theirs = multiprocessing.Pipe()
    # Spawned, not forked: the servers must not inherit threads or memory.
    context = multiprocessing.get_context("spawn")
    process = context.Process(target=serve, args=(count, rate_hz, theirs), daemon=True)
    process.start()
    try:
        yield ours.recv()
    finally:
        process.terminate()
        process.join()


@dataclass(frozen=True)
class Used:
    """What a process has used."""

    cpu_s: float
    rss_mib: float
    threads: int

    @classmethod
    def by(cls, pid: int) -> "Used":
        """From /proc: Linux only."""
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        ticks = os.sysconf("SC_CLK_TCK")
        status = Path(f"/proc/{pid}/status").read_text()
        rss_kib = int(status.split("VmRSS:")[1].split()[0])
        return cls((int(fields[11]) + int(fields[12])) / ticks, rss_kib / 1024, int(fields[17]))


def recorded(count: int, seconds: float, rate_hz: float) -> None:
    """Run `ohmvigil record` on that many hosts and say what it took."""
    with tempfile.TemporaryDirectory() as name, hosts(count, rate_hz) as ports:
        folder = Path(name)
        profiles = []
        for n, port in enumerate(ports):
            profiles.append(str(folder / f"host{n}.toml"))
            Path(profiles[-1]).write_text(profile_text(port), encoding="utf-8")
        with subprocess.Popen(
            [sys.executable, "-m", "tui.main", "record", *profiles],
            env={**os.environ, "XDG_DATA_HOME": name},
            stdout=subprocess.DEVNULL,
        ) as child:
            starting_s = time.monotonic()
            while len(list(folder.rglob("*.ohmv"))) < count and child.poll() is None:
                time.sleep(0.1)
            starting_s = time.monotonic() - starting_s
            time.sleep(5.0)
            before, began_s = Used.by(child.pid), time.monotonic()
            time.sleep(seconds / 2)
            middle = Used.by(child.pid)
            time.sleep(seconds / 2)
            after, spent_s = Used.by(child.pid), time.monotonic() - began_s
            child.send_signal(signal.SIGINT)
            ending_s = time.monotonic()
            code = child.wait(120)
            ending_s = time.monotonic() - ending_s
        files = sorted(folder.rglob("*.ohmv"))
        delays, counted, missing, faults = [], 0, 0, 0
        for file in files:
            faults += len(verify(file).faults)
            numbers = []
            recording = Recording(file)
            for entry in recording.entries():
                if entry.kind is EntryKind.MESSAGE:
                    said = json.loads(entry.payload)
                    numbers.append(said["n"])
                    delays.append(entry.own_s - said["t"])
            recording.close()
            counted += len(numbers)
            missing += len(set(range(numbers[0], numbers[-1] + 1)) ^ set(numbers)) if numbers else 1
            missing += len(numbers) - len(set(numbers))
        size = sum(file.stat().st_size for file in files)
    low, middle_s, high = np.quantile(delays, [0.5, 0.95, 0.99]) * 1e3
    print(f"{count} hosts × {CHANNELS} channels × {rate_hz:g} Hz, one `record`, recordings on")
    print(
        f"  {(after.cpu_s - before.cpu_s) / spent_s:.0%} of one core; {after.rss_mib:.0f} MiB "
        f"({middle.rss_mib:.0f} half way), {after.threads} threads"
    )
    print(f"  {starting_s:.1f} s until all recordings were begun")
    print(
        f"  {counted} messages in {len(files)} recordings, {size / 1e6:.1f} MB: {missing} missing "
        f"or twice, {faults} faulty rows; ended with {code} in {ending_s:.1f} s"
    )
    print(f"  delay to the reader {low:.1f} / {middle_s:.1f} / {high:.1f} ms (median, 95 %, 99 %)")


def unread(seconds: float) -> None:
    """A flood that nobody takes: the oldest are dropped and counted, within the bound."""
    with hosts(1, FLOOD * RATE_HZ) as ports:
        reader = Reader(profile_at(ports[0]))
        bound, reader_module.MAX_UNREAD = reader_module.MAX_UNREAD, 1000
        reader.start()
        time.sleep(seconds)
        reader.stop()
        reader_module.MAX_UNREAD = bound
        left = [e for e in reader.take() if e.kind is EntryKind.MESSAGE]
        numbers = [json.loads(entry.payload)["n"] for entry in left]
    whole = numbers == list(range(numbers[0], numbers[-1] + 1))
    print(f"a flood of {FLOOD} times the rate, nobody takes anything, room for 1000 entries")
    print(
        f"  {len(left)} left, the newest {'in order' if whole else 'NOT IN ORDER'}; "
        f"{reader.dropped} dropped and counted of {numbers[-1] + 1} sent"
    )


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--hosts", type=int, default=200)
    options.add_argument("--seconds", type=float, default=20.0)
    given = options.parse_args()
    recorded(given.hosts, given.seconds, RATE_HZ)
    recorded(1, given.seconds, FLOOD * RATE_HZ)
    unread(min(given.seconds, 10.0))


if __name__ == "__main__":
    main()
