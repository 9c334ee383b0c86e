"""A screen as arrays of cells: painted by plain code, compared with what was shown before.

The terminal library re-sends whatever is called dirty, so the parts that changed are
found here. No text can carry markup or control characters: a cell holds one code point.
"""

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from rich.cells import get_character_cell_size

from shared.text import printable
from tui.output import ascii_of

MERGE_CELLS = 6
"""Unchanged cells between two changes that are cheaper to send again than to jump over."""

LONG_WORD = 14
"""Letters of a cut word that may be left out to end at a whole one."""

CONTINUED = 0
"""Code of the second cell of a wide character."""


class Ink(IntEnum):
    """What a cell is, for its colour. `BAND` and `SELECTED` are added to any of them."""

    PLAIN = 0
    DIM = 1
    STRONG = 2
    READING = 3
    TARGET = 4
    POWER = 5
    TRUE = 6
    DOUBTFUL = 7
    FALSE = 8
    UNKNOWN = 9
    ALARM = 10
    CURSOR = 11
    NOTE = 12


BAND = 64
SELECTED = 128


@dataclass(frozen=True, slots=True)
class Rect:
    """Part of a board, in cells."""

    x: int
    y: int
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Changed:
    """A run of cells in one row that differ."""

    x: int
    y: int
    width: int


class Board:
    """Cells of a screen. `codes` and `inks` have shape (height, width)."""

    def __init__(self, width: int, height: int, ascii_only: bool = False) -> None:
        self.width = width
        self.height = height
        self.ascii_only = ascii_only
        self.codes: NDArray[np.uint32] = np.full((height, width), ord(" "), np.uint32)
        self.inks: NDArray[np.uint16] = np.zeros((height, width), np.uint16)

    def text(
        self, x: int, y: int, text: str, ink: int = Ink.PLAIN, width: int | None = None
    ) -> int:
        """Write one line, cut at a word where it does not fit; the x after it."""
        room = self.width - x if width is None else min(width, self.width - x)
        if not 0 <= y < self.height or room <= 0 or x < 0:
            return x
        codes = _codes(fitted(self._spoken(printable(text)), room, self._cut))
        end = x + min(len(codes), room)
        row = self.codes[y]
        # No half of a wide character stays alone: neither what is cut nor what is written over.
        if x and row[x] == CONTINUED:
            row[x - 1] = ord(" ")
        if end < self.width and row[end] == CONTINUED:
            row[end] = ord(" ")
        row[x:end] = codes[: end - x]
        if end - x < len(codes) and codes[end - x] == CONTINUED:
            row[end - 1] = ord(" ")
        self.inks[y, x:end] = ink
        return end

    def wrapped(self, area: Rect, text: str, ink: int = Ink.PLAIN) -> int:
        """Write words into an area line by line; the number of lines used."""
        lines = wrap(self._spoken(text), area.width)
        shown = lines[: area.height]
        if len(lines) > area.height and shown:
            shown[-1] = fitted(" ".join(lines[area.height - 1 :]), area.width, self._cut)
        for row, line in enumerate(shown):
            self.text(area.x, area.y + row, line, ink, area.width)
        return len(shown)

    def fill(self, area: Rect, ink: int) -> None:
        """Add `BAND` or `SELECTED` to every ink of an area."""
        self.inks[area.y : area.y + area.height, area.x : area.x + area.width] |= ink

    def lines(self) -> list[str]:
        """Rows as text."""
        return [_text(row) for row in self.codes]

    def runs(self, y: int) -> Iterator[tuple[str, int]]:
        """One row as (text, ink) runs."""
        inks = self.inks[y]
        cuts = [0, *(np.flatnonzero(np.diff(inks)) + 1).tolist(), self.width]
        for start, stop in pairwise(cuts):
            if stop > start:
                yield _text(self.codes[y, start:stop]), int(inks[start])

    def changes(self, before: "Board | None") -> list[Changed] | None:
        """Runs of cells that differ from another board; None when everything does."""
        if before is None or before.codes.shape != self.codes.shape:
            return None
        differs = (self.codes != before.codes) | (self.inks != before.inks)
        found: list[Changed] = []
        for y in np.flatnonzero(differs.any(axis=1)).tolist():
            columns = np.flatnonzero(differs[y])
            cuts = np.flatnonzero(np.diff(columns) > MERGE_CELLS) + 1
            for part in np.split(columns, cuts):
                first, last = int(part[0]), int(part[-1])
                # A wide character is sent whole.
                while first > 0 and self.codes[y, first] == CONTINUED:
                    first -= 1
                while last + 1 < self.width and self.codes[y, last + 1] == CONTINUED:
                    last += 1
                found.append(Changed(first, y, last - first + 1))
        return found

    @property
    def _cut(self) -> str:
        return "..." if self.ascii_only else "…"

    def _spoken(self, text: str) -> str:
        return ascii_of(text) if self.ascii_only else text


def shown_width(text: str) -> int:
    """Cells that a text takes."""
    return len(text) if text.isascii() else len(_codes(text))


def fitted(text: str, width: int, mark: str = "…") -> str:
    """The text, or as many whole words of it as fit before an ellipsis."""
    if shown_width(text) <= width:
        return text
    kept = text
    while kept and shown_width(kept) + len(mark) > width:
        kept = kept[:-1]
    at = kept.rfind(" ")
    whole = len(kept) < len(text) and text[len(kept)] == " "
    if not whole and at > 0 and len(kept) - at <= LONG_WORD:
        kept = kept[:at]
    return (kept.rstrip(" ,;:") + mark) if kept else text[:width]


def wrap(text: str, width: int) -> list[str]:
    """Words in lines of at most `width` cells; a longer word is split."""
    if width <= 0:
        return []
    lines: list[str] = []
    line = ""
    for word in text.split():
        joined = f"{line} {word}" if line else word
        if shown_width(joined) <= width:
            line = joined
            continue
        if line:
            lines.append(line)
        while shown_width(word) > width:
            cut = width
            while shown_width(word[:cut]) > width:
                cut -= 1
            lines.append(word[: max(cut, 1)])
            word = word[max(cut, 1) :]
        line = word
    return [*lines, line] if line else lines


def _codes(text: str) -> NDArray[np.uint32]:
    if text.isascii() and text.isprintable():
        return np.frombuffer(text.encode("ascii"), np.uint8).astype(np.uint32)
    codes: list[int] = []
    for char in unicodedata.normalize("NFC", text):
        size = get_character_cell_size(char) if char.isprintable() else 0
        if size:
            codes.append(ord(char))
        if size == 2:
            codes.append(CONTINUED)
    return np.array(codes, np.uint32)


def _text(codes: NDArray[np.uint32]) -> str:
    return codes.astype("<u4").tobytes().decode("utf-32-le", "replace").replace("\0", "")
