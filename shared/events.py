"""Events, and the diagnosis that is drawn from them, as they leave the detectors."""

import msgspec

from shared.words import Cause, Gate, Kind, Severity

LEAST_FOR_RATE = 3
"""Occurrences from which an event has a rate: two give one interval, which tells little."""


LASTED = "lasted_s"
"""Fact of an event: seconds that its occurrences lasted, all together; without those between."""


class Event(msgspec.Struct, frozen=True, kw_only=True):
    """One finding, as it stands at a moment of its life.

    The same `id` comes again each time the event changes: raised, counted up, returned.
    Times are in the log's `time_s`; `end_s` is None while the event is active.
    `count` is the number of occurrences that deadband and delay joined into one event.
    `value` and `unit` give its size: ohms, codes, degrees, seconds.
    `gate` is what the channel was doing when the event was raised. `facts` are numbers
    and words for the diagnosis (documented in `detectors/diagnosis/evidence.py`).
    """

    id: int
    kind: Kind
    channel: str
    start_s: float
    end_s: float | None
    severity: Severity
    count: int
    value: float
    unit: str
    text: str
    tied_to: str | None = None
    gate: Gate | None = None
    facts: dict[str, float | str] = {}
    absorbed_by: int | None = None
    """Id of the event that turned out to explain this one; final outputs leave it out."""

    @property
    def is_active(self) -> bool:
        return self.end_s is None

    def per_hour(self, now_s: float | None = None) -> float | None:
        """Occurrences an hour of a chattering event: those after the first, over their time.

        None where too few came to speak of a rate; `now_s` ends an event that goes on.
        """
        end_s = now_s if self.end_s is None else self.end_s
        if self.count < LEAST_FOR_RATE or end_s is None or end_s <= self.start_s:
            return None
        return 3600.0 * (self.count - 1) / (end_s - self.start_s)


class Check(msgspec.Struct, frozen=True, kw_only=True):
    """Something a person can do next to tell causes apart."""

    name: str
    """Short stable name, such as `wiggle-cable`."""
    do: str
    """What to do, in one or two sentences."""
    look_for: str
    """What to look for, and what it would mean."""
    effort_min: float
    """Minutes it takes."""
    tools: str = ""
    """What it takes; empty where nothing."""
    caution: str = ""
    """What to mind; never empty where hardware is touched."""


class RankedCause(msgspec.Struct, frozen=True, kw_only=True):
    """A cause with its probability and the evidence; `cause` None means unknown."""

    channel: str
    cause: Cause | None
    probability: float
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...]
    next_check: Check | None


class Verdict(msgspec.Struct, frozen=True, kw_only=True):
    """What a whole log amounts to."""

    severity: Severity
    text: str
    stop: str = ""
    """What must be done at once, also the beginning of `text`; empty where nothing."""


class NotEvaluated(msgspec.Struct, frozen=True, kw_only=True):
    """A detector's own word that it could not judge, and why."""

    kind: Kind
    channel: str
    why: str
