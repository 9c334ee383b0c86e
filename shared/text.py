"""Cleaning of text that comes from outside: a host, a file, a name in a profile."""

import unicodedata

MAX_TEXT = 200
"""Longest text kept, in characters; the rest is cut and marked with an ellipsis."""

_DROPPED = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def clean(text: str, limit: int = MAX_TEXT) -> str:
    """Return `text` with only printable characters, single spaces, at most `limit` long.

    Control characters, escape sequences' introducers, bidirectional overrides, other
    format characters, surrogates and private-use characters are dropped, so that what
    a host sends can be printed in a terminal. Markup is not removed: show the result
    as plain text. Combining marks beyond four in a row are dropped as well.
    """
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
