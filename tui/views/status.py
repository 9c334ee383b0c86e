"""The first line: link, age of the data, host, recording, and what the time axis follows."""

from shared.health import Trust
from shared.when import hms, short
from shared.words import HostState
from tui.board import Board, Ink, Rect, fitted, shown_width
from tui.snapshot import LinkState, Snapshot
from tui.views.frame import ScreenFrame
from tui.views.unheard import link_words

INKS: dict[str, Ink] = {HostState.UP: Ink.PLAIN, HostState.STARTING: Ink.DOUBTFUL}
"""Of the host's states; any other is an alarm."""
LONGEST_TITLE = 15
"""Cells of a host's name among others."""
LEAST_TITLE = 20
"""A title that has to be cut to less than this is left out."""

QUOTE = "'"
"""Stands around a host's own word that is one of ours by chance."""

Part = tuple[str, int]


def paint_status(board: Board, area: Rect, frame: ScreenFrame) -> None:
    """States from the left, the title and what is followed at the right."""
    now = frame.now
    title = short_title(now.title, LONGEST_TITLE)
    parts = [
        *([(title, Ink.STRONG)] if frame.state.is_one_of_several else []),
        _trust(now),
        _link(now),
        *_age(now, frame.history.late_after_s),
        *_host(now),
        *_recording(now),
    ]
    right = _followed(frame)
    end = area.x + area.width - shown_width(right[0])
    board.text(end, area.y, *right)
    x = area.x
    for text, ink in parts:
        if text and x + shown_width(text) < end:
            x = board.text(x, area.y, text, ink) + 2
    room = end - x - 2
    if now.message and now.host != HostState.UP and room >= LEAST_TITLE:
        board.text(x, area.y, f"it says '{now.message}'", Ink.DIM, room)
    elif not frame.state.is_one_of_several and room >= min(shown_width(now.title), LEAST_TITLE):
        board.text(x, area.y, now.title, Ink.DIM, room)


def short_title(title: str, width: int, mark: str = "…") -> str:
    """What tells hosts apart: an address loses its scheme, and then its front."""
    _, is_address, rest = title.partition("://")
    name = rest if is_address else title
    if shown_width(name) <= width:
        return name
    if is_address:
        return mark + name[len(mark) - width :]
    return fitted(name, width, mark)


def _trust(now: Snapshot) -> Part:
    for trust in (Trust.FALSE, Trust.UNKNOWN, Trust.DOUBTFUL):
        names = [health.channel for health in now.channels if health.trust is trust]
        if names:
            ink = {Trust.FALSE: Ink.ALARM, Trust.DOUBTFUL: Ink.DOUBTFUL}.get(trust, Ink.UNKNOWN)
            which = names[0] if len(names) == 1 else f"{len(names)} of {len(now.channels)}"
            return f"{which} {trust}", ink
    shelved = [health for health in now.channels if health.trust is Trust.SHELVED]
    if shelved:
        return f"{len(shelved)} of {len(now.channels)} shelved", Ink.DIM
    return ("all true", Ink.TRUE) if now.channels else ("no sensors yet", Ink.DIM)


def _link(now: Snapshot) -> Part:
    link = now.link
    if link.state is LinkState.FILE:
        return ("file unreadable", Ink.ALARM) if link.why else ("file", Ink.PLAIN)
    if link.state is LinkState.LIVE_FILE:
        return "live file", Ink.PLAIN
    if not link.is_heard:
        return link_words(link), Ink.ALARM if link.state is LinkState.ENDED else Ink.DOUBTFUL
    if link.state is LinkState.OPEN:
        dropped = f", {link.dropped} dropped" if link.dropped else ""
        return f"link open{dropped}", Ink.DOUBTFUL if dropped else Ink.PLAIN
    lasted = short(now.now_s - link.since_s)
    ink = Ink.DOUBTFUL if link.state is LinkState.CONNECTING else Ink.ALARM
    return f"link {link.state} {lasted}", ink


def _age(now: Snapshot, late_after_s: float) -> list[Part]:
    age = now.link.data_age_s
    if now.link.state is LinkState.FILE or (age != age and not now.channels):
        return []
    if age != age:
        return [("no data yet", Ink.DIM)]
    return [(f"data {short(age)} old", Ink.ALARM if age > late_after_s else Ink.PLAIN)]


def _host(now: Snapshot) -> list[Part]:
    if not now.link.is_heard:
        return []
    if not now.host:
        return [("host not told", Ink.DOUBTFUL)] if now.channels else []
    ink = INKS.get(now.host, Ink.ALARM)
    is_ours = now.host in tuple(HostState)
    return [(f"host {now.host}" if is_ours else f"host says '{now.host.strip(QUOTE)}'", ink)]


def _recording(now: Snapshot) -> list[Part]:
    recording = now.recording
    if now.link.state in (LinkState.FILE, LinkState.LIVE_FILE):
        return []
    if recording.trouble:
        return [(f"REC FAILS: {recording.trouble}", Ink.ALARM)]
    if not recording.path:
        return [("not recording", Ink.DIM)]
    return [(f"rec {size(recording.bytes_written)}", Ink.PLAIN)]


def _followed(frame: ScreenFrame) -> Part:
    play, window = frame.now.play, frame.state.window
    if play is not None:
        moving = "paused" if play.paused else f"{play.speed:g}{frame.glyphs.times}"
        return f"{hms(play.cursor_s)} of {hms(play.last_s)} {moving}", Ink.STRONG
    if window.follows:
        return "live", Ink.STRONG
    return "paused", Ink.DOUBTFUL


def size(count: int) -> str:
    """Bytes in three figures, rounded so that the line does not flicker."""
    for unit, scale in (("GB", 1e9), ("MB", 1e6)):
        if count >= scale:
            return f"{count / scale:.1f} {unit}"
    return f"{count // 10_000 * 10} kB"
