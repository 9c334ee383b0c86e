"""Addresses of hosts: ws://, wss://, tcp:// and unix:."""

from typing import Literal
from urllib.parse import urlsplit

import msgspec

from client.framing import Framing
from shared.errors import BadInput
from shared.secrets import public_address
from shared.text import clean

FORMS = "give ws://HOST:PORT/PATH, wss://HOST:PORT/PATH, tcp://HOST:PORT or unix:/PATH"
MAX_ADDRESS = 1000

Scheme = Literal["ws", "wss", "tcp", "unix"]


class Address(msgspec.Struct, frozen=True):
    """One address, taken apart. `path` is the resource of ws and wss, or the socket's file."""

    scheme: Scheme
    host: str
    port: int
    path: str
    query: str = ""

    @property
    def uri(self) -> str:
        """The whole address; may hold a query, so not for people's eyes."""
        return f"{self.shown}?{self.query}" if self.query else self.shown

    @property
    def shown(self) -> str:
        """The address as it is shown, logged and recorded: without its query."""
        if self.scheme == "unix":
            return f"unix:{self.path}"
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{self.scheme}://{host}:{self.port}{self.path}"

    @property
    def framing(self) -> Framing:
        """How frames are kept apart when the profile does not say."""
        return "message" if self.scheme in ("ws", "wss") else "newline"


def parse_address(text: str) -> Address:
    """Take an address apart; BadInput names it and the forms that are known."""
    shown = clean(public_address(text)) or "address"
    if len(text) > MAX_ADDRESS or clean(text, MAX_ADDRESS) != text or " " in text:
        raise BadInput(shown, "not an address", FORMS)
    scheme, _, rest = text.partition(":")
    if scheme == "unix":
        path = rest.removeprefix("//")
        if not path or path.endswith("/") or "?" in path or "#" in path:
            raise BadInput(shown, "names no socket", FORMS)
        return Address("unix", "", 0, path)
    if scheme not in ("ws", "wss", "tcp") or not rest.startswith("//"):
        raise BadInput(shown, "not an address that is known here", FORMS)
    try:
        parts = urlsplit(text)
        host, port = parts.hostname or "", parts.port
    except ValueError as error:
        raise BadInput(shown, clean(str(error)).lower(), FORMS) from None
    if parts.username is not None or parts.password is not None:
        do = "leave it out and set [token] in a profile"
        raise BadInput(shown, "a name or password has no place in an address", do)
    if not host:
        raise BadInput(shown, "names no host", FORMS)
    if parts.fragment:
        raise BadInput(shown, "has a '#'", "leave out '#' and what follows")
    if scheme == "tcp":
        if port is None:
            raise BadInput(shown, "names no port", FORMS)
        if parts.path not in ("", "/") or parts.query:
            raise BadInput(shown, "tcp:// has no path", FORMS)
        return Address("tcp", host, port, "")
    default = 443 if scheme == "wss" else 80
    known: Scheme = "wss" if scheme == "wss" else "ws"
    return Address(known, host, port if port is not None else default, parts.path, parts.query)
