"""Lines for a terminal or a pipe, in whatever encoding it has."""

import errno
import os
import sys
from contextlib import suppress
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
    try:
        print(line, file=stream, flush=True)
    except OSError as error:
        if error.errno != errno.EIO:
            raise
        go_quiet()


def go_quiet() -> None:
    """The terminal has gone: nothing more is printed, and printing no longer fails."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
