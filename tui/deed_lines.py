"""Acknowledging and shelving in words: asked for, as a note, as lines and records."""

import re
import time
from collections.abc import Iterable
from typing import Any

from detectors.shelf import LONGEST_SHELF_S
from shared.errors import BadInput
from shared.events import Event
from shared.notes import Note
from shared.when import short, spelt, tenths, utc
from shared.words import Act, channel_word

USUAL_S = 600.0
"""How long something is shelved where no time is given."""
UNTIL_RETURNED = "until it has returned"
_UNITS = {"s": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0}
_TIME = re.compile(r"(\d{1,6}(?:\.\d{1,3})?)\s*(s|min|m|h)?(?:$|[\s,:;]+)", re.ASCII)
_RETURNED = re.compile(r"(?:until\s+)?(?:r|returned)(?:$|[\s,:;]+)", re.ASCII)


def shelf_words(text: str) -> tuple[float | None, str]:
    """`10m why`, `1h`, `8 h`, `r` or `until returned`: seconds (None: until returned), reason.

    Raises BadInput for a time that is none, or that is too long.
    """
    found = _RETURNED.match(text)
    if found is not None:
        return None, text[found.end() :].strip()
    time_found = _TIME.match(text)
    if time_found is None:
        if text[:1].isdigit():
            what = f"'{text.split()[0]}' is no length of time"
            raise BadInput("shelve", what, "write 10m, 1h, 8h, or r until it has returned")
        return USUAL_S, text.strip()
    seconds = float(time_found[1]) * _UNITS[time_found[2] or "m"]
    if not 0.0 < seconds <= LONGEST_SHELF_S:
        what = f"{time_found[0].strip()} is too {'long' if seconds else 'short'}"
        raise BadInput("shelve", what, f"up to {spelt(LONGEST_SHELF_S)} at a time")
    return seconds, text[time_found.end() :].strip()


def deed_note(
    act: Act, event: Event, now_s: float, for_s: float | None = None, reason: str = ""
) -> Note:
    """The note that records a deed; `for_s` None shelves until the event has returned.

    Facts: docs/recording.md. No name of a person goes in.
    """
    place = f"{event.kind} on {channel_word(event.channel)}"
    facts: dict[str, Any] = {
        "channel": event.channel,
        "event_kind": str(event.kind),
        "start_s": event.start_s,
        "wall_s": round(time.time(), 3),
    }
    if act is Act.SHELVE:
        facts |= {"until_s": None if for_s is None else now_s + for_s}
    if reason:
        facts |= {"reason": reason}
    length = UNTIL_RETURNED if for_s is None else f"for {spelt(for_s)}"
    words = {
        Act.ACKNOWLEDGE: f"acknowledged: {place}",
        Act.SHELVE: f"shelved {length}: {place}",
        Act.UNSHELVE: f"taken off the shelf: {place}",
    }
    text = f"{words[act]} - {reason}" if reason else words[act]
    return Note(now_s, text, str(act), facts)


def left_words(until_s: float | None, now_s: float) -> str:
    """`shelved, 9m left`."""
    if until_s is None:
        return "shelved until returned"
    return f"shelved, {short(until_s - now_s)} left"


# -- as lines and records --


def wall_words(note: Note) -> str:
    """Wall time of a deed in UTC, or nothing where it is not on record."""
    wall_s = note.facts.get("wall_s")
    return utc(wall_s) if isinstance(wall_s, int | float) else ""


def deed_lines(notes: Iterable[Note]) -> list[str]:
    """A line for each deed: log time, what was done, when by the clock on the wall."""
    lines = []
    for note in notes:
        wall = wall_words(note)
        lines.append(f"{tenths(note.time_s):>10}  {note.text}{wall and f' ({wall})'}")
    return lines


def deed_record(note: Note) -> dict[str, Any]:
    """What a person did, for `judge --json` (docs/json.md)."""
    facts = note.facts
    return {
        "record": "action",
        "action": note.kind,
        "time_s": note.time_s,
        "wall_s": facts.get("wall_s"),
        "kind": facts.get("event_kind"),
        "channel": facts.get("channel"),
        "start_s": facts.get("start_s"),
        "until_s": facts.get("until_s"),
        "reason": facts.get("reason"),
        "text": note.text,
    }
