"""Hostile text from hosts and files, through the real program on a real terminal line."""

import fcntl
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
import time
from contextlib import suppress
from pathlib import Path

import pytest

from tests.tui.hostile import MARKUP, SEQUENCES, HostileHost, evil, passed

ROOT = Path(__file__).parents[2]
DEADLINE_S = 60.0


class Line:
    """The program on a pseudo-terminal; `shown` is every byte that came to it."""

    def __init__(self, folder: Path, *arguments: str, size: tuple[int, int] = (120, 40)) -> None:
        self._line, end = pty.openpty()
        fcntl.ioctl(end, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
        self.child = subprocess.Popen(
            [sys.executable, "-m", "tui.main", *arguments],
            cwd=ROOT,
            stdin=end,
            stdout=end,
            stderr=end,
            start_new_session=True,
            env={
                **os.environ,
                "TERM": "xterm-256color",
                "XDG_DATA_HOME": str(folder),
                "XDG_CONFIG_HOME": str(folder),
            },
        )
        os.close(end)
        self.shown = b""

    def read(self, *wanted: str) -> bytes:
        """Read on until all of some words have come, or to the end."""
        end = time.monotonic() + DEADLINE_S
        while not (wanted and all(word.encode() in self.shown for word in wanted)):
            if not select.select([self._line], [], [], max(end - time.monotonic(), 0.0))[0]:
                self.child.kill()
                raise AssertionError(f"{wanted} never came: {self.shown[-800:]!r}")
            try:
                more = os.read(self._line, 65536)
            except OSError:  # the child's end is closed
                break
            if not more:
                break
            self.shown += more
        return self.shown

    def press(self, keys: str) -> None:
        with suppress(OSError):  # the child may have ended
            os.write(self._line, keys.encode())

    def end(self) -> int:
        """Read to the end; the exit code."""
        self.read()
        os.close(self._line)
        return self.child.wait(DEADLINE_S)


@pytest.fixture(scope="module")
def learnt(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what `learn` wrote of a hostile host, and nothing that came through."""
    folder = tmp_path_factory.mktemp("learnt")
    with HostileHost("talk") as host:
        arguments = ("--yes", "--listen", "6", "--prove", "1", "--name", "a")
        line = Line(folder, "learn", host.address, *arguments)
        assert line.end() == 0, line.shown
    assert "sid ebar red mark" in line.shown.decode()
    assert passed(line.shown, plain=True) == []
    return folder


def profile_at(folder: Path, address: str, name: str, *more: str) -> str:
    """A copy of what was learnt for another host of the kind; markup in a channel's name."""
    text = (folder / "ohmvigil" / "a.toml").read_text(encoding="utf-8")
    text, count = re.subn(r'channels\."sid ebar[^"]*"', f'channels."Sidebar{MARKUP}"', text)
    assert count
    lines = [
        f'addresses = ["{address}"]' if line.startswith("addresses") else line
        for line in text.splitlines()
    ]
    path = folder / "ohmvigil" / f"{name}.toml"
    path.write_text("\n".join([*lines, *more]) + "\n", encoding="utf-8")
    return name


@pytest.mark.slow
def test_nothing_passes_through_the_screen(learnt: Path) -> None:
    """Names, flags, messages and states in every view; markup is shown as it was sent."""
    with HostileHost("talk") as host:
        line = Line(learnt, "watch", profile_at(learnt, host.address, "one"))
        line.read("Sidebar", "converter-flag")
        for key in "2345671":
            line.press(key)
            time.sleep(0.4)
        line.press("?")
        line.read("help")
        line.press("?q")
        assert line.end() == 0, line.shown[-500:]
    assert b"Traceback" not in line.shown
    assert b"[red]" in line.shown
    assert passed(line.shown, plain=False) == []


@pytest.mark.slow
def test_nothing_passes_through_the_list_of_hosts(learnt: Path) -> None:
    """Nor through one of them that is opened, and one that closes with a hostile reason."""
    with HostileHost("talk") as one, HostileHost("close") as other:
        names = [profile_at(learnt, h.address, n) for h, n in ((one, "x"), (other, "y"))]
        line = Line(learnt, "watch", *names)
        line.read("converter-flag", "lost")
        line.press("\r")
        time.sleep(0.6)
        line.press("q")
        time.sleep(0.3)
        line.press("q")
        assert line.end() == 0, line.shown[-500:]
    assert b"Traceback" not in line.shown
    assert passed(line.shown, plain=False) == []


@pytest.mark.slow
@pytest.mark.parametrize("form", [(), ("--json",)])
def test_nothing_passes_through_lines_reports_and_checks(
    learnt: Path, tmp_path: Path, form: tuple[str, ...]
) -> None:
    """`record`, `watch --check`, `judge` and `report` of what was recorded."""
    file = tmp_path / "n.ohmv"
    with HostileHost("talk") as host:
        name = profile_at(learnt, host.address, f"z{len(form)}")
        record = Line(learnt, "record", name, "--for", "6", "-o", str(file), *form)
        assert record.end() == 0
        check = Line(learnt, "watch", name, "--check")
        assert check.end() == 0
    judge = Line(learnt, "judge", str(file), *form)
    assert judge.end() == 1
    for each in (record, check, judge):
        assert b"Sidebar" in each.shown
        assert b"Traceback" not in each.shown
        assert passed(each.shown, plain=True) == []
    for end in ("html", "md"):
        page = tmp_path / f"n.{end}"
        report = Line(learnt, "report", str(file), "-o", str(page))
        assert report.end() == 0
        text = page.read_bytes()
        assert b"Sidebar" in text
        assert passed(text, plain=True) == []
        if end == "html":
            assert b"<b>up" not in text
            assert b"&lt;b&gt;up" in text


@pytest.mark.slow
@pytest.mark.parametrize(
    ("way", "told"), [("refuse", "refused"), ("deny", "403"), ("move", "elsewhere.example")]
)
@pytest.mark.parametrize("command", ["watch", "record", "learn"])
def test_nothing_passes_through_errors(way: str, told: str, command: str, tmp_path: Path) -> None:
    """One line, whatever a refusal, an HTTP answer or a redirect says."""
    with HostileHost(way) as host:
        arguments: tuple[str, ...] = (host.address,)
        if command == "learn":
            arguments += ("--yes", "--name", "b", "--listen", "2", "--send", '{"method": "begin"}')
        line = Line(tmp_path, command, *arguments)
        if (command, way) == ("watch", "refuse"):
            # The link was open for a moment, so the screen may be, too.
            line.read("quit")
            line.press("q")
        assert line.end() == 2
    text = line.shown.decode()
    assert told in text
    assert "Traceback" not in text
    (last,) = [each for each in text.splitlines() if "ohmvigil: " in each]
    assert passed(last[last.index("ohmvigil: ") :].encode(), plain=True) == []
    assert passed(line.shown, plain=False) == []


def log_with(folder: Path, column: str) -> Path:
    """A plain log of someone's with hostile messages and flags; `column` names a channel."""
    path = folder / "log.csv"
    flags = evil("open").replace("\0", "")
    message = evil("message").replace("\0", "")
    rows = [f'time_s,"{column}.temperature_c","{column}.flags",host.message']
    for n in range(120):
        shown = 210.0 + (n % 5) * 0.1 + (250.0 if n % 40 == 9 else 0.0)
        flag = flags if n % 40 == 9 else "none"
        rows.append(f'{n * 0.25},{shown},"{flag}","{message}"')
    path.write_text("\r\n".join(rows) + "\r\n", encoding="utf-8", newline="")
    return path


@pytest.mark.slow
@pytest.mark.parametrize("form", [(), ("--json",)])
def test_nothing_passes_through_judging_a_log(tmp_path: Path, form: tuple[str, ...]) -> None:
    """Messages and flags of a file that someone sent."""
    line = Line(tmp_path, "judge", str(log_with(tmp_path, f"nozzle{MARKUP}")), *form)
    assert line.end() == 1, line.shown
    assert b"nozzle[red]" in line.shown
    assert b"Traceback" not in line.shown
    assert passed(line.shown, plain=True) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in SEQUENCES if "." not in SEQUENCES[name]])
def test_a_log_with_a_hostile_column_is_refused_in_a_clean_line(name: str, tmp_path: Path) -> None:
    """It names the column as far as it can be printed."""
    line = Line(tmp_path, "judge", str(log_with(tmp_path, f"noz{SEQUENCES[name]}zle")))
    assert line.end() == 2
    assert line.shown.count(b"\n") == 1
    assert passed(line.shown, plain=True) == []


@pytest.mark.parametrize("name", SEQUENCES)
def test_the_measure_sees_what_it_looks_for(name: str) -> None:
    """Each sequence is told when it is there, on a screen or among lines."""
    raw = f"before {SEQUENCES[name]} after".encode()
    assert passed(raw, plain=True)
    assert passed(raw, plain=False) or name == "bell and backspace"
