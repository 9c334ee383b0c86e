"""`record` and `watch` over days: new files, what is said, hang-ups, kills, waiting for a host."""

import argparse
import os
import pty
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import cast

import pytest

from client.profile import simulated_profile
from client.simulated.host import SimulatedHost
from client.simulated.scenario import load_scenario
from recordings.check import verify
from recordings.reader import Recording
from recordings.writer import Recorder
from shared.errors import BadInput
from tests.recordings.logs import joined, night
from tui.hosts import recording_meta
from tui.longrun import FilePlan, bytes_of, file_names, file_plan_of, open_rolling
from tui.main import parser
from tui.pipeline import Live
from tui.recording_lines import RecordingLines
from tui.snapshot import LinkState, RecordingView

ROOT = Path(__file__).parents[2]
PROGRAM = [sys.executable, "-m", "tui.main"]


@pytest.fixture
def address() -> Iterator[str]:
    """A simulated host whose contact breaks, at 20 times real time."""
    host = SimulatedHost(load_scenario("loose-terminal"), 1, 20.0)
    yield host.start()
    host.stop()


def whole(path: Path) -> bool:
    """Closed, without damage, with data."""
    report = verify(path)
    return report.is_whole and report.is_closed and report.whole["sample_blocks"] > 0


def wait_for(path: Path, size: int = 1) -> None:
    """Wait until a recording holds some sample blocks."""
    deadline = time.monotonic() + 60.0
    while time.monotonic() < deadline:
        if path.exists():
            try:
                recording = Recording(path)
            except BadInput:
                continue
            found = sum(len(batch) for batch in recording.batches())
            recording.close()
            if found >= size:
                return
        time.sleep(0.05)
    raise AssertionError("nothing was recorded")


# -- options --


def plan(**given: object) -> FilePlan:
    options = {"new_file_at": [], "keep": None, "keep_size": None, **given}
    return file_plan_of(argparse.Namespace(**options))


def test_a_day_or_500_mb_is_a_file_and_nothing_is_deleted_by_default() -> None:
    found = plan()
    assert (found.new_file_s, found.new_file_bytes) == (86_400.0, 500_000_000)
    assert not found.limits.are_set


def test_age_and_size_may_both_be_given() -> None:
    found = plan(new_file_at=["12h", "20MB"], keep="30d", keep_size="2GB")
    assert (found.new_file_s, found.new_file_bytes) == (43_200.0, 20_000_000)
    assert (found.limits.keep_s, found.limits.keep_bytes) == (30 * 86_400.0, 2_000_000_000)


def test_files_are_small_enough_for_what_is_kept() -> None:
    """Else nothing could go before the limit is broken."""
    assert plan(keep_size="600MB").new_file_bytes == 100_000_000


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"new_file_at": ["soon"]}, "--new-file-at: 'soon' is no length of time"),
        ({"new_file_at": ["5mb"]}, "--new-file-at: '5mb' is no size"),
        ({"new_file_at": ["1kB"]}, "--new-file-at: too small"),
        ({"keep": "x"}, "--keep: 'x' is no length of time"),
        ({"keep_size": "9" * 20 + "B"}, "--keep-size: "),
        ({"keep_size": "1MB"}, "--keep-size: holds less than one file"),
        ({"keep_size": "10MB", "new_file_at": ["20MB"]}, "--keep-size: holds less than one file"),
    ],
)
def test_a_wrong_limit_is_named(given: dict[str, object], words: str) -> None:
    with pytest.raises(BadInput, match=re.escape(words)):
        plan(**given)


def test_sizes_are_powers_of_a_thousand() -> None:
    """SI prefixes (IEC 80000-13 keeps those of 1024 apart as Ki, Mi, Gi)."""
    assert [bytes_of(text, "x") for text in ("3B", "800kB", "1.5MB", "2GB", "1TB")] == [
        3,
        800_000,
        1_500_000,
        2_000_000_000,
        1_000_000_000_000,
    ]


def test_files_of_a_run_are_numbered_and_taken_names_left_out(tmp_path: Path) -> None:
    (tmp_path / "a-2.ohmv").touch()
    names = file_names(str(tmp_path / "a.ohmv"), "t")
    assert [path.name for path in islice(names, 3)] == ["a.ohmv", "a-3.ohmv", "a-4.ohmv"]


