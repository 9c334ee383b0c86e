"""`ohmvigil learn` as a person or a script runs it, and the check of a profile."""

import argparse
import json
import threading
from collections.abc import Iterator
from pathlib import Path
from socketserver import StreamRequestHandler, ThreadingTCPServer

import pytest

import tui.learn
from client.form import Request, Token
from client.profile import load_profile
from shared.errors import BadInput
from tui.profilecheck import run_check


class _Handler(StreamRequestHandler):
    """Answers one request behind its length, then sends changes and waits for the end."""

    def handle(self) -> None:
        asked = self.rfile.read(int.from_bytes(self.rfile.read(4), "big"))
        try:
            request = json.loads(asked)
        except ValueError:
            return
        whole = {"things": [{"called": "Hot End", "deg": 22.0, "aim": 0, "duty %": 0}]}
        self._say({"jsonrpc": "2.0", "id": request["id"], "result": [5.0, whole]})
        for n in range(1, 40):
            thing = {"called": "Hot End", "deg": 22.0 + n, "aim": 210, "duty %": 100 - n % 7}
            self._say({"jsonrpc": "2.0", "method": "so", "params": [5.0 + n, {"things": [thing]}]})
        self.rfile.read(1)

    def _say(self, message: object) -> None:
        body = json.dumps(message).encode()
        self.wfile.write(len(body).to_bytes(4, "big") + body)


@pytest.fixture
def address() -> Iterator[str]:
    with ThreadingTCPServer(("127.0.0.1", 0), _Handler) as server:
        server.daemon_threads = True
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        yield f"tcp://127.0.0.1:{server.server_address[1]}"
        server.shutdown()
        thread.join(10)


def learn(*arguments: str) -> int:
    parser = argparse.ArgumentParser()
    tui.learn.add_arguments(parser)
    return tui.learn.run(parser.parse_args(arguments))


