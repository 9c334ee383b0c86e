"""Lines for a terminal or a pipe, in whatever encoding it has."""

import sys
from typing import TextIO

_PLAIN = str.maketrans(
    {
        "Ω": "ohm",
        "°": "deg ",
        "±": "+/-",
        "–": "-",
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


def say(line: str, stream: TextIO | None = None) -> None:
    """Print one line and flush, in ASCII where the stream knows no more."""
    stream = stream or sys.stdout
    if not speaks_unicode(stream):
        line = line.translate(_PLAIN).encode("ascii", "replace").decode("ascii")
    print(line, file=stream, flush=True)
