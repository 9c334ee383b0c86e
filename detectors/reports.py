"""What detectors say: sightings of a fault, its end, and why they could not judge."""

from dataclasses import dataclass, field

from shared.words import EVERY_CHANNEL, Kind, Severity


@dataclass(slots=True)
class Sighting:
    """One occurrence of a fault.

    `row` and `at_s` say when it became known; `start_s` may lie before.
    `end_s` None: it is still going on, and a `Cleared` will follow. A further sighting
    of an occurrence that is going on (same kind and channel) brings its figures up to
    date and counts no new occurrence.
    """

    row: int
    at_s: float
    channel: str
    kind: Kind
    start_s: float
    end_s: float | None
    value: float
    unit: str
    text: str
    reads_low: bool = False
    """Whether the reading is below what is true: a loop that follows it heats too far."""
    severity: Severity | None = None
    """Where it is another than is usual for the kind."""
    tied_to: str | None = None
    facts: dict[str, float | str] = field(default_factory=dict)
    is_apart: bool = False
    """Whether it is an event of its own, however near the one before."""


def of_the_host(
    kind: Kind,
    row: int,
    at_s: float,
    text: str,
    *,
    start_s: float | None = None,
    end_s: float | None = None,
    value: float = 0.0,
    unit: str = "s",
    facts: dict[str, float | str] | None = None,
) -> Sighting:
    """A sighting of the host, or of the link to it; it began at `at_s` unless told otherwise."""
    since_s = at_s if start_s is None else start_s
    found = Sighting(row, at_s, EVERY_CHANNEL, kind, since_s, end_s, value, unit, text)
    found.facts = facts or {}
    return found


@dataclass(slots=True)
class Cleared:
    """A fault that was going on has ended at `end_s`. Figures left None stay as they were.

    Said again with the same `end_s`, it brings them up to date.
    """

    row: int
    at_s: float
    channel: str
    kind: Kind
    end_s: float
    value: float | None = None
    text: str | None = None
    facts: dict[str, float | str] = field(default_factory=dict)


@dataclass(slots=True)
class Departure:
    """A reading left where heat could have it, or came back; for rules only, never booked.

    `delta` is in units of the signal, at the row itself; `spacing_s` the time in which the
    jump can have happened.
    """

    row: int
    at_s: float
    channel: str
    away: bool
    delta: float
    unit: str
    spacing_s: float


@dataclass(slots=True)
class Started:
    """The controller or the host started at `since_s`; for rules only, never booked."""

    row: int
    at_s: float
    channel: str
    since_s: float


Report = Sighting | Cleared | Departure | Started
