"""WebSocket (RFC 6455) transport, apart from the others since its import is slow."""

import asyncio
import logging
import ssl
from contextlib import suppress

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
    Unreachable,
    reason,
    trouble,
)
from shared.errors import BadInput
from shared.secrets import public_address
from shared.text import clean


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
                happy_eyeballs_delay=EYEBALLS_S,
            )
        except (OSError, WebSocketException, UnicodeError, ValueError) as error:
            raise _trouble(address, error) from None
        return cls(connection, profile.largest_bytes)

    async def send(self, frame: bytes) -> None:
        try:
            await self._connection.send(frame, text=True)
        except ConnectionClosed as closed:
            raise Closed(_closed(closed)) from None

    async def receive(self) -> bytes:
        try:
            frame = await self._connection.recv(decode=False)
        except ConnectionClosed as closed:
            raise Closed(_closed(closed)) from None
        return cut_short(frame) if len(frame) > self._largest_bytes else frame

    async def probe(self) -> bool:
        try:
            await (await self._connection.ping())
        except ConnectionClosed as closed:
            raise Closed(_closed(closed)) from None
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
            return Unreachable(f"the host answered with HTTP status {status}")
        if 300 <= status < 400:
            there = error.response.headers.get("Location", "another address")
            there = clean(public_address(there))
            do = "give that address, if you trust it"
            return BadInput(address.shown, f"the host redirects to {there}", do)
        do = {
            401: "give a token: --token-env to learn, [token] in a profile",
            403: "check the token",
        }.get(status, "check the address and its path")
        return BadInput(address.shown, f"the host answered with HTTP status {status}", do)
    if isinstance(error, InvalidMessage) and _ended(error):
        return Unreachable("the host closed the link in the handshake")
    if isinstance(error, InvalidHandshake | WebSocketException):
        return BadInput(address.shown, "the peer speaks no WebSocket", "check address and port")
    return trouble(address, error)


def _ended(error: BaseException | None) -> bool:
    while error is not None:
        if isinstance(error, EOFError | OSError):
            return True
        error = error.__cause__
    return False


def _closed(closed: ConnectionClosed) -> str:
    said = closed.rcvd
    if said is not None:
        words = clean(said.reason, 80)
        return f"the host closed the link ({said.code}{' ' + words if words else ''})"
    if closed.sent is not None:
        return f"the link was closed: {clean(closed.sent.reason or str(closed.sent.code), 80)}"
    return reason(closed.__cause__) if closed.__cause__ is not None else "the link broke off"


def _quiet() -> None:
    """Keep the library's logger from DEBUG, at which it prints tokens and bodies."""
    logger = logging.getLogger("websockets")
    if logger.getEffectiveLevel() < logging.INFO:
        logger.setLevel(logging.INFO)
