"""Which faults get a figure, and how much of the log it shows."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from recordings.report.facts import is_fault
from recordings.report.gather import ReportWindow
from shared.events import Event

MARGIN_S = 60.0
"""Shown before and after a fault."""
LONGEST_S = 600.0
"""A fault that lasts longer is shown from its beginning."""
MOST_FIGURES = 12


@dataclass(slots=True)
class Shown:
    """One figure: a fault, other faults of the channel that it shows as well, and the stretch."""

    event: Event
    window: ReportWindow
    others: list[Event] = field(default_factory=list)


def shown_faults(events: Sequence[Event], first_s: float, last_s: float) -> list[Shown]:
    """A figure for each distinct fault: the worst, then most frequent, of a kind and channel.

    One that another figure of its channel shows already joins it. Notices are left out,
    unless there is nothing else.
    """
    faults = [event for event in events if is_fault(event)] or list(events)
    best: dict[tuple[str, str], Event] = {}
    for event in faults:
        key = (event.kind, event.channel)
        if key not in best or _weight(event) > _weight(best[key]):
            best[key] = event
    figures: list[Shown] = []
    for event in sorted(best.values(), key=_weight, reverse=True):
        window = window_of(event, first_s, last_s)
        inside = next((each for each in figures if _shows(each, event)), None)
        if inside is not None:
            inside.others.append(event)
        elif len(figures) < MOST_FIGURES:
            figures.append(Shown(event, window))
    return sorted(figures, key=lambda each: (each.event.start_s, each.event.id))


def window_of(event: Event, first_s: float, last_s: float) -> ReportWindow:
    """A minute before and after, within the log; the first ten minutes of what lasts longer."""
    end_s = last_s if event.end_s is None else event.end_s
    end_s = min(end_s, event.start_s + LONGEST_S)
    return ReportWindow(max(event.start_s - MARGIN_S, first_s), min(end_s + MARGIN_S, last_s))


def _shows(figure: Shown, event: Event) -> bool:
    """Whether an event begins well inside a figure of its channel."""
    window = figure.window
    return (
        figure.event.channel == event.channel
        and window.start_s <= event.start_s <= window.end_s - MARGIN_S / 2
    )


def _weight(event: Event) -> tuple[int, int, float]:
    return event.severity.rank, event.count, -event.start_s
