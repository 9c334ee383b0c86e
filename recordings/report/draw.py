"""The figures of a report: the whole run, and each distinct fault."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from recordings.report.clip import Beyond, axis_range, beyond
from recordings.report.facts import is_fault, words
from recordings.report.gather import Overview, ReportLine, ReportWindow
from recordings.report.svg import ALARM, GAP, GRID, INK, MUTED, SERIES, SHADE, render
from shared.events import Event
from shared.updates import Floats
from shared.when import dated, hms
from shared.words import EVERY_CHANNEL, channel_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_LINES = 6
"""Channels drawn in the timeline; those with faults come first."""
ROOM, TIMELINE_ROOM = 3.0, 1.6
"""How far excursions may widen an axis; see `axis_range`."""
FURTHEST = 1e12
"""Values beyond are drawn here: no axis holds more."""
NAME_IN = 0.17
"""Height of a name at a line's end, inches."""


def timeline(view: Overview, events: Sequence[Event], first_s: float, last_s: float) -> str:
    """The whole run: every reading as a band from lowest to highest, faults in lanes below."""
    keys = _timeline_keys(view, events)
    lanes = list(dict.fromkeys(event.channel for event in events))[: 2 * MOST_LINES]
    heights = (2.6, 0.24 * max(len(lanes), 1) + 0.1)

    def draw(figure: Any) -> None:
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=heights)
        pairs = [(_drawable(view.low[key]), _drawable(view.high[key])) for key in keys]
        low, high = axis_range(pairs, 10.0, TIMELINE_ROOM)
        ends = []
        for key, colour in zip(keys, SERIES, strict=False):
            ends.append(_band(above, view, key, colour))
            for values in (view.low[key], view.high[key]):
                _mark(above, beyond(ReportLine(view.time_s, values), low, high), numbers=False)
        above.set_ylim(low, high)
        _names(above, ends, low, high, heights[0])
        above.set_ylabel("°C")
        _gap_shades(above, view)
        _lanes(below, lanes, events, last_s)
        _time_axis(below, first_s, last_s)

    return render(draw, heights, "timeline")


def fault(
    event: Event, channel: str, window: ReportWindow, number: int
) -> tuple[str, list[Beyond], str]:
    """One fault: reading, code or ohms, power and motion around it.

    Returns the SVG, the reading's excursions beyond its axis, and alternative text.
    """
    panels = _panels(event, channel, window)
    for panel in panels[:1]:
        panel.is_first = True
    heights = tuple(panel.height for panel in panels) or (1.0,)
    clipped: list[Beyond] = []

    def draw(figure: Any) -> None:
        axes = np.atleast_1d(figure.subplots(len(heights), 1, sharex=True, height_ratios=heights))
        for axis, panel in zip(axes, panels, strict=False):
            found = panel.draw(axis, window)
            if panel.is_first:
                clipped.extend(found)
            _shade(axis, event, window)
        _time_axis(axes[-1], window.start_s, window.end_s)

    svg = render(draw, heights, f"fault-{number}")
    return svg, clipped, _fault_words(event, channel, panels, window, clipped)


class _Panel:
    """One axis of a fault's figure."""

    def __init__(self, label: str, keys: Sequence[str], height: float, least: float) -> None:
        self.label = label
        self.keys = keys
        self.height = height
        self._least = least
        self.is_first = False
        """Whether excursions are numbered here."""
        self.is_reading = keys[0].endswith((".temperature_c", ".resistance_ohm", ".code"))

    def draw(self, axis: "Axes", window: ReportWindow) -> list[Beyond]:
        lines = [(key, _line(window, key)) for key in self.keys]
        low, high = axis_range([(each.value, each.value) for _, each in lines], self._least, ROOM)
        found: list[Beyond] = []
        ends = []
        for (key, line), colour in zip(lines, SERIES, strict=False):
            is_goal = key.endswith(".target_c")
            style: dict[str, Any] = {"color": MUTED if is_goal else colour}
            if is_goal:
                style |= {"linestyle": (0, (4, 3)), "linewidth": 1.0}
            axis.plot(line.time_s, line.value, drawstyle="steps-post", **style)
            if key.endswith((".power", ".speed_mm_s")):
                axis.fill_between(
                    line.time_s, line.value, 0.0, step="post", color=colour, alpha=0.15, lw=0
                )
                low = min(low, 0.0) if line.known.min(initial=0.0) < 0.0 else 0.0
            if not is_goal and self.is_reading:
                found += beyond(line, low, high)
            if len(self.keys) > 1 and len(line.known):
                name = "target" if is_goal else key.rpartition(".")[2].removesuffix("_mm")
                name = "reading" if key.endswith(".temperature_c") else name
                ends.append((name, style["color"], float(line.known[-1])))
        axis.set_ylim(low, high)
        axis.set_ylabel(self.label)
        _names(axis, ends, low, high, self.height)
        _mark(axis, found, numbers=self.is_first)
        return found


