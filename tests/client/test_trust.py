"""A stranger's profile says what it sends, and sends no secret an open way unasked."""

import stat
from pathlib import Path

import msgspec
import pytest

from client import trust
from client.address import parse_address
from client.form import Profile, Request, Token
from client.supervisor import Supervisor
from shared.errors import BadInput
from tests.client.doubles import Diary, ScriptedNetwork, run_skipping

OPEN = ("ws://192.0.2.20:9000/feed", "tcp://attic.example:9000", "ws://[2001:db8::1]/feed")
SAFE = (
    "wss://attic.example/feed",
    "unix:/run/attic.sock",
    "ws://127.0.0.1:9000/feed",
    "ws://localhost/feed",
    "ws://[::1]:9000/feed",
)


@pytest.fixture(autouse=True)
def home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A folder of the user's own."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("ATTIC", "opensesame1")
    return tmp_path


def profile_at(address: str) -> Profile:
    """One that sends a variable, by a header or in a request."""
    request = Request(json='{"secret": "${token}"}', envelope=False)
    return Profile(format=1, addresses=(address,), token=Token(env="ATTIC"), requests=(request,))


@pytest.mark.parametrize("address", OPEN)
def test_a_secret_goes_no_open_way_before_it_is_agreed_to(address: str) -> None:
    """The line names the variable, the address and the way out; afterwards it is remembered."""
    profile, at = profile_at(address), parse_address(address)
    with pytest.raises(BadInput, match=r"\$ATTIC.*--trust"):
        trust.check(profile, at)
    trust.trust(profile)
    trust.check(profile, at)


@pytest.mark.parametrize("address", SAFE)
def test_other_ways_need_no_agreement(address: str) -> None:
    """They are told all the same."""
    profile = profile_at(address)
    trust.check(profile, parse_address(address))
    (line,) = trust.lines(profile)
    assert "$ATTIC" in line
    assert parse_address(address).shown in line


def test_a_changed_profile_is_a_new_one(home: Path) -> None:
    """Another variable, address or request is not what was agreed to."""
    profile = profile_at(OPEN[0])
    trust.trust(profile)
    for change in (
        {"token": Token(env="OTHER")},
        {"addresses": (OPEN[1],)},
        {"requests": (Request(json='{"key": "${token}"}', envelope=False),)},
    ):
        changed = msgspec.structs.replace(profile, **change)
        assert trust.must_be_asked(changed)
    assert not trust.must_be_asked(profile)
    mode = (home / "ohmvigil" / "trusted").stat().st_mode
    assert stat.S_IMODE(mode) == 0o600


def test_the_one_place_that_opens_links_refuses() -> None:
    """No byte goes: the network is not even asked."""
    network = ScriptedNetwork()
    supervisor = Supervisor(profile_at(OPEN[0]), Diary(), connect=network.connect)
    with pytest.raises(BadInput, match="--trust"):
        run_skipping(supervisor.run())
    assert network.attempts == []


def test_secrets_that_stand_in_the_profile_count_as_well() -> None:
    """A query and a password in a request."""
    query = Profile(format=1, addresses=(f"{OPEN[0]}?feed=abc",))
    request = Request(json='{"password": "hunter22"}', envelope=False)
    asked = Profile(format=1, addresses=(OPEN[1],), requests=(request,))
    for profile in (query, asked):
        assert trust.must_be_asked(profile)
        assert "hunter22" not in trust.lines(profile)[0]
        assert "abc" not in trust.lines(profile)[0]
