"""Colours: Okabe and Ito's palette (Color Universal Design, 2008), one alarm, dark ground.

Every coloured thing also has a word or a glyph; bold and reverse carry what a terminal
without colours would lose.
"""

from functools import lru_cache

from rich.style import Style
from textual.theme import Theme

from tui.board import BAND, SELECTED, Ink

SKY, ORANGE, GREEN, PINK, YELLOW = "#56B4E9", "#E69F00", "#009E73", "#CC79A7", "#F0E442"
VERMILION = "#D55E00"
GROUND, WORDS, FAINT, LINE = "#101418", "#D5D9DC", "#8A949C", "#5A646C"

_LOOKS = {
    Ink.PLAIN: (WORDS, False, False),
    Ink.DIM: (FAINT, False, False),
    Ink.STRONG: ("#FFFFFF", True, False),
    Ink.READING: (SKY, False, False),
    Ink.TARGET: (ORANGE, False, False),
    Ink.POWER: (PINK, False, False),
    Ink.TRUE: (GREEN, False, False),
    Ink.DOUBTFUL: (YELLOW, False, False),
    Ink.FALSE: (VERMILION, True, False),
    Ink.UNKNOWN: (PINK, False, False),
    Ink.ALARM: (VERMILION, True, False),
    Ink.CURSOR: (LINE, False, False),
    Ink.NOTE: ("#FFFFFF", True, False),
}

THEME = Theme(
    name="ohmvigil",
    primary=SKY,
    secondary=GREEN,
    accent=ORANGE,
    warning=YELLOW,
    error=VERMILION,
    success=GREEN,
    foreground=WORDS,
    background=GROUND,
    surface=GROUND,
    panel="#1B2127",
    dark=True,
)


@lru_cache(maxsize=256)
def style_of(ink: int) -> Style:
    """Style of an ink, with `BAND` or `SELECTED` added or not."""
    colour, bold, reverse = _LOOKS[Ink(ink & ~(BAND | SELECTED))]
    ground = "#2A1A12" if ink & BAND else GROUND
    return Style(color=colour, bgcolor=ground, bold=bold, reverse=reverse or bool(ink & SELECTED))
