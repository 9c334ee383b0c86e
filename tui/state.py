"""What the person chose to look at. Nothing here knows the terminal."""

import math
from dataclasses import dataclass, field
from enum import StrEnum
from operator import is_not

from shared.bursts import Place, places
from shared.events import Event
from shared.when import hms
from tui.deed_lines import left_words
from tui.guide import Guide
from tui.scale import Axis
from tui.snapshot import Snapshot
from tui.window import LEAD_PART, Window


class ViewName(StrEnum):
    OVERVIEW = "overview"
    EVENTS = "events"
    DIAGNOSIS = "diagnosis"
    CHAIN = "chain"
    NOTES = "notes"
    TRIALS = "trials"
    CHECK = "check"
    """The check guide: digits are marks there, and tab passes it over."""


@dataclass
class ScreenState:
    """View, channel, window, selection. Axes are kept so that they change slowly."""

    view: ViewName = ViewName.OVERVIEW
    channel: str = ""
    window: Window = field(default_factory=Window)
    words: str = ""
    """Filter of the event list."""
    selected: int | None = None
    """Id of the selected event; None is the newest."""
    scroll: int = 0
    help: bool = False
    message: str = ""
    is_one_of_several: bool = False
    """The screen is one host's among others: it names the host, and the key that leads back."""
    guide: Guide | None = None
    """The check that is open, also while another view is shown."""
    axes: dict[tuple[str, int], Axis] = field(default_factory=dict)
    _places: tuple[tuple[Event, ...], dict[int, Place]] = ((), {})

    def settle(self, now: Snapshot) -> None:
        """Choose a channel once there is one: the first that has a target."""
        names = [health.channel for health in now.channels]
        if self.channel in names or not names:
            return
        heated = [health.channel for health in now.channels if health.target_c is not None]
        self.channel = (heated or names)[0]

    def places(self, now: Snapshot) -> dict[int, Place]:
        """Place of events in their bursts, by id; worked out anew when an event has changed."""
        before, events = self._places[0], now.events
        if len(before) != len(events) or any(map(is_not, before, events)):
            self._places = events, places(events)
        return self._places[1]

    def cycle(self, now: Snapshot, step: int) -> None:
        names = [health.channel for health in now.channels]
        if names:
            at = names.index(self.channel) if self.channel in names else 0
            self.channel = names[(at + step) % len(names)]

    def cursor_s(self, now: Snapshot) -> float | None:
        """Where the cursor stands; None when the newest data is meant."""
        return self.window.cursor_s if now.play is None else now.play.cursor_s

    def edge_s(self, now: Snapshot, first_s: float, cells: int) -> float:
        """Time at the right edge of a window of `cells` cells while it follows.

        A young watch (first data at `first_s`, NaN before any) fills its window from the left.
        """
        edge_s = now.now_s
        if now.play is not None:
            lead_s = LEAD_PART * self.window.span_s
            edge_s = max(min(now.play.cursor_s + lead_s, now.play.last_s), now.play.cursor_s)
        full_s = first_s + self.window.span_s * (1.0 - 1.0 / cells)
        return max(edge_s, full_s) if math.isfinite(full_s) else edge_s


def standing(now: Snapshot) -> list[Event]:
    """Events that stand on their own, in order of their start."""
    found = [event for event in now.events if event.absorbed_by is None]
    return sorted(found, key=lambda event: (event.start_s, event.id))


def event_state(event: Event, now: Snapshot) -> str:
    """Where an event is in its life, in words."""
    words = ["going on" if event.is_active else "ended"]
    if event.id in now.acknowledged:
        words.append("acknowledged")
    if event.id in now.shelved:
        words.append(left_words(now.shelved[event.id], now.now_s))
    return ", ".join(words)


def filtered(now: Snapshot, words: str) -> list[Event]:
    """Events that hold every word, newest first."""
    wanted = words.lower().split()
    return [
        event
        for event in reversed(standing(now))
        if all(word in _searched(event, now) for word in wanted)
    ]


def _searched(event: Event, now: Snapshot) -> str:
    parts = (event.kind, event.channel, event.severity, event.text, event.tied_to or "")
    return " ".join([*parts, event_state(event, now), hms(event.start_s)]).lower()
