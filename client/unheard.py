"""Names that a host's messages bear, and which of them a profile says were not heard before.

A message bears its method, else its members, and besides the names that rows or `under` give. What
is null says nothing yet, and bears no name.
"""

from collections.abc import Iterator
from typing import Any

from client import pairs
from client.pointer import MISSING, Steps, walk

MAX_WORDS = 200


def names_in(
    message: Any, status: Steps = (), is_paired: bool = False, under: tuple[Steps, ...] = ()
) -> Iterator[tuple[str, Any]]:
    """Each name and what stands there; none in an answer, which says what was asked for."""
    if type(message) is dict:
        method = message.get("method")
        if type(method) is str:
            yield method, message.get("params")
        elif "id" not in message or not message.keys() & {"result", "error"}:
            yield from ((name, each) for name, each in message.items() if each is not None)
    for steps in under:
        name = walk(message, steps)
        if pairs.is_name(name):
            yield str(name), message
    if is_paired:
        rows, _ = pairs.object_of(None if (found := walk(message, status)) is MISSING else found)
        yield from ((name, each) for name, each in (rows or {}).items() if each is not None)


def told(name: str, value: Any) -> str:
    """A name and the longest text that stands there."""
    texts = sorted(_texts(value), key=len)
    return f"{name}: {texts[-1][:MAX_WORDS]}" if texts else name


def _texts(value: Any) -> Iterator[str]:
    if type(value) is str:
        yield value
    elif type(value) is dict or type(value) is list:
        for each in value.values() if type(value) is dict else value:
            yield from _texts(each)
