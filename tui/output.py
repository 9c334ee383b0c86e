"""Lines for a terminal or a pipe, in whatever encoding it has."""

import sys
from typing import TextIO

from shared.text import printable

_ASCII = str.maketrans(
    {
        "Ω": "ohm",
        "°": "deg ",
        "±": "+/-",
        "–": "-",
        "—": "-",
        "−": "-",
        "→": "->",
        "…": "...",
        "×": "x",
        "≥": ">=",
        "≤": "<=",
        "²": "2",
        "µ": "u",
        "λ": "lambda",
        "σ": "sigma",
        "·": "*",
        "“": '"',
        "”": '"',
        "’": "'",
    }
)


def speaks_unicode(stream: TextIO) -> bool:
    """Whether a stream can print our units and dashes."""
    return (stream.encoding or "ascii").lower().replace("-", "").startswith("utf")


def ascii_of(text: str) -> str:
    """Text in ASCII: our units and dashes spelt out, anything else as `?`."""
    return text.translate(_ASCII).encode("ascii", "replace").decode("ascii")


def say(line: str, stream: TextIO | None = None) -> None:
    """Print a line and flush, in ASCII where the stream knows no more; none steers a terminal."""
    stream = stream or sys.stdout
    line = "\n".join(map(printable, line.split("\n")))
    if not speaks_unicode(stream):
        line = ascii_of(line)
    print(line, file=stream, flush=True)