def test_files_by_date_never_share_a_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    names = file_names(None, "my host")
    found = []
    for path in islice(names, 3):
        path.touch()
        found.append(path)
    assert len(set(found)) == 3
    assert all(re.fullmatch(r"my-host-\d{8}-\d{6}(-\d)?\.ohmv", path.name) for path in found)


# -- looking back --


def test_a_recording_that_was_cut_off_is_said_once(tmp_path: Path) -> None:
    """After a kill the next run names the file; the run after that does not."""
    profile = simulated_profile("ws://127.0.0.1:1", {})
    code = (
        "import os, sys; from pathlib import Path\n"
        "from client.profile import simulated_profile\n"
        "from recordings.writer import Recorder\n"
        "from tests.recordings.logs import night\n"
        "from tui.hosts import recording_meta\n"
        "meta = recording_meta(simulated_profile('ws://127.0.0.1:1', {}), 'garage')\n"
        "recorder = Recorder(Path(sys.argv[1]), meta)\n"
        "recorder.updates(night(100)); recorder.flush(); os.kill(os.getpid(), 9)\n"
    )
    path = tmp_path / "old.ohmv"
    done = subprocess.run([sys.executable, "-c", code, str(path)], cwd=ROOT, check=False)
    assert done.returncode == -signal.SIGKILL
    said: list[str] = []
    for number in range(2):
        new = open_rolling(str(tmp_path / f"new{number}.ohmv"), profile, "garage", tell=said.append)
        new.close()
    assert len(said) == 1
    assert "old.ohmv was not closed: the program was killed, or power failed" in said[0]
    assert verify(path).is_whole
    recording = Recording(path)
    assert joined(recording.batches()) == night(100)
    recording.close()


def test_a_second_program_on_the_same_host_is_said(tmp_path: Path) -> None:
    """Each goes on in its own file."""
    profile = simulated_profile("ws://127.0.0.1:1", {})
    other = Recorder(tmp_path / "other.ohmv", recording_meta(profile, "garage"))
    other.updates(night(10))
    assert other.flush()
    said: list[str] = []
    ours = open_rolling(str(tmp_path / "ours.ohmv"), profile, "garage", tell=said.append)
    assert said == ["other.ohmv of this host is in use by another program; both go on"]
    with pytest.raises(BadInput, match="there is a file of this name already"):
        open_rolling(str(tmp_path / "other.ohmv"), profile, "garage")
    ours.close()
    other.close()
    assert other.trouble == ""


# -- the commands --


