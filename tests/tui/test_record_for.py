"""`record --for N` counts on our own clock, and ends with 2 where nothing was ever read."""

import asyncio
import json
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from tests.serving import Serving
from tests.tui.running import Done, here

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


Record = Callable[[Callable[[int], str | None], str], Done]


@pytest.fixture
def record(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Record:
    """Record a host that says these lines for a while, given in seconds."""
    return partial(recorded, capsys, tmp_path)


def recorded(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    line: Callable[[int], str | None],
    for_s: str,
) -> Done:
    with Lines(line) as host:
        profile = tmp_path / "bench.toml"
        profile.write_text(PROFILE.format(address=host.address), encoding="utf-8")
        out = str(tmp_path / "a.ohmv")
        arguments = ["record", str(profile), "-o", out, "--for", for_s]
        return here(capsys, tmp_path, *arguments)


@pytest.mark.long
def test_a_host_whose_clock_stands_does_not_keep_it(record: Record) -> None:
    """The end comes all the same, and the clock is told."""
    done = record(lambda n: json.dumps({"at": min(n, 20) / 10, "n": 21.5}), "9")
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
    record: Record, line: Callable[[int], str | None], words: str
) -> None:
    """One line says what came, and what to do."""
    done = record(line, "1")
    assert done.returncode == 2
    (told,) = done.stderr.splitlines()
    assert words in told
    assert "bench" in told


def test_the_last_line_says_what_the_recording_holds(record: Record) -> None:
    """Counts and the span, so that nobody has to open it to know."""
    done = record(lambda n: json.dumps({"at": n / 10, "n": 21.5}), "1")
    last = done.stdout.splitlines()[-1]
    assert "a.ohmv holds" in last
    assert "messages over" in last
    assert "no events" in last


def test_one_wrong_name_among_several_fails_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The others are recorded, and the exit is theirs."""
    with Lines(lambda n: json.dumps({"at": n / 10, "n": 21.5})) as host:
        profile = tmp_path / "bench.toml"
        profile.write_text(PROFILE.format(address=host.address), encoding="utf-8")
        done = here(capsys, tmp_path, "record", str(profile), "nosuch", "--for", "1")
    assert done.returncode == 0, done.stderr
    (line,) = done.stderr.splitlines()
    assert "nosuch" in line
    assert "the others go on" in line
    assert len(list(tmp_path.glob("ohmvigil/*.ohmv"))) == 1