def test_a_host_is_learnt_written_and_proven(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Framing, request, list, units and names are found; the profile says why."""
    path = tmp_path / "odd.toml"
    sent = '{"jsonrpc": "2.0", "id": 9, "method": "tell me", "params": ["all"]}'
    code = learn(address, "--send", sent, "--yes", "--listen", "1", "--prove", "1", "-o", str(path))
    assert code == 0
    profile = load_profile(path)
    assert profile.framing == "length"
    assert [json.loads(r.json) for r in profile.requests] == [
        {"method": "tell me", "params": ["all"]}
    ]
    nozzle = profile.channels["nozzle"]
    assert nozzle.item is not None
    assert nozzle.item.equals == "Hot End"
    assert {name: (r.at, r.unit) for name, r in nozzle.readings.items()} == {
        "temperature_c": ("/deg", ""),
        "target_c": ("/aim", ""),
        "power": ("/duty %", "percent"),
    }
    said = capsys.readouterr().out
    assert "nozzle.temperature_c" in said
    assert "never gave" not in said
    assert any(line.strip().startswith("#") for line in path.read_text().splitlines())


def test_a_file_that_is_there_is_not_written_over(address: str, tmp_path: Path) -> None:
    """Before anything is heard or sent."""
    path = tmp_path / "mine.toml"
    path.write_text("mine")
    with pytest.raises(BadInput, match="is there already"):
        learn(address, "-o", str(path))
    assert path.read_text() == "mine"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["ws://127.0.0.1:9", "--send", "{"], "is not JSON"),
        (["ws://127.0.0.1:9", "--delimiter", "900"], "is no byte"),
        (["ws://127.0.0.1:9", "--name", "../x"], "is no name"),
        (["ws://127.0.0.1:9", "--listen", "0"], "out of range"),
        (["gopher://127.0.0.1:9"], "not an address"),
        (["missing.ndjson"], "no such file"),
    ],
)
def test_bad_input_is_one_line(
    arguments: list[str],
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It names the option or the address, and what to do."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    with pytest.raises(BadInput, match=words):
        learn(*arguments)


def test_a_captured_file_is_learnt_under_a_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Saved in the folder of profiles, with the address that was given."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    log = tmp_path / "log.ndjson"
    log.write_text(
        "".join(json.dumps({"bed": {"temp": 20 + n / 8, "goal": 60}}) + "\n" for n in range(80))
    )
    assert learn(str(log), "--yes", "--name", "attic", "--address", "tcp://[::1]:9") == 0
    profile = load_profile("attic")
    assert profile.addresses == ("tcp://[::1]:9",)
    assert set(profile.channels["bed"].readings) == {"temperature_c", "target_c"}
    assert "80 ×" in capsys.readouterr().out


def test_escapes_from_a_host_do_not_reach_the_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In names, states and messages, neither while learning nor while proving."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    evil = "\x1b]52;c;eA==\x07\x1b[2J\u202enozzle"
    log = tmp_path / "log.ndjson"
    message = {evil: {"temp": 20.5, evil: evil}, "state": evil, "message": f"a b c {evil}"}
    log.write_text((json.dumps(message) + "\n") * 20)
    assert learn(str(log), "--yes", "--name", "attic") == 0
    said = capsys.readouterr().out
    assert "\x1b" not in said
    assert "\u202e" not in said


def test_the_check_says_what_never_came(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A pointer that leads nowhere is named; the others are counted."""
    path = tmp_path / "p.toml"
    path.write_text(
        f"""format = 1
addresses = ["{address}"]
framing = "length"
[[requests]]
json = '{{"method": "tell me"}}'
[[updates]]
method = "so"
status = "/params/1"
clock = "/params/0"
[channels.nozzle]
temperature_c = "/things/0/deg"
power = "/things/0/nothing here"
"""
    )
    assert run_check(load_profile(path), "odd", 1.0) == 0
    said = capsys.readouterr().out
    assert "never gave a value: nozzle.power" in said
    assert "39 ×" in said
    assert "times as fast as ours: check clock_unit" in said


def captured(folder: Path, messages: list[object]) -> str:
    """A file of captured messages."""
    log = folder / "log.ndjson"
    log.write_text("".join(json.dumps(message) + "\n" for message in messages))
    return str(log)


def test_where_nothing_is_found_the_numbers_that_were_seen_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Path and range of each, and that one of them can be called a channel."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    log = captured(tmp_path, [[[31, 40.0 + n % 9 / 10], [32, 0], [33, 7]] for n in range(60)])
    with pytest.raises(BadInput) as bad:
        learn(log, "--yes", "--name", "attic")
    said = str(bad.value)
    assert "numbers seen: 31 (40 to 40.8), 32 (0), 33 (7)" in said
    assert "--call '31=nozzle'" in said
    assert not (tmp_path / "ohmvigil" / "attic.toml").exists()


def test_a_number_that_was_seen_can_be_called_a_channel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the line of help says, by its path."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    log = captured(tmp_path, [[[31, 40.0 + n % 9 / 10], [32, 0], [33, 7]] for n in range(60)])
    assert learn(log, "--yes", "--name", "attic", "--call", "31=nozzle") == 0
    assert load_profile("attic").channels["nozzle"].readings["temperature_c"].at == "/31"


def test_a_profile_through_which_nothing_comes_is_a_failure(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One line that names the profile, and no word of watching through it."""
    monkeypatch.setattr("tui.profilecheck.run_check", lambda *given: 1)
    path = tmp_path / "odd.toml"
    asked = ("--send", '{"method": "tell me"}', "--listen", "1", "--prove", "1")
    with pytest.raises(BadInput, match="no reading gave a value through it"):
        learn(address, *asked, "--yes", "-o", str(path))


def test_a_word_chooses_the_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also one that is true or false, and one that nothing else speaks for."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    bodies: list[object] = [
        {"nozzle temp": 25.0 + n % 7 / 10, "gist": "hale", "armed": True} for n in range(40)
    ]
    log = captured(tmp_path, bodies)
    for word, at in (("true", "/armed"), ("hale", "/gist")):
        assert learn(log, "--yes", "--name", word, "--word", f"{word}=up") == 0
        state = load_profile(word).channels["host"].readings["state"]
        assert (state.at, state.words[word]) == (at, "up")


def test_a_token_that_is_given_besides_is_not_written(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its place goes into the request, as text that JSON holds."""
    monkeypatch.setenv("OF_THE_SHED", 'plum "seven" lantern')
    request = Request(json='{"enter": "plum \\"seven\\" lantern"}', envelope=False)
    sent = tui.learn._without(Token(env="OF_THE_SHED"), request)
    assert sent.json == '{"enter": "${token}"}'
