"""Whether a channel's reading was true, over the chart's time axis."""

from collections.abc import Container, Iterable

import msgspec
import numpy as np
from numpy.typing import NDArray

from detectors.health import DOUBT_S, trust_of
from shared.events import Event
from shared.health import Trust
from shared.words import EVERY_CHANNEL, HostState
from tui.raster import COLUMN_DOTS, Flags, Grid

LEVELS = (Trust.TRUE, Trust.SHELVED, Trust.DOUBTFUL, Trust.FALSE, Trust.UNKNOWN)
"""In rising order: the worst in a cell is shown."""

Levels = NDArray[np.int8]
_RANK = {trust: rank for rank, trust in enumerate(LEVELS)}
NO_DATA = -1
"""Before the first update, or after the newest."""


def levels(
    channel: str,
    events: Iterable[Event],
    grid: Grid,
    blank: Flags,
    since_s: float,
    until_s: float,
    shelved: Container[int] = (),
) -> Levels:
    """Worst level in each dot column, as an index of `LEVELS`, shape (count,).

    Each event is painted over its own time and the doubt that follows it, by the rule of
    `detectors.health`, or as shelved. `blank` columns between `since_s` and `until_s` are unknown.
    """
    painted = np.zeros(grid.count, np.int8)
    for event in events:
        if event.channel not in (channel, EVERY_CHANNEL):
            continue
        end_s = until_s if event.end_s is None else event.end_s
        if event.start_s >= grid.end_s or end_s + DOUBT_S < grid.start_s:
            continue
        most = _RANK[Trust.SHELVED if event.id in shelved else Trust.UNKNOWN]
        raised = msgspec.structs.replace(event, end_s=None)
        rank = min(_rank(channel, raised, event.start_s), most)
        _paint(painted, grid, event.start_s, end_s, rank)
        if event.end_s is not None:
            after = min(end_s + DOUBT_S, until_s)
            _paint(painted, grid, end_s, after, min(_rank(channel, event, end_s), most))
    left = (grid.first + np.arange(grid.count)) * grid.dot_s
    painted[blank] = _RANK[Trust.UNKNOWN]
    painted[(left + grid.dot_s <= since_s) | (left > until_s)] = NO_DATA
    return painted


def worst_per_cell(painted: Levels) -> Levels:
    """Shape (count / 2,)."""
    return np.asarray(painted.reshape(-1, COLUMN_DOTS).max(axis=1), np.int8)


def _rank(channel: str, event: Event, time_s: float) -> int:
    return _RANK[trust_of(channel, (event,), HostState.UP, time_s)[0]]


def _paint(painted: Levels, grid: Grid, start_s: float, end_s: float, rank: int) -> None:
    first = max(grid.dot_of(start_s), 0)
    last = min(grid.dot_of(end_s), grid.count - 1)
    if rank and last >= first:
        painted[first : last + 1] = np.maximum(painted[first : last + 1], rank)
