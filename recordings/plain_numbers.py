"""Lines of a plain log as columns, many lines at a time: the quick way for what is plain.

Only lines without quotes, of the right number of cells, whose cells are numbers as JSON
writes them (RFC 8259) or empty, but for cells of text columns. For all else the answer is
None, and `recordings.plain_log` looks at single cells: whatever is read here, it reads alike.
"""

import csv
import re
from collections.abc import Collection, Sequence

import msgspec
import numpy as np

from shared.text import clean
from shared.updates import Floats

_PLAIN = re.compile(r"[0-9.,+\-eE]*(?:\r?\n|\r)?")
_MINUS_ZERO = re.compile(r"-0(?:[,\r\neE]|\Z)")
"""JSON's whole numbers know no −0."""
_decoder = msgspec.json.Decoder(list[float | None])

Texts = dict[int, list[tuple[int, str]]]
"""Column → (row, text) pairs in row order."""


def columns_of(
    lines: Sequence[str], width: int, texts: Collection[int]
) -> tuple[Floats, Texts] | None:
    """Columns of shape (width, n) of n lines, NaN where a cell is empty; texts of text columns.

    `texts` are the columns that hold text. None where a line is not plain.
    """
    if any(line.count(",") != width - 1 for line in lines):
        return None
    found: Texts = {}
    plain = list(lines)
    for row, line in enumerate(plain):
        if _PLAIN.fullmatch(line) is None:
            without = _without_texts(row, line, texts, found)
            if without is None:
                return None
            plain[row] = without
    columns = _numbers(plain, width)
    if columns is None or not all(np.isnan(columns[at]).all() for at in texts):
        # Text that looks like a number is left to the careful way.
        return None
    return columns, found


def _without_texts(row: int, line: str, texts: Collection[int], found: Texts) -> str | None:
    """The line with its texts taken out of it; None where it is not plain otherwise."""
    if '"' in line or "\n" in line[:-1]:
        return None
    try:
        cells = next(csv.reader([line]))
    except csv.Error:
        return None
    for at in texts:
        if cells[at]:
            text = clean(cells[at])
            if text:
                found.setdefault(at, []).append((row, text))
            cells[at] = ""
    without = ",".join(cells) + "\n"
    return without if _PLAIN.fullmatch(without) else None


def _numbers(lines: Sequence[str], width: int) -> Floats | None:
    text = "".join(lines)
    if _MINUS_ZERO.search(text):
        return None
    text = text.replace("\r\n", "\n").removesuffix("\n").replace("\n", ",")
    # Twice, since the comma between two empty cells belongs to both.
    text = text.replace(",,", ",null,").replace(",,", ",null,")
    if text.endswith(","):
        text += "null"
    try:
        values = _decoder.decode(f"[{text}]")
    except msgspec.MsgspecError:
        return None
    if len(values) != width * len(lines):
        return None
    table = np.array(values, dtype=np.float64).reshape(len(lines), width)
    return np.ascontiguousarray(table.T)
