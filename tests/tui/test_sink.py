"""Output that cannot be written: a full disk, a closed stream, a reader that has gone."""

import itertools
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from client.simulated.host import SimulatedHost
from client.simulated.scenario import load_scenario
from recordings.reader import Recording
from shared.errors import BadInput
from shared.words import Kind
from tests.levels import first, one_in
from tui.sink import Sink

FULL = "/dev/full"
COMMAND = [sys.executable, "-m", "tui.main"]


@pytest.fixture
def host() -> Iterator[str]:
    """A simulated host at forty times the speed; its address."""
    simulated = SimulatedHost(load_scenario("loose-terminal"), seed=1, speed=40.0)
    yield simulated.start()
    simulated.stop()


def log(folder: Path) -> Path:
    path = folder / "a.csv"
    lines = [f"{n * 0.5},{25.0 + n % 3}" for n in range(200)]
    path.write_text("\n".join(["time_s,nozzle.temperature_c", *lines]) + "\n")
    return path


def test_what_could_not_be_printed_is_counted_and_said_on_the_next_line(tmp_path: Path) -> None:
    """Three lines meet a full disk, the fourth has room again."""
    fd = os.open(FULL, os.O_WRONLY)
    sink = Sink(fd, "standard output", "utf-8", "strict")
    sink.survives = True
    for n in range(3):
        print(f"line {n}", file=sink, flush=True)
    room = os.open(tmp_path / "out", os.O_WRONLY | os.O_CREAT)
    os.dup2(room, fd)
    print("line 3", file=sink, flush=True)
    os.close(room)
    os.close(fd)
    told = (tmp_path / "out").read_text().splitlines()
    assert told == [
        "ohmvigil: 3 lines could not be printed: no space left on device",
        "line 3",
    ]


def test_a_line_is_written_whole_or_not_at_all() -> None:
    """Parts wait for their line end; a flush prints what is there, as a prompt needs."""
    read, write = os.pipe()
    sink = Sink(write, "standard output", "utf-8", "strict")
    sink.write("half ")
    sink.write("a line\nand ")
    assert os.read(read, 100) == b"half a line\n"
    sink.flush()
    assert os.read(read, 100) == b"and "


def test_a_stream_that_must_be_written_fails_with_what_to_do() -> None:
    sink = Sink(os.open(FULL, os.O_WRONLY), "standard output", "utf-8", "strict")
    with pytest.raises(BadInput, match="standard output: cannot be written: no space left"):
        sink.write("an answer\n")
    with pytest.raises(BadInput, match="it is closed"):
        Sink(None, "standard output", "utf-8", "strict").write("an answer\n")


@pytest.mark.parametrize(
    ("where", "words"),
    one_in(5, itertools.product([f"> {FULL}", ">&-"], (["judge", "LOG"], ["budget"], ["--help"]))),
)
def test_an_answer_that_cannot_be_written_ends_with_one_line(
    words: list[str], where: str, tmp_path: Path
) -> None:
    """Exit 2, and what to do; no traceback, nothing of Python's own."""
    path = str(log(tmp_path))
    command = " ".join([*COMMAND, *(path if word == "LOG" else word for word in words), where])
    done = subprocess.run(["sh", "-c", command], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert line.startswith("ohmvigil: standard output: cannot be written")


@pytest.mark.parametrize("where", first(1, [f"> {FULL} 2> {FULL}", ">&- 2>&-", "| head -n 1"]))
def test_recording_goes_on_whatever_becomes_of_its_output(
    where: str, host: str, tmp_path: Path
) -> None:
    """All of the time that was asked for is in the file, and the file is closed."""
    path = tmp_path / "night.ohmv"
    command = f"{' '.join(COMMAND)} record {host} --for 3 -o {path} {where}"
    subprocess.run(["sh", "-c", command], capture_output=True, timeout=60, check=False)
    recording = Recording(path)
    assert recording.is_closed
    assert recording.duration_s > 55.0
    assert any(event.kind is Kind.CONTACT_BREAK for event in recording.events())
    recording.close()


@pytest.mark.long
def test_lines_that_never_found_room_are_told_on_standard_error(host: str, tmp_path: Path) -> None:
    """As many as were lost, and why."""
    command = f"{' '.join(COMMAND)} record {host} --for 3 --json -o {tmp_path / 'n.ohmv'} > {FULL}"
    done = subprocess.run(["sh", "-c", command], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert "lines could not be printed: no space left on device" in done.stderr.splitlines()[-1]
