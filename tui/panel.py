"""The one widget: shows a board and re-sends only the cells that changed."""

from rich.segment import Segment
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from tui.board import Board
from tui.theme import style_of


class Panel(Widget):
    """Line API over a `Board`."""

    DEFAULT_CSS = "Panel { width: 100%; height: 100%; }"

    def __init__(self) -> None:
        super().__init__()
        self.board: Board | None = None

    def show(self, board: Board) -> None:
        """Replace the board; refresh the runs of cells that differ."""
        changes = board.changes(self.board)
        self.board = board
        if changes is None:
            self.refresh()
        elif changes:
            self.refresh(*(Region(run.x, run.y, run.width, 1) for run in changes))

    def render_line(self, y: int) -> Strip:
        """One row as a strip, as wide as the widget."""
        width = self.size.width
        if self.board is None or y >= self.board.height:
            return Strip([Segment(" " * width, style_of(0))], width)
        strip = Strip([Segment(text, style_of(ink)) for text, ink in self.board.runs(y)])
        return strip.adjust_cell_length(width, style_of(0))
