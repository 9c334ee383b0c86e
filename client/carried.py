"""Secrets on their way: put where the profile says, and hidden where a host says them back."""

from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote

import msgspec

from client.address import Address
from client.credentials import secret
from client.form import Profile
from client.transport import Hopeless
from shared.errors import BadInput
from shared.secrets import (
    HIDDEN,
    LEAST_HIDDEN,
    PLACE,
    is_plain_prefix,
    is_secret_name,
    looks_made,
    secrets_in_query,
    secrets_in_request,
)

_ECHO = HIDDEN.encode()


def is_placed(profile: Profile, address: Address) -> bool:
    """Whether the token's place is in a request or the query, and so in no header."""
    return PLACE in address.query or any(PLACE in text for text in profile.sent)


def in_query(profile: Profile, address: Address) -> str:
    """The address to connect to, with the token where its place is."""
    if PLACE in address.query and profile.token is not None:
        return address.uri.replace(PLACE, quote(secret(profile.token), safe=""))
    return address.uri


def in_request(profile: Profile, body: Any) -> Any:
    """A request's body with the token where its place is."""
    if isinstance(body, dict):
        return {name: in_request(profile, each) for name, each in body.items()}
    if isinstance(body, list):
        return [in_request(profile, each) for each in body]
    if isinstance(body, str) and PLACE in body and profile.token is not None:
        return body.replace(PLACE, secret(profile.token))
    return body


def check_file(profile: Profile, path: Path) -> None:
    """BadInput where a profile holds a secret itself and others may read its file."""
    held = next(iter(_held(profile)), "")
    mode = path.stat().st_mode & 0o777
    if held and mode & 0o077:
        what = f"{held} may be secret, and others may read the file (mode {mode:04o})"
        do = f"run chmod 600 on it, or write {PLACE} there and set [token] to a variable or file"
        raise BadInput(str(path), what, do)


def _held(profile: Profile) -> Iterable[str]:
    if any(True for address in profile.addresses for _ in secrets_in_query(address)):
        yield "an address's query"
    if any(True for text in profile.sent for _ in secrets_in_request(text)):
        yield "a value in a request"
    if profile.token is not None and not is_plain_prefix(profile.token.prefix):
        yield "the token's prefix"


class Echoes:
    """Hides a profile's secrets in what its host says: it may say them back."""

    def __init__(self, profile: Profile) -> None:
        words = {word for text in profile.sent for word in secrets_in_request(text)}
        for address in profile.addresses:
            parts = address.partition("?")[2].split("&")
            named = (part.partition("=") for part in parts)
            words |= {
                value or name
                for name, _, value in named
                if is_secret_name(name) or looks_made(value or name)
            }
        if profile.token is not None:
            with suppress(BadInput):
                words.add(secret(profile.token))
        # A number in quotes can be a reading as well.
        words = {w for w in words if len(w) >= LEAST_HIDDEN and not w.isdigit() and w != PLACE}
        spelt = {*words, *(msgspec.json.encode(word).decode()[1:-1] for word in words)}
        self._texts = sorted(spelt, key=len, reverse=True)
        self._bytes = [text.encode() for text in self._texts]

    def frame(self, frame: bytes) -> bytes:
        kind = type(frame)
        for word in self._bytes:
            if word in frame:
                frame = kind(frame.replace(word, _ECHO))
        return frame

    def text(self, text: str) -> str:
        for word in self._texts:
            text = text.replace(word, HIDDEN)
        return text

    def error(self, bad: BadInput) -> BadInput:
        what = self.text(bad.what)
        if what == bad.what:
            return bad
        if isinstance(bad, Hopeless):
            return Hopeless(bad.where, what, bad.do, bad.how)
        return BadInput(bad.where, what, bad.do)
