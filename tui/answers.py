"""Notes of a log that are evidence: answers to checks, for the diagnosis."""

from collections.abc import Iterable, Mapping
from itertools import chain
from typing import Any, Protocol

from detectors.diagnosis import Answer
from detectors.diagnosis.checks import form_of
from shared.errors import BadInput
from shared.text import clean

ANSWER = "answer"
"""Kind of a note that answers a check; its facts are those of an `Answer`."""
MEASURED = "measured"
"""Kind of a note of what a measured check found that answers no check of the catalogue."""
FROM_S = "from_s"
"""Fact of an answer: when its measured check began, log time."""
TRIAL = "trial"
"""Kind of a note at which a trial starts; its facts may name a `channel`."""


class AnyNote(Protocol):
    """A note of a log, or of the screen."""

    @property
    def time_s(self) -> float: ...

    @property
    def text(self) -> str: ...

    @property
    def kind(self) -> str: ...

    @property
    def facts(self) -> Mapping[str, Any]: ...


def answers_in(notes: Iterable[AnyNote]) -> tuple[tuple[Answer, ...], tuple[str, ...]]:
    """Answers among notes, and a line for each that cannot be used.

    Where a check was answered more than once on a channel, the last answer counts. A log
    from elsewhere may name checks that are not in this version's catalogue.
    """
    found: list[Answer] = []
    unused: list[str] = []
    for note in notes:
        if note.kind != ANSWER:
            continue
        words = [note.facts.get(key) for key in ("channel", "check", "outcome")]
        channel, check, outcome = (clean(word) if isinstance(word, str) else "" for word in words)
        try:
            form_of(check, outcome)
        except BadInput as bad:
            unused.append(f"an answer is not used: {bad.where}: {bad.what}")
            continue
        found.append(Answer(channel=channel, check=check, outcome=outcome))
    return newest_answers([found]), tuple(unused)


def newest_answers(said: Iterable[Iterable[Answer]]) -> tuple[Answer, ...]:
    """Of answers in their order, also over several logs, the last to each check on a channel."""
    found: dict[tuple[str, str], Answer] = {}
    for answer in chain.from_iterable(said):
        found.pop((answer.channel, answer.check), None)
        found[answer.channel, answer.check] = answer
    return tuple(found.values())
