"""Load: many hosts × 8 channels × 4 Hz into one process, each with its own reader.

    python -m tests.bench.bench_hosts [--hosts 200] [--seconds 10] [--no-detect]

The hosts run in a process of their own, on loopback. For each host: Reader (a thread and
a loop), Mapper, Watch. Prints the share of one core, the memory, and the delay from the
host's send to the end of detecting.
"""

import argparse
import asyncio
import json
import math
import multiprocessing
import multiprocessing.connection
import resource
import time

import numpy as np

from client.form import Channel, Profile, UpdateSource
from client.mapping import Mapper
from client.reader import Reader
from detectors.watch import Watch
from shared.updates import EntryKind, batch_of

CHANNELS = 8
RATE_HZ = 4.0


def serve(hosts: int, ready: "multiprocessing.connection.Connection") -> None:
    """All hosts: each on a port of its own, with a phase of its own."""

    async def main() -> None:
        loop = asyncio.get_running_loop()

        async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            n = 0
            start = loop.time() + (hash(writer.get_extra_info("peername")) % 250) / 1000.0
            try:
                while True:
                    await asyncio.sleep(max(start + n / RATE_HZ - loop.time(), 0.0))
                    heat = [round(200.0 + c + 0.2 * math.sin(n / 3.0 + c), 2) for c in range(8)]
                    body = {
                        "t": time.monotonic(),
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


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--hosts", type=int, default=200)
    options.add_argument("--seconds", type=float, default=10.0)
    options.add_argument("--no-detect", action="store_true", help="only read and map")
    given = options.parse_args()
    ours, theirs = multiprocessing.Pipe()
    # Spawned, not forked: the servers must not inherit threads or memory.
    context = multiprocessing.get_context("spawn")
    process = context.Process(target=serve, args=(given.hosts, theirs), daemon=True)
    process.start()
    ports = ours.recv()
    before = _memory()
    hosts = [(Reader(profile_at(port)), Mapper(profile_at(port)), Watch({})) for port in ports]
    for reader, _, _ in hosts:
        reader.start()
    _drain(hosts, 2.0, given.no_detect)
    cpu, wall = time.process_time(), time.monotonic()
    delays, updates = _drain(hosts, given.seconds, given.no_detect)
    cpu, wall = time.process_time() - cpu, time.monotonic() - wall
    dropped = sum(reader.dropped for reader, _, _ in hosts)
    for reader, _, _ in hosts:
        reader.stop()
    process.terminate()
    low, middle, high = np.quantile(delays, [0.5, 0.95, 0.99]) * 1e3
    what = "read and mapped" if given.no_detect else "read, mapped and judged"
    print(f"{given.hosts} hosts × {CHANNELS} channels × {RATE_HZ:g} Hz, {what} in one process")
    print(
        f"  {updates / wall:.0f} updates/s of {given.hosts * RATE_HZ:.0f} sent, {dropped} dropped"
    )
    print(f"  {cpu / wall:.0%} of one core, {(_memory() - before) / 1024:.0f} MiB for all of them")
    print(f"  delay {low:.1f} / {middle:.1f} / {high:.1f} ms (median, 95 %, 99 %)")


def _drain(
    hosts: list[tuple[Reader, Mapper, Watch]], seconds: float, bare: bool
) -> tuple[list[float], int]:
    """Take what came from each host in turn, as a recorder of several hosts does."""
    delays: list[float] = []
    count = 0
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        turn = time.monotonic()
        for reader, mapper, watch in hosts:
            entries = reader.take()
            updates = [update for entry in entries for update in mapper.feed(entry)]
            if updates and not bare:
                watch.feed(batch_of(updates))
            now = time.monotonic()
            sent = [json.loads(e.payload)["t"] for e in entries if e.kind is EntryKind.MESSAGE]
            delays += [now - each for each in sent]
            count += len(sent)
        time.sleep(max(0.02 - (time.monotonic() - turn), 0.0))
    return delays, count


def _memory() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


if __name__ == "__main__":
    main()