def _panels(event: Event, channel: str, window: ReportWindow) -> list[_Panel]:
    def there(*keys: str) -> list[str]:
        return [key for key in keys if key in window.lines or key in window.before]

    panels: list[_Panel] = []
    reading = there(f"{channel}.temperature_c", f"{channel}.target_c")
    if reading and reading[0].endswith(".temperature_c"):
        panels.append(_Panel("reading, °C", reading, 2.1, 4.0))
    for key, label, least in (("resistance_ohm", "Ω", 1.0), ("code", "code", 20.0)):
        if there(f"{channel}.{key}"):
            panels.append(_Panel(label, [f"{channel}.{key}"], 1.3, least))
            break
    if there(f"{channel}.power"):
        panels.append(_Panel("power", [f"{channel}.power"], 0.8, 0.2))
    tied = event.tied_to or ""
    moves = there(*(f"motion.{axis}_mm" for axis in "xyz" if tied.startswith(f"motion.{axis}")))
    moves = moves or there("motion.speed_mm_s") or there("motion.x_mm", "motion.y_mm")
    if moves:
        label = "motion, mm/s" if moves[0].endswith("speed_mm_s") else "carriage, mm"
        panels.append(_Panel(label, moves, 1.0, 1.0))
    return panels


def _line(window: ReportWindow, key: str) -> ReportLine:
    """A key's line, begun by the value that held before the window."""
    line = window.lines.get(key, ReportLine(np.empty(0), np.empty(0)))
    time_s, value = line.time_s, line.value
    if key in window.before:
        time_s = np.concatenate([[window.start_s], time_s])
        value = np.concatenate([[window.before[key]], value])
    if len(value) == 1:
        time_s, value = np.append(time_s, window.end_s), np.append(value, value)
    return ReportLine(time_s, _drawable(value))


def _drawable(values: Floats) -> Floats:
    return np.clip(values, -FURTHEST, FURTHEST)


def _timeline_keys(view: Overview, events: Sequence[Event]) -> list[str]:
    keys = [key for key in view.low if key.endswith(".temperature_c")]
    faulty = {event.channel for event in events if is_fault(event)}
    keys.sort(key=lambda key: channel_of(key) not in faulty)
    return keys[:MOST_LINES]


def _band(axis: "Axes", view: Overview, key: str, colour: str) -> tuple[str, str, float]:
    """A reading from lowest to highest; held over columns without an update, but not over gaps."""
    low = _drawable(_held(view.low[key], view.is_gap))
    high = _drawable(_held(view.high[key], view.is_gap))
    axis.fill_between(view.time_s, low, high, color=colour, alpha=0.45, lw=0)
    axis.plot(view.time_s, high, color=colour, linewidth=0.9)
    axis.plot(view.time_s, low, color=colour, linewidth=0.9)
    known = view.low[key][np.isfinite(view.low[key])]
    return channel_of(key), colour, float(known[-1])


def _held(values: Floats, is_gap: Any) -> Floats:
    index = np.where(np.isfinite(values), np.arange(len(values)), -1)
    last = np.maximum.accumulate(index)
    held = np.where(last >= 0, values[np.maximum(last, 0)], np.nan)
    return np.where(is_gap & (index < 0), np.nan, held)


def _names(
    axis: "Axes", ends: list[tuple[str, str, float]], low: float, high: float, tall_in: float
) -> None:
    """Names at the lines' ends, moved apart where they would overlap."""
    placed: list[float] = []
    step = (high - low) * NAME_IN / tall_in
    for name, colour, value in sorted(ends, key=lambda end: end[2]):
        from_line = at = min(max(value, low), high)
        if placed:
            at = max(at, placed[-1] + step)
        placed.append(at)
        axis.annotate(
            name,
            (1.0, at),
            xycoords=("axes fraction", "data"),
            xytext=(9, 0),
            textcoords="offset points",
            va="center",
            color=INK,
            annotation_clip=False,
            bbox={"boxstyle": "square,pad=0.15", "fc": "none", "ec": "none"},
        )
        # From the line's end to its name, wherever that had to go.
        axis.plot(
            [1.001, 1.010],
            [from_line, at],
            transform=axis.get_yaxis_transform(),
            color=colour,
            linewidth=2.2,
            clip_on=False,
        )


