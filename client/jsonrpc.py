"""A JSON-RPC 2.0 peer without I/O, that takes bare JSON objects as well.

Source: https://www.jsonrpc.org/specification (2.0, 2013-01-04).

Decoding is strict: UTF-8, no NaN, no infinity, no number beyond a float, at most
`MAX_NESTING` levels. Of duplicate keys the last one wins, as RFC 8259 allows.
"""

from collections.abc import Mapping
from typing import Any

import msgspec

from shared.text import clean

MAX_NESTING = 64
"""Deepest nesting of arrays and objects that is read."""
MAX_WAITING = 1000
"""Requests that may wait for an answer; beyond that the oldest is forgotten."""

ENVELOPE = frozenset({"jsonrpc", "method", "id"})
"""Members that say what a message is, and nothing of a machine."""
MAX_ID = 1 << 53
MAX_ID_TEXT = 200
METHOD_NOT_FOUND = -32601
VERSION = "2.0"
_decoder = msgspec.json.Decoder()


class Refused(ValueError):
    """A frame that is not the JSON this peer reads; `str()` says why in a few words."""


class Response(msgspec.Struct, frozen=True):
    """The host answered a request: `method` is what was asked."""

    method: str
    id: int
    result: Any


class Failure(msgspec.Struct, frozen=True):
    """The host refused a request (`method` None: it did not say which); words are cleaned."""

    method: str | None
    id: int | None
    code: int
    words: str


class Call(msgspec.Struct, frozen=True):
    """The host calls: a notification, or a request when `id` is not None."""

    method: str
    params: Any
    id: int | str | None = None


class Bare(msgspec.Struct, frozen=True):
    """JSON without the envelope."""

    message: Any


Incoming = Response | Failure | Call | Bare


def decode(frame: bytes) -> Any:
    """Decode one frame; Refused when it is not JSON this peer reads."""
    try:
        message = _decoder.decode(frame)
    except RecursionError:
        raise Refused("nested too deeply") from None
    except UnicodeDecodeError:
        raise Refused("not UTF-8") from None
    except ValueError as error:
        out_of_range = "out of range" in str(error)
        raise Refused("number out of range" if out_of_range else "not JSON") from None
    # Counting brackets is far cheaper than measuring, and nearly always enough.
    if frame.count(b"[") + frame.count(b"{") > MAX_NESTING and _is_too_deep(message):
        raise Refused("nested too deeply")
    return message


class Peer:
    """Our end of one connection: numbers requests from 1 and knows what each answer is to."""

    def __init__(self) -> None:
        self._last_id = 0
        self._waiting: dict[int, str] = {}

    @property
    def waiting(self) -> Mapping[int, str]:
        """Ids and methods of requests without an answer yet."""
        return self._waiting

    def request(self, method: str, params: Any = None) -> bytes:
        """Frame of a request; left out `params` when None."""
        self._last_id += 1
        return self.again(self._last_id, method, params)

    def again(self, number: int, method: str, params: Any = None) -> bytes:
        """Frame of a request that was made before, under the same id."""
        self._waiting[number] = method
        if len(self._waiting) > MAX_WAITING:
            del self._waiting[next(iter(self._waiting))]
        return _envelope({"id": number, "method": method}, params)

    def notify(self, method: str, params: Any = None) -> bytes:
        """Frame of a notification, which gets no answer."""
        return _envelope({"method": method}, params)

    def receive(self, frame: bytes) -> list[Incoming]:
        """What one frame says, a batch as several; Refused when it is not JSON.

        Objects that look like an envelope are read as one, marked "jsonrpc" or not, as
        hosts are lax about it; anything else is given as it stands.
        """
        message = decode(frame)
        if is_batch(message):
            return [self._read(part) for part in message]
        return [self._read(message) if is_envelope(message) else Bare(message)]

    def _read(self, message: dict[str, Any]) -> Incoming:
        number = message.get("id")
        method = message.get("method")
        if type(method) is str:
            is_request = _is_id(number) and message.get("jsonrpc") == VERSION
            return Call(method, message.get("params"), number if is_request else None)
        asked = self._waiting.pop(number, None) if type(number) is int else None
        if message.get("error") is not None:
            code, words = _error_of(message["error"])
            return Failure(asked, number if type(number) is int else None, code, words)
        if asked is None or "result" not in message:
            return Bare(message)
        return Response(asked, number, message["result"])  # type: ignore[arg-type]


def is_batch(message: Any) -> bool:
    """Whether a decoded frame is several messages in one."""
    return type(message) is list and bool(message) and all(map(is_envelope, message))


def is_envelope(message: Any) -> bool:
    """Whether a decoded message looks like JSON-RPC, marked "jsonrpc" or not."""
    if type(message) is not dict:
        return False
    if message.get("jsonrpc") == VERSION:
        return True
    is_answer = "id" in message and ("result" in message or "error" in message)
    return is_answer or type(message.get("method")) is str


def refusal_in(message: Any) -> str:
    """The words of an answer that is an error, cleaned; empty where a message is none."""
    if type(message) is not dict or "method" in message:
        return ""
    # A number under that name is the difference of some control loop.
    error = message.get("error")
    return _error_of(error)[1] if error and type(error) in (dict, str) else ""


def refusal(number: int | str) -> bytes:
    """Answer to a request of the host's: none of its methods is known here (5.1, −32601)."""
    error = {"code": METHOD_NOT_FOUND, "message": "Method not found"}
    return _envelope({"id": number, "error": error}, None)


def _envelope(head: dict[str, Any], params: Any) -> bytes:
    whole: dict[str, Any] = {"jsonrpc": VERSION, **head}
    if params is not None:
        whole["params"] = params
    return msgspec.json.encode(whole)


def _is_id(number: Any) -> bool:
    """Whether it is an id that can be given back as it came."""
    if type(number) is int:
        return abs(number) < MAX_ID
    return type(number) is str and len(number) <= MAX_ID_TEXT


def _error_of(error: Any) -> tuple[int, str]:
    if type(error) is not dict:
        return 0, clean(error) if type(error) is str else "no reason given"
    code, words = error.get("code"), error.get("message")
    return (
        code if type(code) is int else 0,
        clean(words) if type(words) is str and clean(words) else "no reason given",
    )


def _is_too_deep(message: Any) -> bool:
    level = [message]
    for _ in range(MAX_NESTING):
        level = [
            child
            for node in level
            if type(node) in (dict, list)
            for child in (node.values() if type(node) is dict else node)
        ]
        if not level:
            return False
    return any(type(node) in (dict, list) for node in level)
