"""View 1: the chart, the ribbons, the newest events."""

import math
from dataclasses import dataclass
from itertools import accumulate

from shared.events import Event
from shared.health import ChannelHealth, Trust
from shared.when import hms, short, span_words
from tui import chart
from tui.board import Board, Ink, Rect, wrap
from tui.glyphs import TRUST_INK, Glyphs
from tui.picture import Picture, take_picture
from tui.raster import COLUMN_DOTS
from tui.ribbon import LEVELS
from tui.snapshot import Snapshot
from tui.state import standing
from tui.views.event_rows import paint_rows
from tui.views.frame import ScreenFrame
from tui.views.unheard import paint_unheard

GUTTER = 31
NAME, VALUE, WORD, SINCE = 8, 6, 8, 4
FACTS_WIDTH = GUTTER - chart.LABEL_CELLS - 1


@dataclass(frozen=True, slots=True)
class Layout:
    """Rows of the overview's parts; the plot begins at column `GUTTER`."""

    temperature: Rect
    power: Rect
    marks: Rect
    times: Rect
    ribbons: Rect
    events: Rect


def layout(area: Rect, channels: int) -> Layout:
    """Divide an area; what is left over goes to the temperature and the events."""
    tall = area.height >= 24
    ribbons = min(max(channels, 1), 8 if tall else 4 if area.height >= 16 else 3)
    events = 2 if not tall else max(3, (area.height - 20) // 2)
    if area.height < 14:
        events = 1
    power = 3 if tall else 2 if area.height >= 18 else 1
    temperature = max(area.height - ribbons - events - power - 2, 2)
    width = area.width - GUTTER
    heights = (temperature, power, 1, 1, ribbons)
    tops = [area.y + above for above in accumulate(heights, initial=0)]
    plots = [
        Rect(area.x + GUTTER, y, width, height) for y, height in zip(tops, heights, strict=False)
    ]
    return Layout(
        temperature=plots[0],
        power=plots[1],
        marks=plots[2],
        times=plots[3],
        ribbons=plots[4],
        events=Rect(area.x, tops[5], area.width, events),
    )


def paint_overview(board: Board, area: Rect, frame: ScreenFrame) -> None:
    now, state = frame.now, frame.state
    parts = layout(area, len(now.channels))
    if not now.channels and now.play is None:
        above = parts.events.y - area.y if now.events else area.height
        paint_unheard(board, Rect(area.x, area.y, area.width, above), now)
        paint_rows(board, parts.events, newest_first(now), frame, state.selected)
        return
    picture = take_picture(frame.history, now, state, parts.temperature.width)
    cursor_s = state.cursor_s(now)
    dim_after_s = None if now.play is None else now.play.cursor_s
    chart.paint_temperature(board, parts.temperature, picture, frame.glyphs, dim_after_s)
    chart.paint_power(board, parts.power, picture)
    chart.paint_bands(board, parts.temperature, picture.ribbons.get(state.channel))
    events = standing(now)
    grid = picture.grid
    chart.paint_marks(
        board,
        parts.marks,
        grid,
        events,
        now.notes,
        state.channel,
        now.now_s,
        frame.glyphs,
        now.shelved,
    )
    chart.paint_times(board, parts.times, grid)
    if cursor_s is not None:
        for part in (parts.temperature, parts.power):
            chart.paint_cursor(board, part, grid, cursor_s, frame.glyphs)
    _paint_facts(board, area, parts, picture, frame)
    paint_ribbons(board, parts.ribbons, picture, frame)
    paint_rows(board, parts.events, newest_first(now), frame, state.selected)


def newest_first(now: Snapshot) -> list[Event]:
    """What goes on before what has ended or is shelved, then by the last moment of each."""

    def place(event: Event) -> tuple[bool, float, float]:
        end_s = math.inf if event.end_s is None else event.end_s
        return event.id in now.shelved or not event.is_active, -end_s, -event.start_s

    return sorted(standing(now), key=place)


def channel_at(
    parts: Layout, now_channels: tuple[ChannelHealth, ...], y: int, focus: str
) -> str | None:
    """Channel whose ribbon lies in row `y`."""
    row = y - parts.ribbons.y
    shown = _shown(now_channels, focus, parts.ribbons.height)
    return shown[row].channel if 0 <= row < len(shown) else None


def _shown(channels: tuple[ChannelHealth, ...], focus: str, rows: int) -> tuple[ChannelHealth, ...]:
    """As many channels as there are rows, in order, the focus among them."""
    names = [health.channel for health in channels]
    at = names.index(focus) if focus in names else 0
    first = min(max(at - rows + 1, 0), max(len(channels) - rows, 0))
    return channels[first : first + rows]


def paint_ribbons(board: Board, area: Rect, picture: Picture, frame: ScreenFrame) -> None:
    """Each channel with its trust; at the left of `area`, `GUTTER` cells for its words."""
    now, state, glyphs = frame.now, frame.state, frame.glyphs
    shown = _shown(now.channels, state.channel, area.height)
    if not shown:
        board.text(area.x - GUTTER + 1, area.y, "no sensors reported yet", Ink.DIM, area.width)
    for row, health in enumerate(shown):
        y, x = area.y + row, area.x - GUTTER
        focus = health.channel == state.channel
        ink = Ink.STRONG if focus else Ink.PLAIN
        board.text(x, y, glyphs.focus if focus else " ", ink)
        board.text(x + 1, y, health.channel, ink, NAME - 1)
        board.text(x + NAME, y, degrees(health.temperature_c).rjust(VALUE + 1), ink)
        x += NAME + VALUE + 2
        trust_ink = TRUST_INK[health.trust]
        board.text(x, y, f"{glyphs.trust(health.trust)} {health.trust}", trust_ink)
        since = short(now.now_s - since_s(health, frame)).rjust(SINCE)
        board.text(x + 2 + WORD, y, since, trust_ink)
        chart.paint_ribbon(
            board, Rect(area.x, y, area.width, 1), picture.ribbons[health.channel], glyphs
        )


def since_s(health: ChannelHealth, frame: ScreenFrame) -> float:
    """Since when the word holds, not before the first update."""
    first_s, _ = frame.history.heard_s
    return health.since_s if math.isnan(first_s) else max(health.since_s, first_s)


def degrees(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}"


def reading_words(value: float | None) -> str:
    return "no reading" if value is None else f"{value:.1f} °C"


def target_words(target_c: float, glyphs: Glyphs) -> str:
    return f"{glyphs.target} target {target_c:.1f} °C" if target_c > 0 else "  target off"


def _paint_facts(
    board: Board, area: Rect, parts: Layout, picture: Picture, frame: ScreenFrame
) -> None:
    """Beside the chart: the channel in focus, as it is now or was at the cursor."""
    now, state = frame.now, frame.state
    y = area.y
    bottom = parts.temperature.y + parts.temperature.height
    health = next((item for item in now.channels if item.channel == state.channel), None)
    if health is not None:
        cursor_s = state.window.cursor_s if now.play is None else None
        lines = (
            _facts_now(health, frame)
            if cursor_s is None
            else _facts_at(health.channel, cursor_s, picture, frame)
        )
        for text, ink in lines:
            for line in wrap(text, FACTS_WIDTH) if len(text) > FACTS_WIDTH else [text]:
                if y < bottom:
                    board.text(area.x + 1, y, line, ink, FACTS_WIDTH)
                    y += 1
    power = None if health is None else health.power
    cursor_s = state.cursor_s(now)
    if cursor_s is not None:
        power = frame.history.last(f"{state.channel}.power", cursor_s)
    if power is not None:
        board.text(area.x + 1, parts.power.y, f"power {power:.0%}", Ink.POWER, FACTS_WIDTH)
    window = f"{span_words(state.window.span_s)} shown"
    board.text(area.x + 1, parts.times.y, window, Ink.DIM, FACTS_WIDTH)
    board.text(area.x + 1, parts.marks.y, "events", Ink.DIM, FACTS_WIDTH)


def _facts_now(health: ChannelHealth, frame: ScreenFrame) -> list[tuple[str, int]]:
    glyphs = frame.glyphs
    since = since_s(health, frame)
    facts = [
        (f"{health.channel}, {health.gate}", int(Ink.STRONG)),
        (f"{glyphs.reading} {reading_words(health.temperature_c)}", int(Ink.READING)),
    ]
    if health.target_c is not None:
        facts.append((target_words(health.target_c, glyphs), Ink.TARGET))
    facts.append((f"{health.trust} since {hms(since)}", TRUST_INK[health.trust]))
    if health.why:
        facts.append((health.why, Ink.PLAIN))
    if health.resistance_ohm is not None:
        code = "" if health.code is None else f" code {health.code:.0f}"
        facts.append((f"{health.resistance_ohm:.2f} Ω{code}", Ink.DIM))
    return facts


def _facts_at(
    channel: str, time_s: float, picture: Picture, frame: ScreenFrame
) -> list[tuple[str, int]]:
    glyphs = frame.glyphs
    reading, target = (
        frame.history.last(f"{channel}.{key}", time_s) for key in ("temperature_c", "target_c")
    )
    facts = [
        (f"{channel} at {hms(time_s)}", int(Ink.STRONG)),
        (f"{glyphs.reading} {reading_words(reading)}", int(Ink.READING)),
    ]
    if target is not None:
        facts.append((target_words(target, glyphs), Ink.TARGET))
    cell = min(max(picture.grid.cell_of(time_s), 0), picture.grid.count // COLUMN_DOTS - 1)
    level = int(picture.ribbons[channel][cell * COLUMN_DOTS : (cell + 1) * COLUMN_DOTS].max())
    if level >= 0:
        trust: Trust = LEVELS[level]
        facts.append((f"{trust} then", TRUST_INK[trust]))
    return facts
