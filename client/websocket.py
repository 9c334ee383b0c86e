"""WebSocket (RFC 6455) transport, apart from the others since its import is slow."""

import asyncio
import logging
import re
import ssl
from contextlib import suppress
from typing import Any

from websockets.asyncio.client import ClientConnection
from websockets.asyncio.client import connect as ws_connect
from websockets.exceptions import (
    ConnectionClosed,
    InvalidHandshake,
    InvalidMessage,
    InvalidStatus,
    WebSocketException,
)

from client.address import Address
from client.carried import in_query, is_placed
from client.credentials import secret, tls_context
from client.form import Profile
from client.framing import MOST_TAKEN_BYTES, cut_short
from client.transport import (
    CLOSE_TIMEOUT_S,
    EYEBALLS_S,
    OPEN_TIMEOUT_S,
    Closed,
    Hopeless,
    Unreachable,
    how_of,
    reason,
    trouble,
)
from shared.link import How
from shared.secrets import public_address
from shared.text import clean

DENYING = {401, 403, 407, 451, 511}
"""HTTP statuses that ask for credentials or rights (RFC 9110, 7725, 6585)."""
CLOSE_CODES = {
    1002: How.WRONG,
    1003: How.WRONG,
    1007: How.WRONG,
    1009: How.WRONG,
    1010: How.WRONG,
    1008: How.DENIED,
    3000: How.DENIED,
    3003: How.DENIED,
    1013: How.BUSY,
}
"""Codes that say more than that the host closed (RFC 6455, section 7.4.1, and its registry)."""
_DENIES = re.compile(
    r"\b(unauthori[sz]ed|not authori[sz]ed|forbidden|denied|token|credentials|not allowed)\b",
    re.IGNORECASE,
)


class _Connect(ws_connect):
    def process_redirect(self, exc: Exception) -> Exception | str:
        """Follow no redirect: the library would hand custom key headers to another host."""
        return exc


class WebSocketTransport:
    """One message, one frame. Text and binary messages are taken alike."""

    def __init__(self, connection: ClientConnection, largest_bytes: int) -> None:
        self._connection = connection
        self._largest_bytes = largest_bytes

    @classmethod
    async def open(cls, address: Address, profile: Profile) -> "WebSocketTransport":
        _quiet()
        headers = {}
        if profile.token is not None and not is_placed(profile, address):
            headers[profile.token.header] = profile.token.prefix + secret(profile.token)
        reached: list[ClientConnection] = []

        class Reached(ClientConnection):
            """Made once the peer has taken the link, before the handshake."""

            def __init__(self, *given: Any, **named: Any) -> None:
                super().__init__(*given, **named)
                reached.append(self)

        context: ssl.SSLContext | None = None
        if address.scheme == "wss":
            context = tls_context(profile)
        try:
            connection = await _Connect(
                in_query(profile, address),
                host=address.host,
                port=address.port,
                ssl=context,
                additional_headers=headers,
                user_agent_header="ohmvigil",
                proxy=None,
                compression=None,
                max_size=MOST_TAKEN_BYTES,
                open_timeout=OPEN_TIMEOUT_S,
                close_timeout=CLOSE_TIMEOUT_S,
                # The supervisor asks for signs of life itself.
                ping_interval=None,
                create_connection=Reached,
                happy_eyeballs_delay=EYEBALLS_S,
            )
        except (OSError, WebSocketException, UnicodeError, ValueError) as error:
            if reached and isinstance(error, TimeoutError):
                # A peer that says something else and stays is waited for all the same.
                strange = reached[-1].protocol.handshake_exc
                if strange is None:
                    raise Unreachable("the handshake was not answered", How.MUTE) from None
                error = InvalidHandshake(str(strange))
            raise _trouble(address, error) from None
        return cls(connection, profile.largest_bytes)

    async def send(self, frame: bytes) -> None:
        try:
            await self._connection.send(frame, text=True)
        except ConnectionClosed as closed:
            raise _closed(closed) from None

    async def receive(self) -> bytes:
        try:
            frame = await self._connection.recv(decode=False)
        except ConnectionClosed as closed:
            raise _closed(closed) from None
        return cut_short(frame) if len(frame) > self._largest_bytes else frame

    async def probe(self) -> bool:
        try:
            await (await self._connection.ping())
        except ConnectionClosed as closed:
            raise _closed(closed) from None
        return True

    async def close(self) -> None:
        try:
            with suppress(OSError, WebSocketException):
                async with asyncio.timeout(CLOSE_TIMEOUT_S):
                    await self._connection.close()
        finally:
            # Whoever gives up waiting for the peer wants the link gone all the same.
            self._connection.transport.abort()


def _trouble(address: Address, error: Exception) -> Exception:
    if isinstance(error, InvalidStatus):
        status = error.response.status_code
        if status >= 500:
            return Unreachable(f"the host answered with HTTP status {status}", How.BUSY)
        if 300 <= status < 400:
            there = error.response.headers.get("Location", "another address")
            there = clean(public_address(there))
            do = "give that address, if you trust it"
            return Hopeless(address.shown, f"the host redirects to {there}", do, How.WRONG)
        do = {
            401: "give a token: --token-env to learn, [token] in a profile",
            403: "check the token",
        }.get(status, "check the address and its path")
        how = How.DENIED if status in DENYING else How.WRONG
        return Hopeless(address.shown, f"the host answered with HTTP status {status}", do, how)
    if isinstance(error, InvalidMessage) and _ended(error):
        return Unreachable("the host closed the link in the handshake", How.BROKEN)
    if isinstance(error, InvalidHandshake | WebSocketException):
        do = "check address and port"
        return Hopeless(address.shown, "the peer speaks no WebSocket", do, How.WRONG)
    return trouble(address, error)


def _ended(error: BaseException | None) -> bool:
    while error is not None:
        if isinstance(error, EOFError | OSError):
            return True
        error = error.__cause__
    return False


def _closed(closed: ConnectionClosed) -> Closed:
    said = closed.rcvd
    if said is not None:
        words = clean(said.reason, 80)
        why = f"the host closed the link ({said.code}{' ' + words if words else ''})"
        return Closed(why, _how_closed(said.code, words))
    if closed.sent is not None:
        why = clean(closed.sent.reason or str(closed.sent.code), 80)
        return Closed(f"the link was closed: {why}", How.OURS)
    cause = closed.__cause__
    if cause is None:
        return Closed("the link broke off", How.BROKEN)
    return Closed(reason(cause), how_of(cause))


def _how_closed(code: int, words: str) -> How:
    """What a close code says; one for private use (4000 and up) only by its words."""
    how = CLOSE_CODES.get(code, How.CLOSED)
    return How.DENIED if how is How.CLOSED and _DENIES.search(words) else how


def _quiet() -> None:
    """Keep the library's logger from DEBUG, at which it prints tokens and bodies."""
    logger = logging.getLogger("websockets")
    if logger.getEffectiveLevel() < logging.INFO:
        logger.setLevel(logging.INFO)
