"""What a profile sends is said first, and asked about where others could read it."""

import io
from pathlib import Path

import pytest

from client.profile import load_profile
from client.trust import must_be_asked
from shared.errors import BadInput
from tui.main import run
from tui.trusting import tell_and_ask

PROFILE = """format = 1
addresses = ["ws://192.0.2.20:9000/feed"]
[token]
env = "ATTIC"
[channels.bed]
temperature_c = "/t"
"""


@pytest.fixture(autouse=True)
def profile(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A stranger's profile that wants a variable of ours."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("ATTIC", "opensesame1")
    path = tmp_path / "attic.toml"
    path.write_text(PROFILE)
    return path


class Keys(io.StringIO):
    """A terminal's input."""

    def isatty(self) -> bool:
        return True


def answer(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setattr("sys.stdin", Keys(text))
    monkeypatch.setattr("sys.stderr", Keys())


@pytest.mark.parametrize(
    "command", [["record", "{}"], ["watch", "{}", "--check"], ["record", "{}", "--wait"]]
)
def test_without_a_terminal_the_link_is_refused(
    profile: Path, capfd: pytest.CaptureFixture[str], command: list[str]
) -> None:
    """One line says what would be sent where and how to agree; nothing is remembered."""
    assert run([word.format(profile) for word in command]) == 2
    (refused,) = capfd.readouterr().err.splitlines()
    assert "ws://192.0.2.20:9000/feed: would send $ATTIC" in refused
    assert "--trust" in refused
    assert "opensesame1" not in refused
    assert must_be_asked(load_profile(profile))


def test_learn_refuses_it_as_well(capfd: pytest.CaptureFixture[str]) -> None:
    """Also where the secret stands in a request that was given."""
    send = '{"password": "opensesame1"}'
    code = run(["learn", "tcp://192.0.2.20:9000", "--send", send, "--listen", "1", "--yes"])
    said = capfd.readouterr().err
    assert code == 2
    assert "what its requests hold" in said
    assert "--trust" in said
    assert "opensesame1" not in said


def test_trust_is_given_once(profile: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """By the option; later runs need none."""
    loaded = load_profile(profile)
    tell_and_ask([(loaded, "attic")], trusted=True)
    assert "sends $ATTIC to ws://192.0.2.20:9000/feed" in capfd.readouterr().err
    assert not must_be_asked(loaded)
    profile.write_text(PROFILE.replace("ATTIC", "OTHER"))
    assert must_be_asked(load_profile(profile))


def test_on_a_terminal_a_yes_is_remembered(profile: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And asked for once."""
    loaded = load_profile(profile)
    answer(monkeypatch, "y\n")
    tell_and_ask([(loaded, "attic")], trusted=False)
    assert not must_be_asked(loaded)


@pytest.mark.parametrize("text", ["n\n", "\n", ""])
def test_anything_else_ends_the_command(
    profile: Path, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    """Nothing was sent, nothing is remembered."""
    loaded = load_profile(profile)
    answer(monkeypatch, text)
    with pytest.raises(BadInput, match="not agreed"):
        tell_and_ask([(loaded, "attic")], trusted=False)
    assert must_be_asked(loaded)
