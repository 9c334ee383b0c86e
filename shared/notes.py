"""Notes of a log: what a person, or a tool for them, wrote at a moment of it."""

from typing import Any

import msgspec

NOTE = "note"
"""Kind of a note that is words alone."""
ANSWER = "answer"
"""Kind of a note that answers a check; its facts name `channel`, `check` and `outcome`."""
MEASURED = "measured"
"""Kind of a note of what a measured check found that answers no check of the catalogue."""
TRIAL = "trial"
"""Kind of a note at which a trial starts; its facts may name a `channel` and a `change`."""
FROM_S = "from_s"
"""Fact of an answer: when its measured check began, log time."""


class Note(msgspec.Struct, frozen=True):
    """What was written at `time_s` (log time).

    `kind` is one of those above, or an `Act`, with what belongs to it in `facts`.
    """

    time_s: float
    text: str
    kind: str = NOTE
    facts: dict[str, Any] = {}