def test_a_host_that_is_off_is_bad_input_at_once(tmp_path: Path) -> None:
    """And the file's name stays free for the next try."""
    path = tmp_path / "a.ohmv"
    done = subprocess.run(
        [*PROGRAM, "record", "ws://127.0.0.1:1/", "-o", str(path)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 2
    assert "connection refused" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_with_wait_a_host_may_come_later(tmp_path: Path) -> None:
    """It says once why there is no link, and records when the host is there."""
    host = SimulatedHost(load_scenario("loose-terminal"), 1, 20.0)
    later = host.start()
    host.stop()
    path = tmp_path / "a.ohmv"
    child = subprocess.Popen(
        [*PROGRAM, "record", later, "-o", str(path), "--wait"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    assert child.stderr is not None
    assert "no host yet: connection refused" in child.stderr.readline()
    port = int(later.rpartition(":")[2].strip("/"))
    host = SimulatedHost(load_scenario("loose-terminal"), 1, 20.0, port)
    host.start()
    wait_for(path)
    child.send_signal(signal.SIGINT)
    child.communicate(timeout=60)
    host.stop()
    assert child.returncode == 0
    assert whole(path)


class OnTerminal:
    """A program on a terminal of its own, which may be closed."""

    def __init__(self, *arguments: str, through: str = "") -> None:
        self.line, end = pty.openpty()
        words = [*PROGRAM, *arguments]
        if through:
            words = ["sh", "-c", f"{' '.join(words)} | {through}"]
        self.child = subprocess.Popen(
            words,
            cwd=ROOT,
            stdin=end,
            stdout=end,
            stderr=end,
            start_new_session=True,
            env={**os.environ, "TERM": "xterm-256color"},
        )
        os.close(end)

    def close(self, times: int = 1) -> None:
        """Close the terminal; its programs get a hang-up, as from the system and the shell."""
        os.close(self.line)
        for _ in range(times):
            os.killpg(self.child.pid, signal.SIGHUP)
            time.sleep(0.02)


def test_record_survives_its_terminal(tmp_path: Path, address: str) -> None:
    """The terminal is closed; it records on until it is told to end, and closes its file."""
    path = tmp_path / "a.ohmv"
    terminal = OnTerminal("record", address, "-o", str(path))
    wait_for(path)
    terminal.close()
    before = Recording(path)
    rows = sum(len(batch) for batch in before.batches())
    before.close()
    wait_for(path, rows + 100)
    assert terminal.child.poll() is None
    terminal.child.terminate()
    assert terminal.child.wait(60) == 0
    assert whole(path)


@pytest.mark.long
def test_record_ends_with_its_terminal_by_choice(tmp_path: Path, address: str) -> None:
    path = tmp_path / "a.ohmv"
    terminal = OnTerminal("record", address, "-o", str(path), "--end-on-hangup")
    wait_for(path)
    terminal.close(times=3)
    assert terminal.child.wait(60) == 0
    assert whole(path)


@pytest.mark.long
def test_watch_closes_its_recording_with_its_terminal(tmp_path: Path, address: str) -> None:
    """However often the hang-up comes, the file is complete."""
    path = tmp_path / "a.ohmv"
    terminal = OnTerminal("watch", address, "-o", str(path))
    os.set_blocking(terminal.line, False)
    deadline = time.monotonic() + 60.0
    seen = b""
    while b"quit" not in seen and time.monotonic() < deadline:
        try:
            seen += os.read(terminal.line, 65536)
        except BlockingIOError:
            time.sleep(0.05)
    wait_for(path)
    terminal.close(times=5)
    terminal.child.wait(60)
    assert whole(path)
    assert not Path(f"{path}-wal").exists()


# -- lines --


class Standing:
    """What the lines ask of a live watch."""

    def __init__(self) -> None:
        self.recording = RecordingView("a.ohmv", 0)
        self.link_state = LinkState.OPEN
        self.link_why = ""
        self.is_heard = True


def test_troubles_new_files_and_clock_steps_are_said_once_each(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Figures that move are no news; that it goes on again is."""
    live = Standing()
    lines = RecordingLines("garage")
    wall = time.time
    for path, trouble, moved_s in (
        ("a.ohmv", "", 0.0),
        ("a.ohmv", "cannot store: only 15 MiB are free on the disk", 0.0),
        ("a.ohmv", "cannot store: only 14 MiB are free on the disk", 0.0),
        ("a.ohmv", "", 0.0),
        ("a-2.ohmv", "", 0.0),
        ("a-2.ohmv", "", 3600.0),
        ("a-2.ohmv", "", 3600.0),
    ):
        live.recording = RecordingView(path, 0, trouble)
        monkeypatch.setattr("tui.recording_lines.time.time", lambda by=moved_s: wall() + by)
        lines.show(cast(Live, live))
    monkeypatch.undo()
    said = capsys.readouterr()
    assert said.out.splitlines() == ["recording garage to a.ohmv", "recording garage to a-2.ohmv"]
    assert said.err.splitlines() == [
        "ohmvigil: garage: cannot store: only 15 MiB are free on the disk",
        "ohmvigil: garage: recording goes on; everything is stored",
        "ohmvigil: garage: the clock was set by +3600 s; log time goes on",
    ]


def test_the_service_of_the_docs_is_one_that_systemd_takes(tmp_path: Path) -> None:
    """`systemd-analyze verify` finds nothing, and `record` knows every option in it."""
    verifier = shutil.which("systemd-analyze")
    if verifier is None:
        pytest.skip("there is no systemd-analyze here")
    text = (ROOT / "docs" / "ohmvigil-record.service").read_text(encoding="utf-8")
    command = next(line for line in text.splitlines() if line.startswith("ExecStart="))
    program, *arguments = command.removeprefix("ExecStart=").split()
    assert program == "%h/.local/bin/ohmvigil"
    assert parser().parse_args(arguments).command == "record"
    unit = tmp_path / "ohmvigil-record.service"
    unit.write_text(text.replace(program, "/bin/true"), encoding="utf-8")
    done = subprocess.run(
        [verifier, "verify", "--user", str(unit)],
        env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path), "HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout + done.stderr) == (0, "")
