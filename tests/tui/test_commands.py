"""Commands as a person types them: what they print, and one line for what cannot be used."""

import json
import os
import random
import re
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import NamedTuple

import pytest

from recordings.reader import Recording
from tests.shared_work import once
from tests.tui.running import ROOT, Done, here, program
from tui.lines import encode, event_record, visible

Run = Callable[..., Done]
Refusal = Callable[..., str]


@pytest.fixture
def ohmvigil(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command in this process."""
    return partial(here, capsys, tmp_path)


@pytest.fixture
def refusal(ohmvigil: Run) -> Refusal:
    """Run a command; the one line that bad input gets."""

    def refused(*arguments: str) -> str:
        done = ohmvigil(*arguments)
        assert done.returncode == 2, done.stderr
        assert "Traceback" not in done.stderr
        (line,) = done.stderr.splitlines()
        return line

    return refused


@pytest.fixture
def deaf_port() -> Iterator[int]:
    """A port at which nobody listens."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        yield int(taken.getsockname()[1])


@pytest.fixture
def parrot_port() -> Iterator[int]:
    """A peer that answers every connection with a line that is no WebSocket handshake."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            while True:
                try:
                    peer, _ = server.accept()
                except OSError:
                    return
                with peer:
                    peer.recv(1000)
                    peer.sendall(b"220 mail.example ready\r\n")

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield int(server.getsockname()[1])
        server.shutdown(socket.SHUT_RDWR)
    thread.join(5)


def test_every_command_explains_itself_with_an_example(ohmvigil: Run) -> None:
    """`--help` lists the commands; each command's own help ends with an example."""
    listing = ohmvigil("--help").stdout
    commands = re.findall(r"^    (\w+) ", listing, re.MULTILINE)
    assert {"demo", "watch", "record", "replay", "judge", "simulate"} <= set(commands)
    for command in commands:
        done = ohmvigil(command, "--help")
        assert done.returncode == 0
        assert f"example: ohmvigil {command}" in done.stdout


def test_an_unknown_scenario_is_named_with_those_there_are(refusal: Refusal) -> None:
    assert "no-such-thing" in refusal("demo", "--plain", "--scenario", "no-such-thing")


def test_a_speed_that_cannot_be_is_named_with_its_bound(refusal: Refusal) -> None:
    for speed in ("0", "-3", "nan", "1e9"):
        assert "--speed" in refusal("demo", "--plain", "--speed", speed)


def test_a_wrong_option_is_one_line(refusal: Refusal) -> None:
    assert "--sped" in refusal("demo", "--sped", "3")


def test_a_bad_address_names_the_address(refusal: Refusal, tmp_path: Path) -> None:
    output = str(tmp_path / "out.ohmv")
    assert "http://printer" in refusal("record", "http://printer", "-o", output)


def test_a_refused_port_names_the_address(refusal: Refusal, deaf_port: int, tmp_path: Path) -> None:
    address = f"ws://127.0.0.1:{deaf_port}"
    assert address in refusal("record", address, "-o", str(tmp_path / "out.ohmv"))


def test_a_peer_that_is_no_websocket_is_told_apart(
    refusal: Refusal, parrot_port: int, tmp_path: Path
) -> None:
    address = f"ws://127.0.0.1:{parrot_port}"
    line = refusal("record", address, "-o", str(tmp_path / "out.ohmv"))
    assert address in line
    assert "WebSocket" in line


@pytest.mark.parametrize(
    ("content", "named"),
    [
        (b"seconds,nozzle.temperature_c\n0,20\n", "line 1"),
        (b"Dear diary, today the printer was fine.\nThe end.\n", "line 1"),
        (b"time_s,nozzle.temperature_c\n0,20\n1,warm\n", ":3"),
        (b"time_s,nozzle.temperature_c\n5,20\n4,21\n", ":3"),
        (b"PK\x03\x04\x00\x00binary\x00\x00", "broken.csv"),
        (b"", "broken.csv"),
    ],
)
def test_a_broken_log_names_file_and_line(
    refusal: Refusal, tmp_path: Path, content: bytes, named: str
) -> None:
    path = tmp_path / "broken.csv"
    path.write_bytes(content)
    line = refusal("judge", str(path))
    assert str(path) in line
    assert named in line or named.replace("line ", ":") in line


def test_a_missing_file_is_named(refusal: Refusal) -> None:
    assert "nowhere.csv" in refusal("judge", "nowhere.csv")


def test_screens_need_a_terminal(refusal: Refusal, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time_s,nozzle.temperature_c\n0,20\n1,20.1\n")
    assert "terminal" in refusal("replay", str(path))


def test_judge_prints_the_contracts_records(ohmvigil: Run, tmp_path: Path) -> None:
    """An open from the first reading: events, a cause, a verdict, and exit 1."""
    path = tmp_path / "open.csv"
    rows = [f"{i * 0.25},{889.65},65535,open" for i in range(400)]
    path.write_text(
        "\n".join(["time_s,nozzle.temperature_c,nozzle.code,nozzle.flags", *rows]) + "\n"
    )
    done = ohmvigil("judge", str(path), "--json")
    assert done.returncode == 1, done.stderr
    records = [json.loads(line) for line in done.stdout.splitlines()]
    assert records[0]["record"] == "file"
    assert records[0]["channels"] == ["nozzle"]
    assert records[0]["samples"] == 800
    assert any("16 bits" in words for words in records[0]["assumed"])
    events = [record for record in records if record["record"] == "event"]
    assert {event["kind"] for event in events} >= {"code-high", "converter-flag"}
    high = next(event for event in events if event["kind"] == "code-high")
    assert high["start_s"] == 0.0
    assert high["end_s"] is None
    assert high["measure"] == {"value": 65535.0, "unit": "codes"}
    causes = [record for record in records if record["record"] == "cause"]
    assert causes
    assert causes[0]["next_check"]
    assert sum(cause["probability"] for cause in causes) <= 1.001
    assert records[-1]["record"] == "verdict"
    assert records[-1]["severity"] == "failure"


def test_a_quiet_log_ends_with_zero(ohmvigil: Run, tmp_path: Path) -> None:
    path = tmp_path / "quiet.csv"
    noise = random.Random(1)
    rows = [f"{i},{20 + noise.gauss(0.0, 0.02):.2f}" for i in range(300)]
    path.write_text("\n".join(["time_s,room.temperature_c", *rows]) + "\n")
    done = ohmvigil("judge", str(path))
    assert done.returncode == 0, done.stdout + done.stderr
    assert "verdict: notice" in done.stdout


class Shown(NamedTuple):
    """The demo without a terminal, in a process of its own: what it printed and recorded."""

    code: int
    out: str
    err: str
    recorded: bytes


@pytest.fixture
def shown(tmp_path: Path) -> Shown:
    def run() -> Shown:
        path = tmp_path / "live.ohmv"
        words = ("demo", "--plain", "--speed", "60", "--for", "300", "-o", str(path))
        done = program(tmp_path, *words)
        return Shown(done.returncode, done.stdout, done.stderr, path.read_bytes())

    return once("the demo without a terminal", run)


def test_the_demo_names_the_fault_without_a_terminal(shown: Shown) -> None:
    """The default scenario ends with its kind, its cause and a check."""
    assert shown.code == 0, shown.err
    assert "contact-break" in shown.out
    assert "loose-connection" in shown.out
    assert "next check" in shown.out
    assert "caution" in shown.out


def test_a_recording_made_live_is_judged_the_same_again(
    shown: Shown, ohmvigil: Run, tmp_path: Path
) -> None:
    """Events that were seen live, and those of `judge` on the recording, agree to the byte."""
    path = tmp_path / "shown.ohmv"
    path.write_bytes(shown.recorded)
    recording = Recording(path)
    newest = {event.id: event for event in recording.events()}
    recording.close()
    live = [encode(event_record(event)) for event in visible(newest[id_] for id_ in sorted(newest))]
    judged = ohmvigil("judge", str(path), "--json").stdout.splitlines()
    assert [line for line in judged if '"record":"event"' in line] == live
    assert live


@pytest.mark.long
def test_an_interrupted_recording_is_complete(ohmvigil: Run, tmp_path: Path) -> None:
    """Ctrl-C ends `record` with exit 0 and a file that opens."""
    simulate = subprocess.Popen(
        [sys.executable, "-m", "tui.main", "simulate", "--port", "0", "--speed", "20"],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    assert simulate.stdout is not None
    address = simulate.stdout.readline().split()[0]
    path = tmp_path / "cut.ohmv"
    record = subprocess.Popen(
        [sys.executable, "-m", "tui.main", "record", address, "-o", str(path)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    assert record.stdout is not None
    for line in record.stdout:
        if "contact-break" in line:
            break
    record.send_signal(signal.SIGINT)
    rest = record.stdout.read()
    assert record.wait(30) == 0
    simulate.send_signal(signal.SIGTERM)
    assert simulate.wait(30) == 0
    simulate.stdout.close()
    record.stdout.close()
    assert "verdict" in rest
    assert ohmvigil("judge", str(path)).returncode == 1
    assert not os.path.exists(f"{path}-wal")  # noqa: PTH110
