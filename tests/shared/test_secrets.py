"""The one rule of what may be secret, as properties."""

import json
import string

from hypothesis import given
from hypothesis import strategies as st

from shared.secrets import (
    is_secret_name,
    public_address,
    public_meta,
    public_request,
    secrets_in_request,
    without_secrets,
)

SECRETS = st.text(string.ascii_letters + string.digits + "._~-", min_size=8, max_size=30).map(
    lambda text: f"q7Z{text}"
)
NAMES = st.sampled_from(
    ["password", "apiKey", "x_token", "SECRET", "clientSecret", "pin", "auth", "session-id", "pwd"]
)
WALLS = st.sampled_from(["", "/", "?", "#", ":", "@", "/?#"])


@given(SECRETS, SECRETS, WALLS, st.sampled_from(["ws", "wss", "tcp", "mqtt", "http"]))
def test_an_address_is_shown_without_who_asks_and_what_for(
    asks: str, query: str, wall: str, scheme: str
) -> None:
    """Also where the password holds what ends an authority."""
    shown = public_address(f"{scheme}://me:{wall}{asks}@attic.example:9000/feed?x={query}#{query}")
    assert asks not in shown
    assert query not in shown
    assert shown == f"{scheme}://attic.example:9000/feed"


@given(SECRETS, SECRETS)
def test_an_address_in_a_sentence_is_shown_without_its_secrets(asks: str, query: str) -> None:
    """The rest of the sentence stays."""
    text = f"said: 'ws://me:{asks}@there/feed?token={query}' was refused, twice"
    assert without_secrets(text) == "said: 'ws://there/feed' was refused, twice"


def nested(secret: str) -> st.SearchStrategy[object]:
    """JSON with the secret somewhere in it as a value."""
    leaves = st.none() | st.booleans() | st.just(secret)
    return st.recursive(
        leaves, lambda kids: st.lists(kids, max_size=3) | st.dictionaries(st.just("a"), kids)
    )


@given(st.data(), SECRETS)
def test_a_request_is_shown_by_its_shape(data: st.DataObject, secret: str) -> None:
    """Wherever in it the secret stands, as a text or as a number."""
    body = {"method": "begin", "params": data.draw(nested(secret)), "pin": 271828}
    shown = public_request(json.dumps(body))
    assert secret not in shown
    assert "271828" not in shown
    assert json.loads(shown)["method"] == "begin"
    assert set(json.loads(shown)) == set(body)


@given(NAMES, SECRETS)
def test_what_stands_under_a_secret_name_is_found_and_hidden(name: str, secret: str) -> None:
    """In a request, and in a line that repeats one."""
    assert is_secret_name(name)
    assert list(secrets_in_request(json.dumps({"a": [{name: secret}]}))) == [secret]
    assert secret not in without_secrets(f'unknown: --sent {{"{name}": "{secret}"}}')
    assert secret not in without_secrets(f"unknown: {name}={secret}")


def test_names_of_readings_are_no_secrets() -> None:
    """Words that only look alike."""
    for name in ("monkey_temp", "keyboard", "spinner", "author", "passed", "temperature", "method"):
        assert not is_secret_name(name), name


def test_lines_of_ours_pass_unchanged() -> None:
    """The rule does not eat what tells a user where a fault is."""
    for line in (
        "a.toml:3: token: names no source; set env or file",
        "ws://127.0.0.1:9000/feed: connection refused; check that the host is on",
        "a.toml:12: channels.nozzle.item.key: expected `str`; correct the value",
        "the clock was set by +3 s at 12:30:11; log time goes on",
    ):
        assert without_secrets(line) == line


@given(SECRETS)
def test_what_a_recording_says_of_its_making_is_the_same_when_said_twice(secret: str) -> None:
    """Applied on writing and on reading."""
    profile = {
        "title": f"ws://a/b?{secret}",
        "addresses": [f"ws://a/b?{secret}"],
        "token": {"prefix": secret},
        "requests": [{"json": json.dumps([secret])}],
        "keep_alive": {"json": json.dumps({"a": secret}), "every_s": 1.0},
    }
    meta = public_meta({"title": f"at ws://me:{secret}@a", "profile": profile})
    assert secret not in repr(meta)
    assert public_meta(meta) == meta
