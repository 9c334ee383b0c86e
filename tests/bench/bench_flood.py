"""Memory under a flood: `python -m tests.bench.bench_flood [--seconds 600] [--screen]`.

A host of two channels says a thousand updates a second. `record`, or `watch` on a pseudo terminal,
takes them all; its resident memory is read every 5 s. Prints the memory after three minutes,
its growth since, and what the recording holds of what was said.
"""

import argparse
import asyncio
import os
import pty
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from recordings.reader import Recording
from tests.serving import Serving

RATE = 1000
TURN_S = 0.02
SETTLED_S = 180.0
"""By then what is kept for the chart has reached its bounds."""
PROFILE = """format = 1
title = "flood"
addresses = ["{address}"]
framing = "newline"
[[updates]]
clock = "/at"
[channels.nozzle]
temperature_c = "/n"
power = "/p"
[channels.bed]
temperature_c = "/b"
"""


class Flood(Serving):
    """Says a thousand updates a second, and counts them."""

    said = 0

    async def listen(self) -> None:
        server = await asyncio.start_server(self._talk, "127.0.0.1", 0)
        async with server:
            await self.be_at(f"tcp://127.0.0.1:{server.sockets[0].getsockname()[1]}")

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        began_s, noise = time.monotonic(), random.Random(1)
        while not reader.at_eof():
            due = int((time.monotonic() - began_s) * RATE)
            lines = []
            while self.said < due:
                n = self.said
                self.said += 1
                lines.append(
                    f'{{"at":{n / RATE:.3f},"n":{210 + noise.gauss(0.0, 0.1):.2f},"p":0.4,'
                    f'"b":{60 + noise.gauss(0.0, 0.05):.2f}}}\n'
                )
            writer.write("".join(lines).encode())
            await writer.drain()
            await asyncio.sleep(TURN_S)
        writer.close()


def resident_mb(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.bench_flood")
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--screen", action="store_true", help="watch, in place of record")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, Flood("flood") as host:
        profile, out = Path(folder) / "flood.toml", Path(folder) / "flood.ohmv"
        profile.write_text(PROFILE.format(address=host.address), encoding="utf-8")
        command = "watch" if options.screen else "record"
        arguments = [sys.executable, "-m", "tui.main", command, str(profile), "-o", str(out)]
        ours, theirs = pty.openpty()
        threading.Thread(target=_drain, args=(ours,), daemon=True).start()
        with subprocess.Popen(arguments, stdin=theirs, stdout=theirs, stderr=theirs) as child:
            memory = []
            began_s = time.monotonic()
            while time.monotonic() - began_s < options.seconds:
                time.sleep(5.0)
                memory.append((time.monotonic() - began_s, resident_mb(child.pid)))
            cpu_s = sum(map(int, Path(f"/proc/{child.pid}/stat").read_text().split()[13:15]))
            child.send_signal(signal.SIGTERM)
        recording = Recording(out)
        held = sum(len(batch) for batch in recording.batches())
        recording.close()
    first = next(mb for at_s, mb in memory if at_s >= min(SETTLED_S, options.seconds / 2))
    most = max(mb for _, mb in memory)
    share = cpu_s / os.sysconf("SC_CLK_TCK") / options.seconds
    print(
        f"{command}, {options.seconds:.0f} s of {RATE} updates a second: {first:.1f} MB settled, "
        f"{most - first:+.1f} MB at most since; {held} updates recorded of {host.said} said; "
        f"{share:.0%} of a core"
    )


def _drain(terminal: int) -> None:
    try:
        while os.read(terminal, 65536):
            pass
    except OSError:
        pass


if __name__ == "__main__":
    main()
