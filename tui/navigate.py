"""Moving through time: the window on a live host, the cursor of a replay."""

import math

from shared.events import Event
from shared.when import hms
from shared.words import channel_word
from tui.raster import COLUMN_DOTS
from tui.snapshot import Snapshot, SnapshotSource
from tui.state import ScreenState, standing
from tui.window import PAN_PART, Window

SPEEDS = (0.25, 1000.0)


class Navigator:
    """Turns keys into windows, or into calls on a replay. Knows no terminal."""

    def __init__(self, source: SnapshotSource, state: ScreenState) -> None:
        self._source = source
        self._state = state

    def _first_s(self, now: Snapshot) -> float:
        first_s, _ = self._source.history.span_s
        return now.now_s if math.isnan(first_s) else first_s

    def _move(self, window: Window) -> None:
        self._state.window = window

    def pause(self, now: Snapshot) -> None:
        """Hold the chart or follow again; play or pause a replay."""
        window = self._state.window
        if now.play is not None:
            self._source.play(now.play.speed, not now.play.paused)
        else:
            self._move(window.held_at(now.now_s) if window.follows else window.live())

    def speed(self, now: Snapshot, factor: float) -> float | None:
        """New speed of a replay."""
        if now.play is None:
            return None
        speed = min(max(now.play.speed * factor, SPEEDS[0]), SPEEDS[1])
        self._source.play(speed, now.play.paused)
        return speed

    def pan(self, now: Snapshot, sign: int) -> None:
        if now.play is not None:
            self._source.seek(now.play.cursor_s + sign * PAN_PART * self._state.window.span_s)
        else:
            part = sign * PAN_PART
            self._move(self._state.window.panned(part, self._first_s(now), now.now_s))

    def step(self, now: Snapshot, cells: float, plot_cells: int) -> None:
        """Move the cursor by columns of a plot that is `plot_cells` wide; a replay, by updates."""
        if now.play is not None:
            at_s = self._source.history.beside(now.play.cursor_s, 1 if cells > 0 else -1)
            if at_s is not None:
                self._source.seek(at_s)
            return
        seconds = cells * self._state.window.span_s / max(plot_cells, 1)
        self.jump(now, seconds)

    def jump(self, now: Snapshot, seconds: float) -> None:
        """Move the cursor by some time."""
        if now.play is not None:
            self._source.seek(now.play.cursor_s + seconds)
        else:
            self._move(self._state.window.stepped(seconds, self._first_s(now), now.now_s))

    def start(self, now: Snapshot) -> None:
        if now.play is not None:
            self._source.seek(now.play.first_s)
        else:
            self._move(self._state.window.centred(self._first_s(now)))

    def newest(self, now: Snapshot) -> None:
        if now.play is not None:
            self._source.seek(now.play.last_s)
        else:
            self._move(self._state.window.live())

    def neighbour(self, now: Snapshot, step: int) -> float | None:
        """Start of the next or the previous event, seen from the cursor."""
        cursor_s = self._state.cursor_s(now)
        here = now.now_s if cursor_s is None else cursor_s
        starts = {event.start_s for event in standing(now)}
        if now.play is not None:
            starts |= set(now.play.event_starts_s)
        if step > 0:
            return min((at for at in starts if at > here), default=None)
        return max((at for at in starts if at < here), default=None)

    def go_to(self, now: Snapshot, time_s: float) -> str:
        """Show a time; if an event begins there, select it and say what it is."""
        if now.play is not None:
            self._source.seek(time_s)
            now = self._source.snapshot()
        else:
            self._move(self._state.window.centred(time_s))
        event = next((item for item in standing(now) if item.start_s == time_s), None)
        if event is None:
            return hms(time_s)
        self._select(event, now)
        return f"{hms(time_s)} {channel_word(event.channel)} {event.kind}: {event.text}"

    def _select(self, event: Event, now: Snapshot) -> None:
        self._state.selected = event.id
        if event.channel in [health.channel for health in now.channels]:
            self._state.channel = event.channel

    def point(self, now: Snapshot, cell: int, plot_cells: int) -> None:
        """Put the cursor on a column of the plot."""
        edge_s = self._state.edge_s(now, self._first_s(now), plot_cells)
        grid = self._state.window.grid(edge_s, plot_cells)
        time_s = (grid.first + (cell + 0.5) * COLUMN_DOTS) * grid.dot_s
        if now.play is not None:
            self._source.seek(time_s)
            return
        held = self._state.window.held_at(now.now_s)
        moved = time_s - (held.cursor_s or 0.0)
        self._move(held.stepped(moved, self._first_s(now), now.now_s))
