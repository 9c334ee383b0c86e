"""Figures as SVG: one style, drawn in marker colours, which become CSS variables or plain colours.

The same drawing gives the same bytes: no date, fixed hashes.
"""

import io
import re
from collections.abc import Callable, Sequence
from typing import Any

from shared.text import printable

WIDTH_IN = 9.6

INK, MUTED, GRID, ALARM, SHADE, GAP = (f"#0102{n:02x}" for n in range(3, 9))
SERIES = tuple(f"#0102{n:02x}" for n in range(16, 22))

# Okabe and Ito, Color Universal Design (2008): blue, orange, bluish green, reddish purple,
# sky blue, grey; vermillion is kept for alarms. Published values.
LIGHT = {
    INK: "#1f2933",
    MUTED: "#5b6670",
    GRID: "#e3e7ea",
    ALARM: "#D55E00",
    SHADE: "#D55E00",
    GAP: "#9aa5b1",
    **dict(
        zip(
            SERIES,
            ("#0072B2", "#E69F00", "#009E73", "#CC79A7", "#56B4E9", "#7a7a7a"),
            strict=True,
        )
    ),
}
VARIABLES = {
    INK: "--ink",
    MUTED: "--muted",
    GRID: "--grid",
    ALARM: "--alarm",
    SHADE: "--alarm",
    GAP: "--gap",
    **{colour: f"--series-{number}" for number, colour in enumerate(SERIES, 1)},
}

_STYLE = {
    "svg.fonttype": "none",
    "text.parse_math": False,
    "font.family": "sans-serif",
    "font.size": 9.5,
    "text.color": INK,
    "axes.edgecolor": GRID,
    "axes.labelcolor": MUTED,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "grid.color": GRID,
    "grid.linewidth": 0.6,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.major.size": 0.0,
    "ytick.major.size": 0.0,
    "lines.linewidth": 1.2,
    "lines.solid_joinstyle": "round",
    "path.simplify": False,
}
_MARKER = re.compile(r"#0102(0[3-9]|1[0-5])")
_PATH = re.compile(r' d="[^"]*"')
_DIGITS = re.compile(r"(\.\d\d)\d+")
_ID = re.compile(r'(\bid="|url\(#|href="#)')


def render(draw: Callable[[Any], None], heights: Sequence[float], name: str) -> str:
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    style: Any = {**_STYLE, "svg.hashsalt": name}
    with mpl.rc_context(style):
        figure = Figure(figsize=(WIDTH_IN, sum(heights) + 0.45))
        FigureCanvasSVG(figure)
        tall = figure.get_figheight()
        figure.subplots_adjust(0.07, 0.28 / tall, 0.915, 1.0 - 0.19 / tall, hspace=0.12)
        figure.patch.set_visible(False)
        draw(figure)
        for axis in figure.axes:
            axis.patch.set_visible(False)
        figure.align_ylabels()
        out = io.BytesIO()
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        figure.savefig(out, format="svg", metadata=nothing)
    text = "\n".join(map(printable, out.getvalue().decode().split("\n")))
    text = text[text.index("<svg") :]
    # Hundredths of a point are far below what can be seen, and halve the file.
    text = _PATH.sub(lambda found: _DIGITS.sub(r"\1", found.group()), text)
    return _ID.sub(rf"\g<1>{name}-", text)


def for_page(svg: str, title: str) -> str:
    """An SVG to stand in a page, in the page's colours, named for those who cannot see it."""
    from markupsafe import escape

    svg = _MARKER.sub(lambda found: f"var({VARIABLES[found.group()]})", svg)
    head, _, body = svg.partition(">")
    head = re.sub(r' (width|height)="[^"]*"', "", head)
    return f'{head} role="img" aria-label="{escape(title)}">{body}'


def for_file(svg: str) -> str:
    """An SVG to stand alone, in fixed colours on white."""
    svg = _MARKER.sub(lambda found: LIGHT[found.group()], svg)
    head, _, body = svg.partition(">")
    return f'{head}><rect width="100%" height="100%" fill="#ffffff"/>{body}'
