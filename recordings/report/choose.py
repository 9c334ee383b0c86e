"""Which faults get a figure of their own, and how much of the log it shows."""

from collections.abc import Sequence

from recordings.report.facts import is_fault
from recordings.report.gather import Window
from shared.events import Event

MARGIN_S = 60.0
"""Shown before and after a fault."""
LONGEST_S = 600.0
"""A fault that lasts longer is shown from its beginning."""
MOST_FIGURES = 12


def shown_faults(events: Sequence[Event]) -> list[Event]:
    """One event for each kind and channel: the worst, then the most frequent, then the first.

    Notices are left out, unless there is nothing else.
    """
    faults = [event for event in events if is_fault(event)] or list(events)
    best: dict[tuple[str, str], Event] = {}
    for event in faults:
        key = (event.kind, event.channel)
        if key not in best or _weight(event) > _weight(best[key]):
            best[key] = event
    worst = sorted(best.values(), key=lambda event: -event.severity.rank)[:MOST_FIGURES]
    return sorted(worst, key=lambda event: (event.start_s, event.id))


def window_of(event: Event, first_s: float, last_s: float) -> Window:
    """A minute before and after, within the log; the first ten minutes of what lasts longer."""
    end_s = last_s if event.end_s is None else event.end_s
    end_s = min(end_s, event.start_s + LONGEST_S)
    return Window(max(event.start_s - MARGIN_S, first_s), min(end_s + MARGIN_S, last_s))


def _weight(event: Event) -> tuple[int, int]:
    return event.severity.rank, event.count
