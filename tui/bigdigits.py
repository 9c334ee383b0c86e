"""Digits three dots wide and five high, as large as fits: to be read from a bench."""

from tui.board import Board, Ink, Rect

ROWS = 5
WIDTH = 3
_SHAPES = {
    "0": "### #.# #.# #.# ###",
    "1": ".#. ##. .#. .#. ###",
    "2": "### ..# ### #.. ###",
    "3": "### ..# .## ..# ###",
    "4": "#.# #.# ### ..# ..#",
    "5": "### #.. ### ..# ###",
    "6": "### #.. ### #.# ###",
    "7": "### ..# ..# .#. .#.",
    "8": "### #.# ### #.# ###",
    "9": "### #.# ### ..# ###",
    ".": ". . . . #",
    "-": "... ... ### ... ...",
    " ": "... ... ... ... ...",
    "O": "### #.# #.# #.# ###",
    "P": "### #.# ### #.. #..",
    "E": "### #.. ##. #.. ###",
    "N": "#.# ### ### ### #.#",
}
SIZES = ((8, 4), (6, 3), (5, 3), (4, 3), (4, 2), (3, 2), (2, 1), (1, 1))
"""Cells a dot, across and down; characters are about twice as high as wide."""


def size_for(text: str, width: int, height: int) -> tuple[int, int] | None:
    """The largest size in which the text fits; None where none does."""
    for across, down in SIZES:
        if _dots(text) * across <= width and ROWS * down <= height:
            return across, down
    return None


def paint_big(board: Board, area: Rect, text: str, ink: int = Ink.STRONG) -> Rect:
    """Write a number large at the top left of an area; the part of it that is used.

    Where even the smallest digits do not fit it is written as it is.
    """
    size = size_for(text, area.width, area.height)
    if size is None:
        board.text(area.x, area.y, text, ink, area.width)
        return Rect(area.x, area.y, min(len(text), area.width), 1)
    across, down = size
    full = "#" if board.ascii_only else "█"
    x = area.x
    for char in text:
        shape = _SHAPES[char].split()
        for row, line in enumerate(shape):
            for column, dot in enumerate(line):
                if dot == "#":
                    for below in range(down):
                        at_y = area.y + row * down + below
                        board.text(x + column * across, at_y, full * across, ink)
        x += (len(shape[0]) + 1) * across
    return Rect(area.x, area.y, x - area.x, ROWS * down)


def ohms_text(ohms: float, *, is_open: bool = False) -> str:
    """Ω in at most six characters: hundredths below 1,000, tenths below 10,000."""
    if is_open:
        return "OPEN"
    if ohms != ohms:
        return "---"
    return f"{ohms:.2f}" if ohms < 1000.0 else f"{ohms:.1f}" if ohms < 10_000.0 else f"{ohms:.0f}"


def _dots(text: str) -> int:
    return sum(len(_SHAPES[char].split()[0]) + 1 for char in text) - 1
