"""Secrets go where the profile says, and are hidden where a host says them back."""

import asyncio
from pathlib import Path

import pytest

from client import carried
from client.address import parse_address
from client.form import Profile, Request, Token
from client.profile import load_profile
from client.supervisor import Supervisor
from client.transport import Closed
from shared.errors import BadInput
from shared.secrets import PLACE
from tests.client.doubles import Diary, ScriptedNetwork, run_skipping

HOST = "ws://127.0.0.1:9000/feed"
SECRET = 'open "sesame" 4711'


@pytest.fixture(autouse=True)
def variable(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The secret in a variable; a home of the test's own."""
    monkeypatch.setenv("ATTIC", SECRET)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def profile_with(**more: object) -> Profile:
    return Profile(format=1, addresses=(HOST,), token=Token(env="ATTIC"), **more)  # type: ignore[arg-type]


def test_a_token_is_put_where_its_place_is() -> None:
    """In a request, however deep, and in the query, spelt as an address has it."""
    asked = Request(json='{"a": [{"key": "x ' + PLACE + '"}]}', envelope=False)
    profile = profile_with(requests=(asked,))
    body = {"a": [{"key": f"x {PLACE}"}]}
    assert carried.in_request(profile, body) == {"a": [{"key": f"x {SECRET}"}]}
    at = parse_address(f"{HOST}?k={PLACE}")
    assert carried.in_query(profile, at).endswith("?k=open%20%22sesame%22%204711")
    assert carried.is_placed(profile, parse_address(HOST))
    assert not carried.is_placed(profile_with(), parse_address(HOST))


def test_what_a_host_says_back_is_hidden_in_frames_and_reasons() -> None:
    """Frames stay JSON; the reason of a closed link is text."""
    frame = b'{"error": "no: open \\"sesame\\" 4711", "t": 4711}'
    network = ScriptedNetwork([frame, Closed(f"closed: {SECRET}")])
    diary = Diary()
    supervisor = Supervisor(profile_with(), diary, connect=network.connect)
    with pytest.raises(TimeoutError):
        run_skipping(_for_a_while(supervisor))
    assert diary.of("message")[0] == '{"error": "no: …", "t": 4711}'.encode()
    assert diary.of("lost")[0] == "closed: …"


async def _for_a_while(supervisor: Supervisor) -> None:
    async with asyncio.timeout(1.0):
        await supervisor.run()


@pytest.mark.parametrize(
    "line",
    [
        'addresses = ["ws://127.0.0.1/feed?feed=abc"]',
        '[[requests]]\njson = \'{"password": "hunter22"}\'\nenvelope = false',
        '[[requests]]\njson = \'{"method": "login", "params": ["me"]}\'',
        '[token]\nenv = "T"\nprefix = "Bearer hunter22 "',
        "[keep_alive]\njson = '{\"apiKey\": 12}'\nevery_s = 5.0\nenvelope = false",
    ],
)
def test_a_profile_that_holds_a_secret_is_for_its_owner_alone(tmp_path: Path, line: str) -> None:
    """Refused while others may read it, with both ways out; taken at 0600."""
    path = tmp_path / "a.toml"
    path.write_text(f'format = 1\n{line}\n[channels.bed]\ntemperature_c = "/t"\n')
    for mode in (0o644, 0o640, 0o604, 0o660):
        path.chmod(mode)
        with pytest.raises(BadInput, match=r"chmod 600.*\$\{token\}.*variable or file") as caught:
            load_profile(path)
        assert "hunter22" not in str(caught.value)
    path.chmod(0o600)
    load_profile(path)


def test_a_place_without_a_token_is_refused(tmp_path: Path) -> None:
    """It would be sent as it stands."""
    path = tmp_path / "a.toml"
    path.write_text(
        'format = 1\n[[requests]]\njson = \'{"key": "${token}"}\'\nenvelope = false\n'
        '[channels.bed]\ntemperature_c = "/t"\n'
    )
    with pytest.raises(BadInput, match="token"):
        load_profile(path)
