"""Cleaning of text that comes from outside: a host, a file, a name in a profile."""

import unicodedata
from typing import Any

MAX_TEXT = 200
"""Longest text kept, in characters; the rest is cut and marked with an ellipsis."""

MAX_NESTED = 4000
"""The same for a text within JSON, such as a note's facts or a request."""

_DROPPED = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def clean(text: str, limit: int = MAX_TEXT) -> str:
    """Return `text` with only printable characters, single spaces, at most `limit` long.

    Control characters, escape sequences' introducers, bidirectional overrides, other
    format characters, surrogates and private-use characters are dropped, so that what
    a host sends can be printed in a terminal. Markup is not removed: show the result
    as plain text. Combining marks beyond four in a row are dropped as well.
    """
    if text.isascii() and text.isprintable() and len(text) <= limit:
        return " ".join(text.split())
    kept: list[str] = []
    marks = 0
    for char in text[: 8 * limit]:
        if char.isspace():
            char = " "
        category = unicodedata.category(char)
        if category in _DROPPED:
            continue
        marks = marks + 1 if category in ("Mn", "Me") else 0
        if marks <= 4:
            kept.append(char)
    joined = " ".join("".join(kept).split())
    return joined if len(joined) <= limit else joined[: limit - 1] + "…"


def printable(text: str) -> str:
    """Return `text` without what may not be printed, its spaces and its length as they are.

    For what leaves the process; `clean` is for what comes in.
    """
    if text.isprintable():
        return text
    spaced = (" " if char in "\t\r\n" else char for char in text)
    return "".join(char for char in spaced if unicodedata.category(char) not in _DROPPED)


def cleaned(value: Any, limit: int = MAX_NESTED) -> Any:
    """Values of JSON with every text in them, names too, cleaned."""
    if isinstance(value, str):
        return clean(value, limit)
    if isinstance(value, dict):
        return {clean(str(name), limit): cleaned(each, limit) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [cleaned(each, limit) for each in value]
    return value
