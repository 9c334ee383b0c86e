"""Chaos between host and reader: a proxy that delays, splits, stalls, resets and cuts frames.

    python -m tests.bench.bench_chaos [--cycles 10000] [--seed 1]

Loopback only, seeded. A host numbers its updates anew on each connection and ends a cycle
with a reset; the proxy does its worst on the way. Each update whose frame passed the proxy
whole must come out of reader and mapper once, in order, none twice. Prints what was lost
(must be 0), the memory, and how long reconnecting took.
"""

import argparse
import asyncio
import json
import random
import resource
import socket
import struct
import threading
import time
from collections import Counter

import numpy as np

import client.supervisor
from client.form import Channel, Profile, UpdateSource
from client.mapping import Mapper
from client.reader import Reader
from shared.updates import EntryKind

FRAMES = 12
"""Updates a connection."""
HAND_OVER_TRIES = 1000
"""Times 5 ms for which a reset waits for what was sent before it."""
WAYS = ("whole", "bytes", "delay", "stall", "reset", "cut")
_RESET = struct.pack("ii", 1, 0)


class ChaosHost:
    """Host and proxy in one: writes frames as a bad network would hand them on.

    `passed` holds, per connection, the numbers of the frames that were handed on whole.
    """

    def __init__(self, cycles: int, seed: int) -> None:
        self._rng = random.Random(seed)
        self._cycles = cycles
        self.passed: dict[int, int] = {}
        self.heard: dict[int, list[int]] = {}
        """Numbers that came out of the mapper, by connection."""
        self.ways: Counter[str] = Counter()
        self.way_of: dict[int, str] = {}
        self.connected_s: list[float] = []
        self.ended_s: dict[int, float] = {}
        self.done = threading.Event()
        self._ready = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._main()), daemon=True)
        self.port = 0

    def start(self) -> str:
        self._thread.start()
        self._ready.wait(10)
        return f"tcp://127.0.0.1:{self.port}"

    async def _main(self) -> None:
        server = await asyncio.start_server(self._talk, "127.0.0.1", 0)
        self.port = server.sockets[0].getsockname()[1]
        self._ready.set()
        while not self.done.is_set():
            await asyncio.sleep(0.05)
        server.close()

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        cycle = len(self.connected_s)
        self.connected_s.append(time.monotonic())
        if cycle >= self._cycles:
            self.done.set()
            writer.close()
            return
        way = self._rng.choice(WAYS)
        self.ways[way] += 1
        self.way_of[cycle] = way
        end = self._rng.randrange(1, FRAMES + 1) if way in ("reset", "cut") else FRAMES
        self.passed[cycle] = 0
        for n in range(end):
            await self._send(writer, way, _frame(cycle, n))
            self.passed[cycle] = n + 1
        if way == "cut":
            half = _frame(cycle, end)
            writer.write(half[: self._rng.randrange(1, len(half) - 1)])
        await self._end(writer, cycle, reset=way == "reset")
        self.ended_s[cycle] = time.monotonic()

    async def _send(self, writer: asyncio.StreamWriter, way: str, frame: bytes) -> None:
        if way == "bytes":
            for at in range(len(frame)):
                writer.write(frame[at : at + 1])
                await asyncio.sleep(0)
        else:
            writer.write(frame)
        if way == "delay":
            await asyncio.sleep(self._rng.random() * 0.002)
        if way == "stall" and self._rng.random() < 0.1:
            await asyncio.sleep(0.02)
        await writer.drain()

    async def _end(self, writer: asyncio.StreamWriter, cycle: int, reset: bool) -> None:
        if reset:
            # A reset throws away what the peer has not read: hand it over first, as the
            # promise is for frames that arrived. A reader that never takes them loses them.
            for _ in range(HAND_OVER_TRIES):
                if len(self.heard.get(cycle, ())) >= self.passed[cycle]:
                    break
                await asyncio.sleep(0.005)
            link = writer.get_extra_info("socket")
            link.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, _RESET)
            writer.transport.abort()
        else:
            writer.close()


def _frame(cycle: int, n: int) -> bytes:
    """Update `n` of a connection; its number is told in both readings."""
    return json.dumps({"c": cycle, "n": n, "pad": "x" * (n * 3)}).encode() + b"\n"


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--cycles", type=int, default=300)
    options.add_argument("--seed", type=int, default=1)
    given = options.parse_args()
    # The real waits are for real networks; here only their shape is kept.
    client.supervisor.FIRST_WAIT_S, client.supervisor.LONGEST_WAIT_S = 0.002, 0.02
    client.supervisor.SHORTEST_WAIT_S = 0.001
    host = ChaosHost(given.cycles, given.seed)
    profile = Profile(
        format=1,
        addresses=(host.start(),),
        updates=(UpdateSource(),),
        channels={"cycle": Channel(code="/c"), "number": Channel(code="/n")},
    )
    reader, mapper = Reader(profile), Mapper(profile)
    heard = host.heard
    early = 0
    start = time.monotonic()
    reader.start()
    while True:
        reader.wait(0.2)
        for entry in reader.take():
            for update in mapper.feed(entry):
                if entry.kind is EntryKind.MESSAGE and "cycle.code" in update.values:
                    cycle = int(float(update.values["cycle.code"]))
                    heard.setdefault(cycle, []).append(int(float(update.values["number.code"])))
        if not early and len(heard) > given.cycles // 5:
            early = _memory()
        if host.done.is_set() and time.monotonic() - host.connected_s[-1] > 1.0:
            break
    reader.stop()
    _report(host, heard, early, time.monotonic() - start, reader.dropped)


def _report(
    host: ChaosHost, heard: dict[int, list[int]], early: int, spent: float, dropped: int
) -> None:
    lost = twice = disorder = 0
    lost_by: Counter[str] = Counter()
    for cycle, count in host.passed.items():
        numbers = heard.get(cycle, [])
        missing = count - len(set(numbers) & set(range(count)))
        lost += missing
        lost_by[host.way_of[cycle]] += missing
        twice += len(numbers) - len(set(numbers))
        disorder += numbers != sorted(numbers)
    sent = sum(host.passed.values())
    print(f"{len(host.passed):,} cycles in {spent:.1f} s: {dict(host.ways)}")
    print(f"{sent:,} updates handed on whole: {lost} lost, {twice} twice, {disorder} out of order")
    print(
        f"dropped unread: {dropped}; memory grew by {(_memory() - early) / 1024:.1f} MiB"
        " after the first fifth"
    )
    waits = np.array(
        [host.connected_s[cycle + 1] - ended_s for cycle, ended_s in host.ended_s.items()]
    )
    low, middle, high, most = np.quantile(waits, [0.05, 0.5, 0.95, 1.0]) * 1e3
    print(
        f"reconnecting took {low:.1f} / {middle:.1f} / {high:.1f} / {most:.1f} ms"
        " (5 %, median, 95 %, longest; waits cut to 1–20 ms)"
    )
    if lost or twice or disorder:
        raise SystemExit(1)


def _memory() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


if __name__ == "__main__":
    main()
