"""The whole screen on a board: status, the view, the hint, the keys."""

from tui.board import Board, Ink, Rect, shown_width
from tui.help import ARROWS, paint_help
from tui.keys import BACK, Key, brief_keys
from tui.state import ScreenState, ViewName
from tui.views.chain import paint_chain
from tui.views.check import paint_check
from tui.views.diagnosis import paint_diagnosis
from tui.views.events import paint_events
from tui.views.frame import ScreenFrame
from tui.views.hint import paint_hint
from tui.views.notes import paint_notes
from tui.views.overview import paint_overview
from tui.views.status import paint_status
from tui.views.trials import paint_trials

LEAST_WIDTH, LEAST_HEIGHT = 60, 16
_ALWAYS = ("help", "quit")
"""Keys that the last line never leaves out."""
_PAINT = {
    ViewName.OVERVIEW: paint_overview,
    ViewName.EVENTS: paint_events,
    ViewName.DIAGNOSIS: paint_diagnosis,
    ViewName.CHAIN: paint_chain,
    ViewName.NOTES: paint_notes,
    ViewName.TRIALS: paint_trials,
    ViewName.CHECK: paint_check,
}
_WITHOUT_HINT = (ViewName.DIAGNOSIS, ViewName.CHAIN, ViewName.TRIALS, ViewName.CHECK)
"""The diagnosis begins with all that the hint says; the others need the room."""


def body(width: int, height: int, hinted: bool = True) -> Rect:
    """Where the view goes."""
    return Rect(0, 1, width, height - 2 - (hint_rows(height) if hinted else 0))


def hint_rows(height: int) -> int:
    return 3 if height < 20 else 6 if height < 30 else 8


def is_too_small(board: Board) -> bool:
    """Whether nothing else fits; the board then says what it needs."""
    width, height = board.width, board.height
    if width >= LEAST_WIDTH and height >= LEAST_HEIGHT:
        return False
    told = f"needs {LEAST_WIDTH}x{LEAST_HEIGHT} cells, has {width}x{height}"
    board.wrapped(Rect(0, 0, width, max(height, 1)), told)
    return True


def paint(width: int, height: int, frame: ScreenFrame, ascii_only: bool) -> Board:
    """One drawing of the whole screen."""
    board = Board(width, height, ascii_only)
    if is_too_small(board):
        return board
    state = frame.state
    paint_status(board, Rect(0, 0, width, 1), frame)
    hinted = not state.help and state.view not in _WITHOUT_HINT
    area = body(width, height, hinted)
    if state.help:
        paint_help(board, area, frame)
    else:
        _PAINT[state.view](board, area, frame)
    if hinted:
        paint_hint(board, Rect(0, area.y + area.height, width, hint_rows(height)), frame)
    keys = brief_keys(state.view, frame.now.play is not None)
    if state.is_one_of_several:
        keys.insert(0, BACK)
    paint_keys(board, height - 1, keys, state)
    return board


def paint_keys(board: Board, y: int, keys: list[Key], state: ScreenState) -> None:
    """The last line: keys, or a message in their place."""
    if state.message:
        board.text(0, y, state.message, Ink.STRONG)
        return
    last = [key for key in keys if key.id in _ALWAYS]
    end = board.width - sum(shown_width(key.hint) + 2 for key in last) + 2
    x = 0
    for key in keys:
        if key not in last and x + shown_width(key.hint) < end:
            here = key.action == f"show('{state.view}')"
            x = _paint_key(board, x, y, key, here) + (1 if key.id.startswith("view.") else 2)
    for key in last:
        end = _paint_key(board, end, y, key, here=False) + 2


def _paint_key(board: Board, x: int, y: int, key: Key, here: bool) -> int:
    name, _, word = key.hint.partition(" ")
    if board.ascii_only:
        name = name.translate(ARROWS)
    x = board.text(x, y, name, Ink.STRONG)
    return board.text(x + 1, y, word, Ink.STRONG if here else Ink.DIM)
