"""Which stretch of time the chart shows, and where its cursor stands."""

import math
from dataclasses import dataclass, replace

from tui.raster import COLUMN_DOTS, Grid

SPANS_S = (
    *(15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0),
    *(hours * 3600.0 for hours in (1, 2, 4, 8, 12, 24, 48, 96)),
)
START_SPAN = SPANS_S.index(300.0)
PAN_PART = 0.25
"""Part of the window that one pan moves."""
LEAD_PART = 0.25
"""In a replay: part of the window that lies after the cursor."""


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of time. `end_s` None follows the newest data."""

    zoom: int = START_SPAN
    end_s: float | None = None
    cursor_s: float | None = None

    @staticmethod
    def of(span_s: float) -> "Window":
        """The shortest window that shows a span whole."""
        return Window(next((at for at, s in enumerate(SPANS_S) if s >= span_s), len(SPANS_S) - 1))

    @property
    def span_s(self) -> float:
        return SPANS_S[self.zoom]

    @property
    def follows(self) -> bool:
        return self.end_s is None

    def held_at(self, now_s: float) -> "Window":
        """Stop following; the cursor stands at the newest data."""
        return replace(self, end_s=now_s, cursor_s=now_s) if self.follows else self

    def live(self) -> "Window":
        return replace(self, end_s=None, cursor_s=None)

    def panned(self, part: float, first_s: float, now_s: float) -> "Window":
        """Move by a part of the window, kept where there is data; the cursor keeps its place."""
        here = self.held_at(now_s)
        assert here.end_s is not None
        end_s = min(max(here.end_s + part * self.span_s, first_s + self.span_s / 8), now_s)
        moved = end_s - here.end_s
        cursor_s = (here.cursor_s if here.cursor_s is not None else here.end_s) + moved
        return replace(here, end_s=end_s, cursor_s=min(max(cursor_s, first_s), now_s))

    def stepped(self, seconds: float, first_s: float, now_s: float) -> "Window":
        """Move the cursor; the window comes along where it would leave it."""
        here = self.held_at(now_s)
        assert here.end_s is not None
        assert here.cursor_s is not None
        cursor_s = min(max(here.cursor_s + seconds, first_s), now_s)
        end_s = min(max(here.end_s, cursor_s), cursor_s + self.span_s * 0.98)
        return replace(here, end_s=end_s, cursor_s=cursor_s)

    def zoomed(self, steps: int) -> "Window":
        """Longer (positive) or shorter, around the cursor."""
        zoom = min(max(self.zoom + steps, 0), len(SPANS_S) - 1)
        if self.end_s is None or self.cursor_s is None:
            return replace(self, zoom=zoom)
        share = (self.end_s - self.cursor_s) / self.span_s
        return replace(self, zoom=zoom, end_s=self.cursor_s + share * SPANS_S[zoom])

    def centred(self, time_s: float) -> "Window":
        """Show a time in the middle, with the cursor on it."""
        return replace(self, end_s=time_s + self.span_s / 2, cursor_s=time_s)

    def reset(self) -> "Window":
        return replace(self, zoom=START_SPAN)

    def grid(self, now_s: float, cells: int, lead_s: float = 0.0) -> Grid:
        """Dot columns of `cells` cells. The right edge falls on a whole cell, so that the
        picture moves by cells."""
        dot_s = self.span_s / (cells * COLUMN_DOTS)
        end_s = now_s + lead_s if self.end_s is None else self.end_s
        last_cell = math.floor(end_s / (dot_s * COLUMN_DOTS)) + 1
        count = cells * COLUMN_DOTS
        return Grid(last_cell * COLUMN_DOTS - count, count, dot_s)
