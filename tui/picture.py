"""Everything that one drawing of the chart needs, computed from history and events."""

from dataclasses import dataclass

import numpy as np

from shared.health import Trust
from tui.history import History
from tui.raster import Columns, Flags, Grid, columns, missing
from tui.ribbon import LEVELS, Levels, levels
from tui.scale import Axis, believed_range, settled
from tui.snapshot import Snapshot
from tui.state import ScreenState


@dataclass(frozen=True, slots=True)
class Picture:
    """One channel's chart, and every channel's ribbon, on one time grid."""

    grid: Grid
    blank: Flags
    reading: Columns
    target: Columns
    power: Columns
    axis: Axis
    ribbons: dict[str, Levels]
    """Level in each dot column by channel (see `tui.ribbon`)."""


def take_picture(history: History, now: Snapshot, state: ScreenState, cells: int) -> Picture:
    """Compute the chart for a width of `cells`; remembers the axis in `state`."""
    newest_s = now.now_s if now.play is None else now.play.last_s
    since_s, until_s = _held(history, newest_s)
    grid = state.window.grid(state.edge_s(now, since_s, cells), cells)
    gaps = history.gaps(grid.start_s, grid.end_s, newest_s)
    blank = missing(grid, gaps, since_s, until_s)
    reading, target, power = (
        columns(grid, *history.samples(f"{state.channel}.{key}", grid.start_s, grid.end_s), blank)
        for key in ("temperature_c", "target_c", "power")
    )
    target = without_off(target)
    ribbons = {
        health.channel: levels(
            health.channel,
            now.events,
            grid,
            blank,
            since_s,
            min(now.now_s, newest_s),
            now.shelved,
        )
        for health in now.channels
    }
    level = ribbons.get(state.channel)
    believed = np.zeros(grid.count, bool) if level is None else level == LEVELS.index(Trust.TRUE)
    key = (state.channel, state.window.zoom)
    axis = settled(believed_range(reading, target, believed), state.axes.get(key))
    state.axes[key] = axis
    return Picture(grid, blank, reading, target, power, axis, ribbons)


def without_off(target: Columns) -> Columns:
    """A target of zero or less means "off": no line there, nor down to it."""
    high = np.where(target.high > 0, target.high, np.nan)
    return Columns(np.where(target.low > 0, target.low, high), high)


def _held(history: History, newest_s: float) -> tuple[float, float]:
    """First moment with data, and the newest time that the chart reaches."""
    first_s, _ = history.heard_s
    return (np.inf, -np.inf) if np.isnan(first_s) else (first_s, newest_s)
