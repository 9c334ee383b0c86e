"""`record --for N` counts on our own clock, and ends with 2 where nothing was ever read."""

import asyncio
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.serving import Serving

PROFILE = """
format = 1
title = "bench"
addresses = ["{address}"]
framing = "newline"
[[updates]]
has = "/at"
clock = "/at"
status = ""
[channels.nozzle]
temperature_c = {{ at = "/n" }}
"""


class Lines(Serving):
    """Says `line(n)` each tenth of a second; nothing where that is None."""

    def __init__(self, line: Callable[[int], str | None]) -> None:
        super().__init__("lines")
        self._line = line
        self._talks: list[asyncio.Task[None]] = []

    async def listen(self) -> None:
        server = await asyncio.start_server(self._talk, "127.0.0.1", 0)
        async with server:
            port = server.sockets[0].getsockname()[1]
            await self.be_at(f"tcp://127.0.0.1:{port}")
            await asyncio.gather(*self._talks)

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._talks.append(task)
        for n in range(10_000):
            if reader.at_eof():
                break
            line = self._line(n)
            if line is not None:
                writer.write(line.encode() + b"\n")
            await asyncio.sleep(0.1)
        writer.close()


def record(
    tmp_path: Path, line: Callable[[int], str | None], for_s: str
) -> subprocess.CompletedProcess[str]:
    with Lines(line) as host:
        profile = tmp_path / "bench.toml"
        profile.write_text(PROFILE.format(address=host.address), encoding="utf-8")
        out = str(tmp_path / "a.ohmv")
        arguments = ["record", str(profile), "-o", out, "--for", for_s]
        return subprocess.run(
            [sys.executable, "-m", "tui.main", *arguments],
            capture_output=True,
            text=True,
            timeout=50.0,
            check=False,
        )


def test_a_host_whose_clock_stands_does_not_keep_it(tmp_path: Path) -> None:
    """The end comes all the same, and the clock is told."""
    done = record(tmp_path, lambda n: json.dumps({"at": min(n, 20) / 10, "n": 21.5}), "9")
    assert done.returncode == 0, done.stderr
    assert "host-clock" in done.stdout
    assert "stands still" in done.stdout


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (lambda n: None, "the host said nothing"),
        (lambda n: json.dumps({"when": n, "heat": 21.5}), "none fits this profile"),
        (lambda n: "21.5 C", "none fits this profile"),
    ],
)
def test_a_host_that_gives_no_reading_ends_with_2(
    tmp_path: Path, line: Callable[[int], str | None], words: str
) -> None:
    """One line says what came, and what to do."""
    done = record(tmp_path, line, "2")
    assert done.returncode == 2
    (told,) = done.stderr.splitlines()
    assert words in told
    assert "bench" in told


def test_the_last_line_says_what_the_recording_holds(tmp_path: Path) -> None:
    """Counts and the span, so that nobody has to open it to know."""
    done = record(tmp_path, lambda n: json.dumps({"at": n / 10, "n": 21.5}), "3")
    last = done.stdout.splitlines()[-1]
    assert "a.ohmv holds" in last
    assert "messages over" in last
    assert "no events" in last


def test_one_wrong_name_among_several_fails_alone(tmp_path: Path) -> None:
    """The others are recorded, and the exit is theirs."""
    with Lines(lambda n: json.dumps({"at": n / 10, "n": 21.5})) as host:
        profile = tmp_path / "bench.toml"
        profile.write_text(PROFILE.format(address=host.address), encoding="utf-8")
        done = subprocess.run(
            [sys.executable, "-m", "tui.main", "record", str(profile), "nosuch", "--for", "2"],
            capture_output=True,
            text=True,
            timeout=50.0,
            check=False,
            env={**os.environ, "XDG_DATA_HOME": str(tmp_path)},
        )
    assert done.returncode == 0, done.stderr
    (line,) = done.stderr.splitlines()
    assert "nosuch" in line
    assert "the others go on" in line
    assert len(list(tmp_path.glob("ohmvigil/*.ohmv"))) == 1
