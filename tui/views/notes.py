"""View 4: notes, and what is known of the link and the recording."""

from shared.notes import Note
from shared.when import hms
from tui.board import Board, Ink, Rect
from tui.deed_lines import wall_words
from tui.snapshot import LinkState
from tui.views.frame import ScreenFrame
from tui.views.status import size
from tui.views.text import Line, paint_lines
from tui.views.unheard import link_words

LABEL = 11


def _told(note: Note) -> str:
    """A note, with the time on the wall where that is on record."""
    wall = wall_words(note)
    return f"{note.text} ({wall})" if wall else note.text


def paint_notes(board: Board, area: Rect, frame: ScreenFrame) -> None:
    now = frame.now
    lines = [Line("watching", now.title)]
    if now.link.state in (LinkState.FILE, LinkState.LIVE_FILE):
        written = ", still being written" if now.link.state is LinkState.LIVE_FILE else ""
        lines.append(Line("file", f"{now.recording.path}{written}"))
    else:
        why = f": {now.link.why}" if now.link.why else ""
        told = f"{now.link.state} since {hms(now.link.since_s)}"
        lines.append(Line("link", f"{told if now.link.is_heard else link_words(now.link)}{why}"))
        if now.link.dropped:
            lines.append(
                Line("dropped", f"{now.link.dropped} messages came too fast", Ink.DOUBTFUL)
            )
        path = now.recording.path
        told = f"{path}, {size(now.recording.bytes_written)}" if path else "not recording"
        lines.append(Line("recording", told))
    if now.recording.trouble:
        lines.append(Line("trouble", now.recording.trouble, Ink.ALARM, Ink.ALARM))
    lines += [Line("facts", text) for text in now.assumed]
    lines.append(Line("", ""))
    lines.append(Line("notes", "" if now.notes else "none yet; m adds one", Ink.DIM, Ink.STRONG))
    newest_first = sorted(now.notes, key=lambda note: -note.time_s)
    lines += [Line(hms(note.time_s).rjust(9), _told(note)) for note in newest_first]
    paint_lines(board, area, lines, LABEL, frame.state)
