"""What may be secret, and how it is left out of all that is shown, named, kept or handed on.

The one rule. May be secret: an address's query and user part; each value of a request but its
method; a header's value; what stands under a name such as `password`, `token` or `key`. It goes
to the host it is meant for and nowhere else: a recording, a report, a line, a file's name and a
hook's variables hold `HIDDEN` in its place.
"""

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

HIDDEN = "…"
PLACE = "${token}"
"""In a request or a query: here goes the secret of the profile's [token]."""
LEAST_HIDDEN = 6
"""Shorter secrets are not looked for in what a host says: they are in too many words."""

LEAST_MADE = 12
_WHOLE = {"key", "pass", "pw", "pin", "psk", "auth", "sid", "session", "otp", "sig", "bearer"}
_PARTS = re.compile(
    "passw|passphrase|passcode|passwd|pwd|token|secret|credential|cookie|apikey|authori|signature",
    re.IGNORECASE,
)
_NAME_WORDS = re.compile("[A-Z]?[a-z]+|[A-Z]+")
_ASKS_IN = {"login", "logon", "signin", "auth", "authenticate", "authorize", "identify", "password"}
_PREFIXES = {"", "bearer", "basic", "token", "apikey", "api-key", "key", "digest"}
_ADDRESS = re.compile(r"\b[a-z][a-z0-9+.-]*://[^\s\"'<>]*", re.IGNORECASE)
_WHO = re.compile(r"[^\s:/@\"']+:[^\s@\"']+@(?=[\w\[])")
_PAIR = re.compile(
    r"(?P<name>[\w-]{2,40})(?P<is>[\"']?\s*[:=]\s*)(?P<value>\"(?:[^\"\\]|\\.)*\"?|'[^']*'?)"
    r"|(?P<bare_name>[\w-]{2,40})(?P<bare_is>[\"']?[:=])(?P<bare>[^\s,;&\"'{}\[\]]+)"
)


def is_secret_name(name: str) -> bool:
    """Whether what stands under a name may be secret."""
    words = {word.lower() for word in _NAME_WORDS.findall(name)}
    return bool(words & _WHOLE or _PARTS.search(name))


def public_address(text: str) -> str:
    """An address without its query, its fragment and who asks."""
    scheme, mark, rest = text.partition("://")
    if not mark:
        return re.split("[?#]", text, maxsplit=1)[0] if text.startswith("unix:") else text
    before = re.split("[?#]", rest, maxsplit=1)[0]
    _, colon, port = before.partition("/")[0].rpartition("]")[2].partition(":")
    if "@" in before or (colon and not port.isdigit()):
        # A password may hold a slash or a question mark: all before the last @ goes.
        rest = rest.rpartition("@")[2]
    return f"{scheme}://{re.split('[?#]', rest, maxsplit=1)[0]}"


def without_secrets(text: str) -> str:
    """A text without what is secret of addresses in it, and of values under a secret's name."""
    text = _ADDRESS.sub(lambda found: public_address(found.group()), text)
    text = _WHO.sub(f"{HIDDEN}@", text)
    return _PAIR.sub(_unnamed, text)


def _unnamed(found: re.Match[str]) -> str:
    name = found["name"] or found["bare_name"]
    value = found["value"] or found["bare"]
    if not is_secret_name(name) or value.startswith("//"):
        return found.group()
    return f"{name}{found['is'] or found['bare_is']}{HIDDEN}"


def public_request(text: str) -> str:
    """A request's JSON text: its shape, its names and its method."""
    try:
        body = json.loads(text)
    except (ValueError, RecursionError):
        return HIDDEN
    return json.dumps(_shape(body, is_top=True), ensure_ascii=False, separators=(",", ":"))


def _shape(value: Any, *, is_top: bool = False) -> Any:
    if isinstance(value, dict):
        return {
            name: each if is_top and name == "method" else _shape(each)
            for name, each in value.items()
        }
    if isinstance(value, list):
        return [_shape(each) for each in value]
    return value if value is None or isinstance(value, bool) else HIDDEN


def secrets_in_request(text: str) -> Iterator[str]:
    """Values of a request that look secret: under such a name, or told to be let in."""
    try:
        body = json.loads(text)
    except (ValueError, RecursionError):
        return
    method = body.get("method") if isinstance(body, dict) else None
    words = {w.lower() for w in _NAME_WORDS.findall(method)} if isinstance(method, str) else set()
    asks_in = bool(words & _ASKS_IN)
    values = {k: v for k, v in body.items() if k != "method"} if isinstance(body, dict) else body
    for value in _values(values, is_secret=asks_in):
        if value and value != PLACE:
            yield value


def _values(value: Any, *, is_secret: bool) -> Iterator[str]:
    if isinstance(value, dict):
        for name, each in value.items():
            yield from _values(each, is_secret=is_secret or is_secret_name(name))
    elif isinstance(value, list):
        for each in value:
            yield from _values(each, is_secret=is_secret)
    elif is_secret and value is not None and not isinstance(value, bool):
        yield str(value)


def secrets_in_query(address: str) -> Iterator[str]:
    """Values of an address's query, whatever their names."""
    for part in address.partition("?")[2].split("&"):
        value = part.partition("=")[2] or part
        if value and value != PLACE:
            yield value


def looks_made(text: str) -> bool:
    """Whether a text looks made by a machine, as tokens are: no word that a host says anyway."""
    has = (any(map(str.isalpha, text)), any(map(str.isdigit, text)))
    return len(text) >= LEAST_MADE and all(has)


def is_plain_prefix(prefix: str) -> bool:
    """Whether what precedes a token in its header is a scheme's word and no secret itself."""
    return prefix.strip(" :=").lower() in _PREFIXES


def public_profile(profile: Mapping[str, Any]) -> dict[str, Any]:
    """A profile, as values that JSON can hold, without what may be secret in it."""
    shown = {key: value for key, value in profile.items() if key != "token"}
    title, addresses = profile.get("title"), profile.get("addresses")
    if isinstance(title, str):
        shown["title"] = without_secrets(title)
    if isinstance(addresses, list | tuple):
        shown["addresses"] = [public_address(a) if isinstance(a, str) else a for a in addresses]
    requests = profile.get("requests")
    if isinstance(requests, list | tuple):
        shown["requests"] = [_public_json(each) for each in requests]
    if "keep_alive" in profile:
        shown["keep_alive"] = _public_json(profile["keep_alive"])
    return shown


def _public_json(request: Any) -> Any:
    if not isinstance(request, Mapping) or not isinstance(request.get("json"), str):
        return request
    return {**request, "json": public_request(request["json"])}


def public_meta(meta: Mapping[str, Any]) -> dict[str, Any]:
    """What a recording says of its making, without what may be secret in it."""
    shown = dict(meta)
    if isinstance(shown.get("title"), str):
        shown["title"] = without_secrets(shown["title"])
    if isinstance(shown.get("profile"), Mapping):
        shown["profile"] = public_profile(shown["profile"])
    return shown
