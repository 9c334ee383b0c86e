"""A view that is lines of words: wrapped, indented, scrolled."""

from dataclasses import dataclass

from tui.board import Board, Ink, Rect, wrap
from tui.state import ScreenState


@dataclass(frozen=True, slots=True)
class Line:
    """A paragraph with a label at its left."""

    label: str
    text: str
    ink: int = Ink.PLAIN
    label_ink: int = Ink.DIM


def paint_lines(
    board: Board, area: Rect, lines: list[Line], label: int, state: ScreenState
) -> None:
    """Paragraphs beside their labels; `state.scroll` is kept where there is text."""
    rows: list[tuple[str, str, Line]] = []
    for line in lines:
        parts = wrap(line.text, area.width - label - 1) or [""]
        rows += [(line.label if at == 0 else "", part, line) for at, part in enumerate(parts)]
    height = area.height if len(rows) <= area.height else area.height - 1
    state.scroll = min(max(state.scroll, 0), max(len(rows) - height, 0))
    shown = rows[state.scroll : state.scroll + height]
    for y, (name, part, line) in enumerate(shown):
        board.text(area.x, area.y + y, name, line.label_ink, label)
        board.text(area.x + label, area.y + y, part, line.ink, area.width - label)
    if height < area.height:
        below = len(rows) - state.scroll - height
        told = f"{below} lines below" if below else "end"
        board.text(area.x + label, area.y + height, told, Ink.DIM)
