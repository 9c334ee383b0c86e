"""A host that comes later, and a secret that stays one, through the real program."""

import os
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import pytest

from client.simulated.host import SimulatedHost
from client.simulated.scenario import load_scenario
from tests.client.learn.odd.server import Served
from tests.client.learn.odd.shapes import token_wanted
from tests.tui.running import program
from tests.tui.test_hostile import ROOT, Line

SECRET = "wax and feathers"
PROFILE = """format = 1
addresses = ["{address}"]
[token]
{source}
header = "X-Key"
prefix = ""
[[updates]]
status = "/data"
[channels.nozzle]
base = "/nozzle"
temperature_c = "/temp"
target_c = "/target"
"""


def free_port() -> int:
    host = SimulatedHost(load_scenario("healthy-print"), 1, 1.0)
    port = int(host.start().rpartition(":")[2].partition("/")[0])
    host.stop()
    return port


@pytest.mark.slow
def test_watch_waits_for_a_host_that_is_off(tmp_path: Path) -> None:
    """The screen says why it waits; readings come once the host is on."""
    port = free_port()
    line = Line(tmp_path, "watch", "--wait", f"ws://127.0.0.1:{port}", size=(100, 30))
    line.read("connection refused")
    host = SimulatedHost(load_scenario("healthy-print"), 1, 4.0, port)
    host.start()
    try:
        line.read("nozzle", "open")
        line.press("q")
        assert line.end() == 0
    finally:
        host.stop()
    assert len(list((tmp_path / "ohmvigil").glob("*.ohmv"))) == 1


@pytest.mark.slow
@pytest.mark.parametrize("way", ["env", "file"])
def test_a_token_is_in_nothing_that_is_written_or_shown(tmp_path: Path, way: str) -> None:
    """Process list, output, recording, report and bundle, even where the host echoes nothing."""
    (tmp_path / "key").write_text(SECRET)
    (tmp_path / "key").chmod(0o600)
    source = 'env = "ODD_TOKEN"' if way == "env" else f'file = "{tmp_path / "key"}"'
    made = tmp_path / "made"
    made.mkdir()
    file = str(made / "n.ohmv")
    with Served(token_wanted(), tmp_path) as served:
        profile = made / "p.toml"
        profile.write_text(PROFILE.format(address=served.address, source=source))
        with subprocess.Popen(
            [sys.executable, "-m", "tui.main", "record", str(profile), "--for", "3", "-o", file],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            env={**os.environ, "ODD_TOKEN": SECRET if way == "env" else ""},
        ) as child:
            time.sleep(1.0)
            listed = Path(f"/proc/{child.pid}/cmdline").read_bytes()
            said, _ = child.communicate(timeout=60)
        assert child.returncode == 0, said
        wrong = {**os.environ, "ODD_TOKEN": "clay and lead"}
        profile.write_text(PROFILE.format(address=served.address, source='env = "ODD_TOKEN"'))
        refused = subprocess.run(
            [sys.executable, "-m", "tui.main", "record", str(profile), "-o", str(made / "x.ohmv")],
            check=False,
            capture_output=True,
            cwd=ROOT,
            env=wrong,
            timeout=60,
        )
    assert refused.returncode == 2
    assert b"HTTP status 401" in refused.stderr
    for command, end in (("report", "html"), ("report", "md"), ("bundle", "zip")):
        out = made / f"n.{end}"
        assert program(tmp_path, command, file, "-o", str(out)).returncode == 0
    with zipfile.ZipFile(made / "n.zip") as bundle:
        inside = [bundle.read(name) for name in bundle.namelist()]
    written = [path.read_bytes() for path in made.rglob("*") if path.is_file()]
    for each in (listed, said, refused.stdout, refused.stderr, *inside, *written):
        assert SECRET.encode() not in each
        assert b"clay and lead" not in each
    assert b"p.toml" in listed
