"""Partial updates: the cells that changed, all of them, and no others."""

import re
from io import StringIO

from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console
from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

from tui.lean import LeanUpdate

WIDTH, HEIGHT = 24, 6
MOVE = re.compile(r"\x1b\[(\d+);(\d+)H")
STYLED = re.compile(r"\x1b\[[\d;]*m")
INKS = (Style(color="red"), Style(color="blue", bold=True), Style(bgcolor="green"))


def placed(sent: str) -> dict[tuple[int, int], str]:
    """Cells by (row, column) that a terminal would write (ECMA-48: CUP, SGR, text)."""
    cells: dict[tuple[int, int], str] = {}
    y = x = 0
    for part in re.split(r"(\x1b\[\d+;\d+H)", sent):
        move = MOVE.fullmatch(part)
        if move is not None:
            y, x = int(move[1]) - 1, int(move[2]) - 1
            continue
        for char in STYLED.sub("", part):
            assert (y, x) not in cells, "a cell is sent twice"
            cells[y, x] = char
            x += 1
    return cells


@given(
    st.lists(st.integers(1, WIDTH - 1), max_size=4, unique=True),
    st.lists(
        st.tuples(st.integers(0, HEIGHT - 1), st.integers(0, WIDTH), st.integers(0, WIDTH)),
        min_size=1,
        max_size=8,
        unique_by=lambda span: span[0],
    ),
)
def test_exactly_the_changed_cells_are_sent(
    cuts: list[int], given_spans: list[tuple[int, int, int]]
) -> None:
    """Wherever widgets and colours begin and end."""
    letters = "".join(chr(ord("a") + n) for n in range(WIDTH))
    ends = [*sorted(cuts), WIDTH]
    starts = [0, *ends[:-1]]

    def strip(start: int, stop: int) -> Strip:
        middle = (start + stop) // 2
        parts = (letters[start:middle], letters[middle:stop])
        return Strip([Segment(text, ink) for text, ink in zip(parts, INKS, strict=False) if text])

    chops = [{start: strip(start, stop) for start, stop in zip(starts, ends, strict=True)}] * HEIGHT
    spans = sorted((y, min(a, b), max(a, b)) for y, a, b in given_spans)
    console = Console(file=StringIO(), force_terminal=True, color_system="truecolor")
    sent = LeanUpdate(chops, spans, [ends] * HEIGHT).render_segments(console)
    wanted = {(y, x): letters[x] for y, start, stop in spans for x in range(start, stop)}
    assert placed(sent) == wanted
