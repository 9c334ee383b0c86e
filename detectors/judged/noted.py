"""What the notes of a log say: answers to checks, changes, handling, deeds.

A file from elsewhere may hold any nonsense: what is none of these is passed over.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from detectors.diagnosis.answers import Answer, newest_answers
from detectors.diagnosis.checks import CATALOGUE, form_of
from detectors.shelf import LONGEST_SHELF_S, Deed
from detectors.trials.counted import Change
from shared.errors import BadInput
from shared.notes import ANSWER, FROM_S, TRIAL, Note
from shared.text import clean
from shared.words import EVERY_CHANNEL, Act, Kind


@dataclass(frozen=True, slots=True)
class Noted:
    """What notes say, each in order of time."""

    answers: tuple[Answer, ...] = ()
    """Where a check was answered more than once on a channel, the last answer alone."""
    unused: tuple[str, ...] = ()
    """A line for each answer that cannot be used: this version's catalogue may not have it."""
    changes: tuple[Change, ...] = ()
    handled: tuple[tuple[float, float], ...] = ()
    """When somebody handled the machine for a measured check: from its start to its answer."""
    deeds: tuple[Deed, ...] = ()


def noted(notes: Sequence[Note], until_s: float = math.inf) -> Noted:
    """What the notes up to a moment say; of measured checks, those of all notes.

    What a check provoked is told by its answer, also to one who looks at the time before.
    """
    said = [note for note in notes if note.time_s <= until_s]
    answers, unused = _answers(said)
    deeds = tuple(deed for note in said if (deed := _deed(note)) is not None)
    return Noted(answers, unused, _changes(said), _handled(notes), deeds)


def is_deed(note: Note) -> bool:
    """Whether a note is of what somebody did with an event."""
    return note.kind in tuple(Act)


def _answers(notes: Iterable[Note]) -> tuple[tuple[Answer, ...], tuple[str, ...]]:
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


def _changes(notes: Iterable[Note]) -> tuple[Change, ...]:
    found = []
    for note in notes:
        if note.kind != TRIAL:
            continue
        channel, check = note.facts.get("channel"), note.facts.get("change")
        name = channel if isinstance(channel, str) and channel else EVERY_CHANNEL
        known = check if isinstance(check, str) and check in CATALOGUE else ""
        found.append(Change(note.time_s, clean(note.text), clean(name), known))
    return tuple(sorted(found, key=lambda change: change.time_s))


def _handled(notes: Iterable[Note]) -> tuple[tuple[float, float], ...]:
    return tuple(
        (from_s, note.time_s)
        for note in notes
        if isinstance(from_s := note.facts.get(FROM_S), int | float) and from_s < note.time_s
    )


def _deed(note: Note) -> Deed | None:
    facts = note.facts
    if not is_deed(note):
        return None
    channel, kind, reason = facts.get("channel"), facts.get("event_kind"), facts.get("reason")
    start_s, until_s = facts.get("start_s"), facts.get("until_s")
    if not isinstance(channel, str) or kind not in tuple(Kind):
        return None
    if not isinstance(start_s, int | float) or not isinstance(until_s, int | float | None):
        return None
    if until_s is not None:
        until_s = min(float(until_s), note.time_s + LONGEST_SHELF_S)
    why = clean(reason) if isinstance(reason, str) else ""
    return Deed(Act(note.kind), note.time_s, channel, Kind(kind), float(start_s), until_s, why)
