"""JSON Pointer (RFC 6901) walks over documents that are already decoded.

A pointer is split once, when a profile is loaded, and walked for every message.
"""

import re
from typing import Any, Final

Step = tuple[str, int]
"""One reference token, and the array index it stands for (−1: none)."""
Steps = tuple[Step, ...]

MAX_STEPS = 32
_BAD_ESCAPE = re.compile("~(?![01])")


class _Missing:
    def __repr__(self) -> str:
        return "MISSING"


MISSING: Final = _Missing()
"""What a walk gives when the document has nothing at the pointer (null is something)."""


def split(pointer: str) -> Steps:
    """Split a pointer into steps; ValueError says what is wrong with it.

    `""` is the whole document, `"/a~1b/0"` is item 0 (or member "0") of member "a/b".
    """
    if not pointer:
        return ()
    if not pointer.startswith("/"):
        raise ValueError(f"a JSON Pointer starts with '/', got {pointer!r}")
    tokens = pointer[1:].split("/")
    if len(tokens) > MAX_STEPS:
        raise ValueError(f"a JSON Pointer may have {MAX_STEPS} steps, this one has {len(tokens)}")
    return tuple(_step(token, pointer) for token in tokens)


def walk(document: Any, steps: Steps) -> Any:
    """Value at the pointer, or MISSING."""
    for name, index in steps:
        if type(document) is dict:
            document = document.get(name, MISSING)
        elif type(document) is list and 0 <= index < len(document):
            document = document[index]
        else:
            return MISSING
    return document


def above(document: Any, steps: Steps) -> Any:
    """The null or text in the place of what would hold the pointer's value, where there is one."""
    for n, (name, index) in enumerate(steps):
        if type(document) is dict:
            document = document.get(name, MISSING)
        elif type(document) is list and 0 <= index < len(document):
            document = document[index]
        elif n and (document is None or type(document) is str):
            return document
        else:
            return MISSING
    return MISSING


def _step(token: str, pointer: str) -> Step:
    if _BAD_ESCAPE.search(token):
        raise ValueError(f"'~' in a JSON Pointer is written '~0' ('/' is '~1'), got {pointer!r}")
    name = token.replace("~1", "/").replace("~0", "~")
    is_index = token.isascii() and token.isdigit() and (token == "0" or token[0] != "0")
    return name, int(token) if is_index and len(token) < 10 else -1
