"""What is told of messages that could not be used: text under `host.unreadable`.

3 not JSON: <html>…      three messages more, the reason, and the beginning of one
"""

import re

from shared.text import clean

UNREADABLE = "host.unreadable"
NO_FIT = "no name that fits"
"""The reason where messages are read, but nothing in them has a place in the profile."""
EXAMPLE = 60
_TOLD = re.compile(r"(\d{1,15}) ([^:]+): ?(.*)", re.DOTALL)


def told(count: int, why: str, example: str) -> str:
    """The words for `count` messages more; `why` holds no colon."""
    return f"{count} {why}: {clean(example, EXAMPLE)}"


def told_of(text: str) -> tuple[int, str, str] | None:
    """Count, reason and example; None where the text is no such telling."""
    found = _TOLD.fullmatch(text)
    return None if found is None else (int(found[1]), clean(found[2]), clean(found[3], EXAMPLE))
