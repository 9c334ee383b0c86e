"""Help for the view in focus: its keys, and what the glyphs mean."""

from shared.health import Trust
from tui.board import Board, Ink, Rect
from tui.glyphs import SEVERITY_INK, SEVERITY_LETTER, TRUST_INK
from tui.keys import keys_of
from tui.state import ViewName
from tui.views.frame import Frame
from tui.views.text import Line, paint_lines

LABEL = 10
_TRUST_WORDS = {
    Trust.TRUE: "the reading is heat",
    Trust.DOUBTFUL: "something was wrong within the last minute, or still may be",
    Trust.FALSE: "the reading is not the temperature",
    Trust.UNKNOWN: "no updates",
}
ABOUT = {
    ViewName.OVERVIEW: "Reading and target, power, events on the time axis, health a sensor.",
    ViewName.EVENTS: "Everything that was found, newest first, and the selected event in full.",
    ViewName.DIAGNOSIS: "What most likely causes it, why, and the check that tells most.",
    ViewName.NOTES: "What is watched and recorded, what was assumed, and your notes.",
}
SAFETY = (
    "ohmvigil watches and advises. It switches nothing and is no safety device: keep the "
    "machine's own cut-outs, and never leave it alone because a monitor runs."
)


def paint_help(board: Board, area: Rect, frame: Frame) -> None:
    """Keys and glyphs; two columns of keys where there is room."""
    view = frame.state.view
    lines = [Line(view, ABOUT[view], Ink.STRONG, Ink.STRONG)]
    keys = [Line(key.shown, key.text) for key in keys_of(view, frame.now.play is not None)]
    if board.ascii_only:
        names = str.maketrans({"←": "left,", "→": "right,", "↑": "up,", "↓": "down,"})
        keys = [Line(line.label.translate(names), line.text) for line in keys]
    half = (len(keys) + 1) // 2
    width = area.width // 2
    glyphs = [
        Line(
            f"{frame.glyphs.trust(trust)} {trust}",
            text,
            label_ink=TRUST_INK[trust],
        )
        for trust, text in _TRUST_WORDS.items()
    ]
    letters = [
        Line(letter, severity, label_ink=SEVERITY_INK[severity])
        for severity, letter in SEVERITY_LETTER.items()
    ]
    paint_lines(board, Rect(area.x, area.y, area.width, 1), lines, LABEL + 1, frame.state)
    y = area.y + 1
    paint_lines(board, Rect(area.x, y, width, half), keys[:half], LABEL, frame.state)
    paint_lines(board, Rect(area.x + width, y, width, half), keys[half:], LABEL, frame.state)
    y += half + 1
    rows = max(area.y + area.height - y - 3, 0)
    paint_lines(board, Rect(area.x, y, 48, min(rows, 5)), glyphs, LABEL + 1, frame.state)
    paint_lines(board, Rect(area.x + 50, y, area.width - 50, min(rows, 5)), letters, 2, frame.state)
    board.wrapped(Rect(area.x, area.y + area.height - 2, area.width, 2), SAFETY, Ink.DIM)