def _mark(axis: "Axes", found: Sequence[Beyond], *, numbers: bool) -> None:
    """Triangles at the edge of the axis where a line leaves it."""
    edges = axis.get_xaxis_transform()
    for each in found:
        at = 1.0 if each.is_high else 0.0
        shape = "^" if each.is_high else "v"
        axis.plot(
            [each.time_s],
            [at],
            shape,
            color=ALARM,
            ms=4.5,
            transform=edges,
            clip_on=False,
            zorder=5,
        )
    if not numbers:
        return
    span = axis.get_xlim()[1] - axis.get_xlim()[0]
    last = -np.inf
    for each in found:
        if each.time_s - last < 0.026 * span:
            continue
        last = each.time_s
        axis.annotate(
            str(each.number),
            (each.time_s, 1.0 if each.is_high else 0.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 5 if each.is_high else -9),
            textcoords="offset points",
            ha="center",
            va="bottom" if each.is_high else "top",
            fontsize=9.0,
            color=INK,
            annotation_clip=False,
        )


def _gap_shades(axis: "Axes", view: Overview) -> None:
    if not view.is_gap.any():
        return
    axis.fill_between(
        view.time_s,
        0.0,
        1.0,
        where=view.is_gap,
        transform=axis.get_xaxis_transform(),
        facecolor="none",
        edgecolor=GAP,
        hatch="////",
        linewidth=0.0,
    )


def _lanes(axis: "Axes", lanes: Sequence[str], events: Sequence[Event], last_s: float) -> None:
    axis.set_ylim(max(len(lanes), 1) - 0.4, -0.6)
    axis.set_yticks(range(len(lanes)), ["all" if c == EVERY_CHANNEL else c for c in lanes])
    axis.grid(False)
    axis.spines["left"].set_visible(False)
    for row in range(len(lanes)):
        axis.axhline(row, color=GRID, linewidth=0.8, zorder=0)
    for event in events:
        if event.channel not in lanes:
            continue
        row = lanes.index(event.channel)
        end_s = last_s if event.end_s is None else event.end_s
        colour = ALARM if is_fault(event) else MUTED
        axis.plot([event.start_s, end_s], [row, row], color=colour, linewidth=4.0, alpha=0.45)
        marker = "D" if is_fault(event) else "o"
        axis.plot([event.start_s], [row], marker, color=colour, ms=4.0, zorder=4)


def _shade(axis: "Axes", event: Event, window: ReportWindow) -> None:
    start_s = max(event.start_s, window.start_s)
    end_s = window.end_s if event.end_s is None else min(event.end_s, window.end_s)
    axis.axvspan(start_s, max(end_s, start_s), color=SHADE, alpha=0.07, lw=0, zorder=0)
    axis.axvline(start_s, color=ALARM, linewidth=0.9, alpha=0.8, zorder=1)


def _time_axis(axis: "Axes", first_s: float, last_s: float) -> None:
    # A double's digits end somewhere: an axis may not be narrower than that.
    span = max(last_s - first_s, 0.25, 1e-6 * abs(first_s))
    axis.set_xlim(first_s, first_s + span)
    steps = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200)
    step = next((step for step in steps if span / step <= 9), 86400)
    step = step * max(round(span / step / 9), 1)
    ticks = np.arange(np.ceil(first_s / step), np.floor(last_s / step) + 1) * step
    axis.set_xticks(ticks, [_tick(tick) for tick in ticks])


def _tick(time_s: float) -> str:
    """A time without date and tenths."""
    return hms(time_s)


def _fault_words(
    event: Event,
    channel: str,
    panels: Sequence[_Panel],
    window: ReportWindow,
    found: Sequence[Beyond],
) -> str:
    parts = [f"{words(event.kind)} on {channel}, {dated(window.start_s)} to {dated(window.end_s)}"]
    for panel in panels:
        known = _line(window, panel.keys[0]).known
        if len(known):
            parts.append(f"{panel.label}: {known.min():.6g} to {known.max():.6g}")
    if found:
        parts.append(f"{len(found)} excursions go beyond the axis and are listed below")
    return "; ".join(parts)
