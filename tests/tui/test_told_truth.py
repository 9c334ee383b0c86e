"""Over a real socket: what is said of a reading that the host has lost, and of its stop."""

import asyncio
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.serving import Serving
from tests.tui.running import here

EVERY_S = 0.1
LOST_AT = 15
"""Messages after which each host loses its nozzle and stops."""
CUT = "Heat was cut: the tip is not there any more."
HEAD = """format = 1
title = "{title}"
addresses = ["{address}"]
[[updates]]
status = ""
[channels.nozzle]
temperature_c = "/tip/is"
target_c = {{ at = "/tip/goal", words = {{ off = "0" }} }}
[channels.bed]
temperature_c = "/plate/is"
"""
STATE = """[channels.host.state]
at = "/mood"
words = { well = "up" }
patterns = { "cut" = "halted" }
"""
RULE = """[[messages]]
pattern = "heat was cut"
state = "halted"
"""


class Talking(Serving):
    """Sends what `says` gives for message 0, 1, 2…, a line each."""

    def __init__(self, says: Callable[[int], list[Any]]) -> None:
        super().__init__("talking")
        self._says = says

    async def listen(self) -> None:
        server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        async with server:
            await self.be_at(f"tcp://127.0.0.1:{server.sockets[0].getsockname()[1]}")

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            for n in range(1000):
                for body in self._says(n):
                    writer.write(json.dumps(body).encode() + b"\n")
                await asyncio.sleep(EVERY_S)
        finally:
            writer.transport.abort()


def readings(n: int, lost: Any) -> dict[str, Any]:
    is_lost = n >= LOST_AT
    tip = {"is": lost if is_lost else 210.0 + 0.01 * (n * 7 % 13), "goal": 210.0}
    return {"tip": {**tip, **({"goal": "off"} if is_lost else {})}, "plate": {"is": 60 + n % 2}}


def with_state(n: int) -> list[Any]:
    return [{**readings(n, None), "mood": "well" if n < LOST_AT else "All heat is cut."}]


def with_words(n: int) -> list[Any]:
    return [readings(n, "not there"), *([{"shout": CUT}] if n == LOST_AT else [])]


def events_of(lines: str, host: str = "") -> dict[tuple[str, str], dict[str, Any]]:
    """The newest telling of each event, by kind and channel."""
    told = [json.loads(line) for line in lines.splitlines()]
    return {
        (one["kind"], one["channel"]): one
        for one in told
        if one["record"] == "event" and (not host or one.get("host") == host)
    }


@pytest.fixture(name="run")
def _run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> tuple[str, list[Path]]:
    """What `record` prints of two hosts in four seconds, and the recordings."""
    with Talking(with_state) as one, Talking(with_words) as other:
        for title, host, more in [("state", one, STATE), ("words", other, RULE)]:
            text = HEAD.format(title=title, address=host.address) + more
            (tmp_path / f"{title}.toml").write_text(text, encoding="utf-8")
        names = [str(tmp_path / f"{name}.toml") for name in ("state", "words")]
        done = here(capsys, tmp_path, "record", *names, "--for", "4", "--json")
    assert done.returncode == 0, done.stderr
    return done.stdout, sorted((tmp_path / "ohmvigil").glob("*.ohmv"))


def test_a_lost_reading_and_a_stop_are_told_as_they_are(
    run: tuple[str, list[Path]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Live, from the recording, and from its export: the same events in the hosts' own words."""
    printed, recordings = run
    state, words = events_of(printed, "state"), events_of(printed, "words")
    assert set(state) == set(words) == {("stale", "nozzle"), ("halt", "*")}
    assert state["stale", "nozzle"]["text"].endswith("the host says 'null'")
    assert words["stale", "nozzle"]["text"].endswith("the host says 'not there'")
    assert state["halt", "*"]["text"] == "the host stopped the machine: All heat is cut."
    assert words["halt", "*"]["text"] == f"the host stopped the machine: {CUT}"
    for one in (state, words):
        lost = one["stale", "nozzle"]
        assert lost["severity"] == "failure"
        assert lost["start_s"] == pytest.approx(LOST_AT * EVERY_S, abs=0.7)
    assert "bus wiring, most likely" not in printed
    for path, live in zip(recordings, (state, words), strict=True):
        out = tmp_path / f"{path.stem}.csv"
        assert here(capsys, tmp_path, "export", str(path), "-o", str(out)).returncode == 0
        for file in (path, out):
            judged = events_of(here(capsys, tmp_path, "judge", str(file), "--json").stdout)
            assert {key: one["text"] for key, one in judged.items()} == {
                key: one["text"] for key, one in live.items()
            }
            assert judged["stale", "nozzle"]["start_s"] == live["stale", "nozzle"]["start_s"]


def test_a_host_without_a_state_is_not_called_sound(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is not told comes first."""
    with Talking(lambda n: [readings(0, None)]) as host:
        (tmp_path / "a.toml").write_text(HEAD.format(title="a", address=host.address))
        done = here(capsys, tmp_path, "record", str(tmp_path / "a.toml"), "--for", "1", "--json")
    verdict = json.loads(done.stdout.splitlines()[-1])
    assert verdict["text"].startswith("whether the host stopped the machine is not told")
