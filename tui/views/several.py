"""Several hosts at once: totals, one line a host, and the chosen one below in more detail."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from shared.events import Event
from shared.health import ChannelHealth, Trust
from shared.when import short
from shared.words import Severity
from tui import chart
from tui.board import SELECTED, Board, Ink, Rect, fitted, shown_width
from tui.glyphs import SEVERITY_INK, SEVERITY_LETTER, TRUST_INK, Glyphs
from tui.picture import take_picture
from tui.snapshot import LinkState, Snapshot
from tui.views.event_rows import paint_rows
from tui.views.frame import ScreenFrame
from tui.views.hint import cause_name, leading, paint_hint
from tui.views.overview import GUTTER, degrees, newest_first, paint_overview, paint_ribbons
from tui.views.status import LONGEST_TITLE, paint_status, short_title, size
from tui.views.unheard import paint_unheard
from tui.worst import active, severity_of

MARKS, LINK, AGE = 3, 7, 4
READING, WIDEST_READING = 7, 12
HIDDEN = 4
"""Cells that say how many readings have no room, and the worst trust among them."""
EVENT, CAUSE = 13, 20
"""Least cells of the event and of the cause; the cause gives way first."""
LEAST_DETAIL = 8
ROOMY_FROM_WIDTH = 100
CHART_FROM = 16
"""Rows from which the chosen host gets its chart."""
DOUBTS = (Trust.FALSE, Trust.UNKNOWN, Trust.DOUBTFUL, Trust.SHELVED, Trust.TRUE)


@dataclass(frozen=True, slots=True)
class HostColumns:
    """Where the parts of a host's line begin, the same in every line."""

    title: int
    link: int
    readings: tuple[tuple[str, int, int], ...]
    """Channel, first cell, width."""
    hidden: int | None
    event: int
    cause: int
    end: int


def list_rows(height: int, hosts: int) -> int:
    """Rows of the list on a screen of that height; the chosen host gets the rest."""
    return min(hosts, max(height - 3 - LEAST_DETAIL, 1))


