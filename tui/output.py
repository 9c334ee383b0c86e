"""Lines for a terminal or a pipe, in whatever encoding it has."""

import errno
import os
import sys
from contextlib import suppress
from typing import TextIO

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
    """Print one line and flush, in ASCII where the stream knows no more."""
    stream = stream or sys.stdout
    if not speaks_unicode(stream):
        line = ascii_of(line)
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
