"""Help for the view in focus: its keys, and what the glyphs mean."""

from shared.health import Trust
from tui.board import Board, Ink, Rect
from tui.glyphs import SEVERITY_INK, SEVERITY_LETTER, TRUST_INK
from tui.keys import BACK, keys_of
from tui.state import ViewName
from tui.views.frame import ScreenFrame

LABEL = 10
TWO_COLUMNS_FROM = 76
PAGE_ROWS = 60
ABOUT = {
    ViewName.OVERVIEW: "Reading, target, power, events on the time axis, health by sensor.",
    ViewName.EVENTS: "Everything that was found, newest first; the selected event in full.",
    ViewName.DIAGNOSIS: "What most likely causes it, why, and the check that tells most.",
    ViewName.CHAIN: "One sensor from element to host: its facts, what they show, its error budget.",
    ViewName.TRIALS: "Faults against hours of exposure, trial by trial: better, or too early?",
    ViewName.CHECK: "A check, step by step: you do it, the data show it. Nothing is switched.",
    ViewName.NOTES: "What is watched and recorded, what was assumed, and your notes.",
}
_TRUST_WORDS = {
    Trust.TRUE: "the reading is heat",
    Trust.SHELVED: "a fault that was set aside",
    Trust.DOUBTFUL: "a fault now, or in the last minute",
    Trust.FALSE: "not the temperature",
    Trust.UNKNOWN: "no updates",
}
ARROWS = str.maketrans({"←": "left", "→": "right", "↑": "up", "↓": "down"})
SAFETY = (
    "ohmvigil watches and advises. It switches nothing and is no safety device: keep the "
    "machine's own cut-outs, and never leave it alone because a monitor runs."
)


def paint_help(board: Board, area: Rect, frame: ScreenFrame) -> None:
    """The keys of the view in focus and what they do."""
    keys = [("1...6", "views, named in the last line")]
    keys += [
        (key.shown, key.text)
        for key in keys_of(frame.state.view, frame.now.play is not None)
        if key.action[:5] != "show(" and key.text and key.shown
    ]
    if frame.state.is_one_of_several:
        keys += [(BACK.shown, BACK.text)]
    paint_page(board, area, ABOUT[frame.state.view], keys, frame)


def paint_page(
    board: Board, area: Rect, about: str, keys: list[tuple[str, str]], frame: ScreenFrame
) -> None:
    """Keys, then glyphs and letters, then safety; scrolled where the screen is short."""
    page = Board(area.width, PAGE_ROWS, board.ascii_only)
    page.text(0, 0, about, Ink.STRONG)
    two = area.width >= TWO_COLUMNS_FROM
    y = 2 + _paint_keys(page, 1, keys, two)
    y = 1 + _paint_glyphs(page, y, frame, two)
    y += page.wrapped(Rect(0, y, area.width, 4), SAFETY, Ink.DIM)
    first = min(max(frame.state.scroll, 0), max(y - area.height, 0))
    frame.state.scroll = first
    rows = slice(area.y, area.y + area.height)
    board.codes[rows] = page.codes[first : first + area.height]
    board.inks[rows] = page.inks[first : first + area.height]


def _paint_keys(page: Board, top: int, keys: list[tuple[str, str]], two: bool) -> int:
    """Number of rows used."""
    rows = (len(keys) + 1) // 2 if two else len(keys)
    width = page.width // 2 if two else page.width
    for at, (shown, text) in enumerate(keys):
        x, y = at // rows * width, top + at % rows
        page.text(x, y, shown.translate(ARROWS) if page.ascii_only else shown, Ink.STRONG)
        page.text(x + LABEL, y, text, Ink.PLAIN, width - LABEL - 1)
    return rows


def _paint_glyphs(page: Board, top: int, frame: ScreenFrame, two: bool) -> int:
    """What ribbon cells and event letters mean; the next free row."""
    for row, (trust, words) in enumerate(_TRUST_WORDS.items()):
        page.text(0, top + row, f"{frame.glyphs.trust(trust)} {trust}", TRUST_INK[trust])
        page.text(LABEL + 1, top + row, words)
    x, y = (page.width // 2 + LABEL, top) if two else (0, top + len(_TRUST_WORDS))
    for severity, letter in SEVERITY_LETTER.items():
        page.text(x, y, f"{letter} {severity}", SEVERITY_INK[severity])
        y += 1
    return y