def first_shown(height: int, hosts: int, chosen: int) -> int:
    """Place of the host in the first row of the list; the chosen one is always shown."""
    rows = list_rows(height, hosts)
    return min(max(chosen - rows // 2, 0), hosts - rows)


def place_at(y: int, height: int, hosts: int, chosen: int) -> int | None:
    """Place of the host whose line is row `y` of the screen."""
    row = y - 2
    return first_shown(height, hosts, chosen) + row if 0 <= row < list_rows(height, hosts) else None


def paint_several(
    board: Board, frames: Sequence[ScreenFrame], order: Sequence[int], chosen: int
) -> None:
    """All but the last line. `order`: hosts by place; `chosen`: a place."""
    now = [frame.now for frame in frames]
    width, height = board.width, board.height
    _paint_totals(board, now)
    parts = columns(width, now)
    _paint_head(board, 1, parts)
    rows = list_rows(height, len(frames))
    first = first_shown(height, len(frames), chosen)
    for row, place in enumerate(range(first, first + rows)):
        _paint_host(board, 2 + row, parts, frames[order[place]], is_chosen=place == chosen)
    y = 2 + rows
    line = frames[0].glyphs.true * width
    board.text(0, y, line, Ink.CURSOR)
    hidden = [f"{first} above"] * (first > 0)
    hidden += [f"{len(frames) - first - rows} below"] * (first + rows < len(frames))
    if hidden:
        told = f" {', '.join(hidden)} "
        board.text(width - shown_width(told) - 2, y, told, Ink.DIM)
    _paint_chosen(board, Rect(0, y + 1, width, height - y - 2), frames[order[chosen]])


# -- totals --


def _paint_totals(board: Board, now: list[Snapshot]) -> None:
    """Numbers of hosts, of what is active by severity, of links and sensors, and the recording."""
    x = board.text(0, 0, f"{len(now)} hosts", Ink.STRONG)
    for text, ink in _totals(now, board.width >= ROOMY_FROM_WIDTH):
        if x + 2 + shown_width(text) <= board.width:
            x = board.text(x + 2, 0, text, ink)


def _totals(now: list[Snapshot], roomy: bool) -> list[tuple[str, int]]:
    troubled = [host.title for host in now if host.recording.trouble]
    parts: list[tuple[str, int]] = []
    if troubled:
        which = troubled[0] if len(troubled) == 1 else f"{len(troubled)} hosts"
        parts.append((f"REC FAILS on {short_title(which, LONGEST_TITLE)}", Ink.ALARM))
    found = Counter(severity_of(host) for host in now)
    worst = [severity for severity in Severity if found[severity]]
    parts += [
        (f"{found[severity]} {severity if roomy else SEVERITY_LETTER[severity]}", ink)
        for severity in worst
        for ink in (SEVERITY_INK[severity],)
    ]
    if not worst:
        parts.append(("nothing active", Ink.TRUE))
    links = sum(host.link.state is LinkState.OPEN for host in now)
    parts.append(
        (f"{links} of {len(now)} links open", Ink.PLAIN if links == len(now) else Ink.ALARM)
    )
    trusts = [health.trust for host in now for health in host.channels]
    if trusts:
        true = trusts.count(Trust.TRUE)
        worst_trust = next(trust for trust in DOUBTS if trust in trusts)
        parts.append((f"{true} of {len(trusts)} sensors true", TRUST_INK[worst_trust]))
    written = [host.recording for host in now if host.recording.path]
    told = f"rec {size(sum(each.bytes_written for each in written))}"
    if len(written) < len(now):
        told = f"{told}, {len(written)} of {len(now)}" if written else "not recording"
    parts.append((told, Ink.PLAIN if written else Ink.DIM))
    return parts


# -- the list --


def columns(width: int, now: Sequence[Snapshot]) -> HostColumns:
    """Divide a line: as many readings as leave room for the event and the cause."""
    names = _names(now)
    longest = max(shown_width(short_title(host.title, LONGEST_TITLE)) for host in now)
    link = MARKS + max(longest, 4) + 1
    x = link + LINK + AGE + 1
    room = width - x - EVENT - 1
    room -= CAUSE if room - READING >= CAUSE else 0
    sizes = [_size(name, width) for name in names]
    if sum(sizes) > room:
        room -= HIDDEN
    readings: list[tuple[str, int, int]] = []
    for name, cells in zip(names, sizes, strict=True):
        if cells > room:
            break
        readings.append((name, x, cells))
        x, room = x + cells, room - cells
    hidden = x if len(readings) < len(names) else None
    event = x + (HIDDEN if hidden is not None else 0) + 1
    left = width - event
    cause = width if left < EVENT + CAUSE else event + max(EVENT, min(left * 2 // 5, 26))
    return HostColumns(MARKS, link, tuple(readings), hidden, event, cause, width)


def _size(name: str, width: int) -> int:
    if width < ROOMY_FROM_WIDTH:
        return READING
    return min(max(shown_width(name) + 2, READING + 1), WIDEST_READING)


def _names(now: Sequence[Snapshot]) -> list[str]:
    """Channels of all hosts, those that most have first."""
    counts = Counter(health.channel for host in now for health in host.channels)
    return [name for name, _ in counts.most_common()]


def _paint_head(board: Board, y: int, parts: HostColumns) -> None:
    board.text(parts.title, y, "host", Ink.DIM)
    board.text(parts.link, y, "link", Ink.DIM)
    board.text(parts.link + LINK, y, "age".rjust(AGE), Ink.DIM)
    for name, x, cells in parts.readings:
        shown = fitted(name, cells - 1, "..." if board.ascii_only else "…")
        board.text(x + cells - shown_width(shown), y, shown, Ink.DIM)
    board.text(parts.event, y, "event", Ink.DIM)
    if parts.cause < parts.end:
        board.text(parts.cause, y, "most likely", Ink.DIM)


def _paint_host(
    board: Board, y: int, parts: HostColumns, frame: ScreenFrame, *, is_chosen: bool
) -> None:
    now, glyphs = frame.now, frame.glyphs
    severity = severity_of(now)
    board.text(0, y, glyphs.focus if is_chosen else " ", Ink.STRONG)
    if severity is not None:
        board.text(1, y, SEVERITY_LETTER[severity], SEVERITY_INK[severity])
    title = short_title(now.title, parts.link - MARKS - 1, "..." if board.ascii_only else "…")
    board.text(MARKS, y, title, Ink.STRONG if is_chosen else Ink.PLAIN)
    if is_chosen:
        board.fill(Rect(MARKS, y, parts.link - MARKS - 1, 1), SELECTED)
    _paint_link(board, parts.link, y, frame)
    start = parts.readings[0][1] if parts.readings else parts.event
    if not now.channels:
        told = now.link.why or "nothing heard yet"
        ink = Ink.ALARM if now.link.state is LinkState.ENDED else Ink.DOUBTFUL
        board.text(start, y, told, ink if now.link.why else Ink.DIM, parts.end - start)
        return
    _paint_readings(board, y, parts, now.channels, glyphs)
    if now.link.state is LinkState.ENDED and now.link.why:
        board.text(parts.event, y, now.link.why, Ink.ALARM, parts.end - parts.event)
        return
    _paint_event(board, y, parts, now)
    cause = leading(now)
    if now.verdict.stop and parts.cause < parts.end:
        board.text(parts.cause, y, now.verdict.stop, Ink.ALARM, parts.end - parts.cause)
    elif cause is not None and parts.cause < parts.end:
        ink = Ink.PLAIN if severity is not None else Ink.DIM
        told = f"{cause.probability:4.0%} {cause_name(cause)}"
        board.text(parts.cause, y, told, ink, parts.end - parts.cause)
    elif now.causes and parts.cause < parts.end:
        board.text(parts.cause, y, "cause not clear", Ink.DIM, parts.end - parts.cause)


def _paint_link(board: Board, x: int, y: int, frame: ScreenFrame) -> None:
    """A glyph, a word, and how old the data are; how long it takes while it opens."""
    link, glyphs = frame.now.link, frame.glyphs
    late = link.data_age_s > frame.history.late_after_s
    if link.state is LinkState.CONNECTING:
        board.text(x, y, f"{glyphs.doubtful} {link.state}", Ink.DOUBTFUL)
        return
    is_open = link.state is LinkState.OPEN
    glyph = glyphs.true if is_open else glyphs.false
    board.text(x, y, f"{glyph} {link.state}", Ink.TRUE if is_open else Ink.ALARM, LINK)
    age = (short(link.data_age_s) if frame.now.channels else "-").rjust(AGE)
    board.text(x + LINK, y, age, Ink.ALARM if late or not is_open else Ink.PLAIN)


def _paint_readings(
    board: Board, y: int, parts: HostColumns, channels: tuple[ChannelHealth, ...], glyphs: Glyphs
) -> None:
    by_name = {health.channel: health for health in channels}
    for name, x, cells in parts.readings:
        health = by_name.pop(name, None)
        if health is not None:
            reading = degrees(health.temperature_c)
            plain = health.trust is Trust.TRUE
            ink = Ink.PLAIN if plain else TRUST_INK[health.trust]
            end = x + cells - 1
            board.text(max(end - shown_width(reading), x), y, reading, ink, cells - 1)
            board.text(end, y, glyphs.trust(health.trust), TRUST_INK[health.trust])
    if parts.hidden is not None and by_name:
        trusts = [health.trust for health in by_name.values()]
        worst = next(trust for trust in DOUBTS if trust in trusts)
        told = f"+{min(len(trusts), 99)}{glyphs.trust(worst)}".rjust(HIDDEN)
        board.text(parts.hidden, y, told, TRUST_INK[worst])


def _paint_event(board: Board, y: int, parts: HostColumns, now: Snapshot) -> None:
    """The worst that goes on and since when, else the last and when it ended."""
    room = parts.cause - parts.event - 1
    going_on = active(now)
    found = going_on or newest_first(now)
    if not found:
        board.text(parts.event, y, "no events", Ink.DIM, room)
        return
    event = found[0]
    is_loud = event.is_active and event.id not in now.shelved
    ink = int(SEVERITY_INK[event.severity]) if is_loud else int(Ink.DIM)
    told = _when(event, now)
    if shown_width(event.kind) + 1 + shown_width(told) > room:
        word = told if event.id in now.shelved else event.kind
        board.text(parts.event, y, word, ink, room)
        return
    board.text(parts.event, y, event.kind, ink)
    board.text(parts.event + room - shown_width(told), y, told, ink)


def _when(event: Event, now: Snapshot) -> str:
    if event.id in now.shelved:
        return "shelved"
    if event.end_s is None:
        return short(now.now_s - event.start_s)
    return f"{short(now.now_s - event.end_s)} ago"


# -- the chosen host --


def _paint_chosen(board: Board, area: Rect, frame: ScreenFrame) -> None:
    """Its status, its chart where there is room, its sensors, its newest events, its hint."""
    if not frame.now.channels:
        paint_unheard(board, area, frame.now)
        return
    paint_status(board, Rect(area.x, area.y, area.width, 1), frame)
    hint = 3 if area.height < 14 else 6 if area.height < 24 else 8
    bottom = area.y + area.height
    middle = Rect(area.x, area.y + 1, area.width, area.height - 1 - hint)
    if middle.height >= CHART_FROM:
        paint_overview(board, middle, frame)
    else:
        _paint_compact(board, middle, frame)
    paint_hint(board, Rect(area.x, bottom - hint, area.width, hint), frame)


def _paint_compact(board: Board, area: Rect, frame: ScreenFrame) -> None:
    """Sensors with their ribbons, the time axis, then events."""
    now = frame.now
    rows = min(len(now.channels), max(area.height * 3 // 5, 1))
    ribbons = Rect(area.x + GUTTER, area.y, area.width - GUTTER, rows)
    picture = take_picture(frame.history, now, frame.state, ribbons.width)
    paint_ribbons(board, ribbons, picture, frame)
    y = area.y + rows
    if area.height - rows >= 3:
        chart.paint_times(board, Rect(ribbons.x, y, ribbons.width, 1), picture.grid)
        y += 1
    events = Rect(area.x, y, area.width, area.y + area.height - y)
    paint_rows(board, events, newest_first(now), frame, frame.state.selected)
