"""A strange host followed by the README alone: learn, check, record, export, by real commands."""

import csv
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.client.learn.odd import shapes
from tests.client.learn.odd.host import OddHost
from tests.client.learn.odd.machine import Machine
from tests.client.learn.odd.server import Served

ROOT = Path(__file__).parents[2]
HOSTS = (
    shapes.polled_nested,
    shapes.topics,
    shapes.greeting_needed,
    shapes.own_state_word,
    shapes.token_wanted,
)
NEAR = {"temperature_c": 0.06, "target_c": 0.05, "power": 0.006}


def ohmvigil(folder: Path, host: OddHost, *arguments: str) -> str:
    """What a command printed; it must succeed."""
    done = subprocess.run(
        [sys.executable, "-m", "tui.main", *arguments],
        check=False,
        capture_output=True,
        text=True,
        timeout=120,
        cwd=ROOT,
        stdin=subprocess.DEVNULL,
        env={
            **os.environ,
            "XDG_CONFIG_HOME": str(folder),
            "XDG_DATA_HOME": str(folder),
            "ODD_TOKEN": host.token,
        },
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout


@pytest.mark.slow
@pytest.mark.parametrize("make", HOSTS)
def test_a_strange_host_is_learnt_checked_and_recorded(
    make: Callable[[], OddHost], tmp_path: Path
) -> None:
    """Each row of the recording is, in all it says, what the machine was at one moment."""
    host = make()
    with Served(host, tmp_path) as served:
        asks = [each for text in host.requests for each in (host.way_of_asking, text)]
        listen = ("--listen", "8", "--prove", "1", "--yes", "--name", "odd")
        ohmvigil(tmp_path, host, "learn", served.address, *asks, *host.options, *listen)
        said = ohmvigil(tmp_path, host, "watch", "odd", "--check")
        for key in host.must:
            assert f"  {key} " in said
        file = str(tmp_path / "odd.ohmv")
        ohmvigil(tmp_path, host, "record", "odd", "--for", "5", "-o", file)
    log = tmp_path / "odd.csv"
    ohmvigil(tmp_path, host, "export", file, "-o", str(log))
    assert_true(host, log)
    if host.token:
        written = [path for path in tmp_path.rglob("*") if path.is_file()]
        assert all(host.token.encode() not in path.read_bytes() for path in written)


def assert_true(host: OddHost, log: Path) -> None:
    machine, moments = Machine(host.life), list[dict[str, float]]()
    keys = [key for key in host.must if key.rpartition(".")[2] in NEAR]
    for _ in range(200):
        machine.step()
        moments.append({key: float(host.truth(key, machine) or 0.0) for key in keys})
    with log.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    seen = dict.fromkeys(keys, 0)
    for row in rows:
        said = {key: float(row[key]) for key in keys if row.get(key)}
        for key in said:
            seen[key] += 1
        near = [
            all(abs(moment[k] - v) <= NEAR[k.rpartition(".")[2]] for k, v in said.items())
            for moment in moments
        ]
        assert any(near), said
    assert min(seen.values()) >= 1
    assert seen["nozzle.temperature_c"] >= 10
