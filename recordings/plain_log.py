"""The plain log: CSV (RFC 4180) with `time_s` and one column for each CHANNEL.QUANTITY.

An empty cell means "not in this update": the last value still holds, as `plain_rows` tells
what reads the log where a row holds nothing else. A block of rows is converted column by column;
only when that fails are its cells looked at singly, to name the line and the column.
"""

import csv
import math
from codecs import BOM_UTF8
from collections.abc import Iterator, Sequence
from itertools import chain, islice
from pathlib import Path
from typing import IO, Protocol

import numpy as np

from recordings.bounds import HELD_BYTES, KeyNames, check_log
from recordings.cells import MAX_TIME_S
from recordings.files import head_of, os_error
from recordings.packing import Damaged
from recordings.plain_block import TIME, Block, no_log
from recordings.plain_numbers import columns_of
from recordings.plain_rows import SILENT, Rows
from shared.errors import BadInput
from shared.text import clean
from shared.updates import Batch
from shared.words import QUANTITIES, channel_of, is_number_key, quantity_of

ROWS = 16_384
"""Rows of a batch."""
MAX_LINE = 1 << 20
"""Longest line read, in characters."""
HELD_CHARACTERS = 8 << 20
"""Text that is held at once."""


class _Cells(Protocol):
    """What `csv.reader` gives: rows, and the lines read so far."""

    @property
    def line_num(self) -> int: ...

    def __iter__(self) -> Iterator[list[str]]: ...

    def __next__(self) -> list[str]: ...


class PlainLog:
    """A plain log on disk. `read_plain_log` makes one, with its header checked.

    keys      CHANNEL.QUANTITY columns in the file's order
    unknown   those whose quantity the contract does not list; kept as text
    """

    def __init__(self, path: Path, keys: tuple[str, ...], rows: int) -> None:
        self.path = path
        self.keys = tuple(key for key in keys if key != SILENT)
        self.unknown = tuple(key for key in self.keys if quantity_of(key) not in QUANTITIES)
        self._columns = keys
        self._rows = rows

    @property
    def channels(self) -> tuple[str, ...]:
        """Every channel named in the header, in its order."""
        return tuple(dict.fromkeys(channel_of(key) for key in self.keys))

    def batches(self) -> Iterator[Batch]:
        """The log from its start, `rows` rows at a time. Raises BadInput at the first fault."""
        try:
            with _open(self.path) as file:
                lines = _lines(self.path, file)
                header = csv.reader(lines, strict=True)
                next(header)
                rows = Rows(self.keys)
                for batch in self._blocks(lines, header.line_num):
                    yield rows.meant(batch)
        except UnicodeDecodeError:
            raise _not_utf8(self.path) from None
        except OSError as error:
            raise os_error(self.path, error) from None

    def _blocks(self, lines: Iterator[str], line: int) -> Iterator[Batch]:
        """Batches of what follows the first so many lines: quickly where it is plain."""
        before, before_text = -math.inf, ""
        is_quoted = False
        size = self.path.stat().st_size
        rows = 0
        while chunk := self._chunk(lines, 1 if is_quoted else self._rows):
            batch = None if is_quoted else self._plain(chunk, before)
            if batch is not None:
                before_text = chunk[-1].partition(",")[0]
                line += len(chunk)
            else:
                # A quoted cell may go on over lines: from the first on, cells are read singly.
                is_quoted = is_quoted or any('"' in one for one in chunk)
                source = chain(chunk, lines) if is_quoted else iter(chunk)
                cells = csv.reader(source, strict=True)
                found = self._cells(cells, line)
                block = Block(self.path, self._columns, found, line + 1)
                line += cells.line_num
                if block.is_empty:
                    continue
                batch, before_text = block.batch(before, before_text)
            before = float(batch.time_s[-1])
            rows += len(batch)
            try:
                check_log(rows, len(self._columns) + 1, size)
            except Damaged as why:
                raise no_log(self.path, line, str(why), "split it") from None
            yield batch
        if before == -math.inf:
            do = "name a log with at least one row"
            raise no_log(self.path, None, "no row below the header", do)

    def _cells(self, cells: "_Cells", line: int) -> list[list[str]]:
        found: list[list[str]] = []
        held = 0
        try:
            while len(found) < self._rows and held < HELD_CHARACTERS:
                row = next(cells, None)
                if row is None:
                    break
                found.append(row)
                held += sum(map(len, row))
            return found
        except csv.Error as error:
            what = f"quoting cannot be read ({clean(str(error))})"
            raise no_log(self.path, line + cells.line_num, what) from None

    def _chunk(self, lines: Iterator[str], rows: int) -> list[str]:
        """The next lines, no more than fit into memory."""
        found: list[str] = []
        held = 0
        most = max(1, min(rows, HELD_BYTES // (8 * len(self._columns))))
        for line in islice(lines, most):
            found.append(line)
            held += len(line)
            if held >= HELD_CHARACTERS:
                break
        return found

    def _plain(self, lines: Sequence[str], before_s: float) -> Batch | None:
        """The lines as a batch; None where they, or their times, need a closer look."""
        keys = self._columns
        words = [at for at, key in enumerate(keys, 1) if not is_number_key(key)]
        found = columns_of(lines, len(keys) + 1, words)
        if found is None:
            return None
        columns, texts = found
        time_s = columns[0]
        # Not-a-number is not greater than anything.
        if not (np.diff(time_s, prepend=before_s) > 0.0).all():
            return None
        if not (np.abs(time_s) <= MAX_TIME_S).all():
            return None
        is_said = [not np.isnan(column).all() for column in columns]
        numbers = {key: columns[at] for at, key in enumerate(keys, 1) if is_said[at]}
        return Batch(time_s, numbers, {keys[at - 1]: texts[at] for at in sorted(texts)})


def read_plain_log(path: str | Path, rows: int = ROWS) -> PlainLog:
    """Open a plain log and check its header.

    Raises BadInput, naming file, line and column, for what is no plain log; faults in
    rows are raised by `PlainLog.batches`.
    """
    path = Path(path)
    head = head_of(path)
    if head.startswith(b"PK\x03\x04"):
        raise no_log(path, None, "is a zip archive, whatever its name", "unpack it first")
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise no_log(path, None, "is not UTF-8 but UTF-16")
    if b"\0" in head and not head.removeprefix(BOM_UTF8).startswith(TIME.encode()):
        raise no_log(path, None, "is a binary file", "name a recording or a plain log")
    try:
        with _open(path) as file:
            header = next(csv.reader(_lines(path, file), strict=True), [])
    except csv.Error as error:
        raise no_log(path, 1, f"quoting cannot be read ({clean(str(error))})") from None
    except UnicodeDecodeError:
        raise _not_utf8(path) from None
    except OSError as error:
        raise os_error(path, error) from None
    return PlainLog(path, _checked(path, header), rows)


def _checked(path: Path, header: list[str]) -> tuple[str, ...]:
    """The columns after `time_s`, or BadInput."""
    names = [name.strip() for name in header] or [""]
    if names[0] != TIME:
        raise _wrong_first(path, names[0])
    if len(names) == 1:
        do = "add columns named CHANNEL.QUANTITY, such as nozzle.temperature_c"
        raise no_log(path, 1, f"no column besides {TIME}", do)
    seen: dict[str, int] = {}
    keys = KeyNames()
    for number, name in enumerate(names, 1):
        cell = f"column {number} '{clean(name, 60)}'"
        if name in seen:
            do = "name each column once"
            raise no_log(path, 1, f"{cell} is there already as column {seen[name]}", do)
        seen[name] = number
        if number > 1 and (not channel_of(name) or not quantity_of(name) or clean(name) != name):
            do = "name it CHANNEL.QUANTITY, such as nozzle.temperature_c"
            raise no_log(path, 1, f"{cell} is no CHANNEL.QUANTITY", do)
        if number > 1:
            try:
                keys.add(number, name)
            except Damaged as why:
                raise no_log(path, 1, f"{cell} {why}", "split it") from None
    return tuple(names[1:])


def _wrong_first(path: Path, name: str) -> BadInput:
    for mark, word in ((";", "semicolons"), ("\t", "tabs")):
        if name.startswith(TIME + mark):
            return no_log(path, 1, f"cells are separated by {word}", "separate them by commas")
    try:
        float(name)
    except ValueError:
        what = f"the first column is '{clean(name, 60)}', not '{TIME}'"
        return no_log(path, 1, what, f"name it {TIME}, or name a recording or a plain log")
    return no_log(path, 1, "no header", f"add a first line: {TIME},CHANNEL.QUANTITY,…")


def _open(path: Path) -> IO[str]:
    return path.open(encoding="utf-8-sig", newline="")


def _lines(path: Path, file: IO[str]) -> Iterator[str]:
    """Lines of a text file. Raises BadInput for a NUL or a line without end."""
    number = 0
    while line := file.readline(MAX_LINE):
        number += 1
        if "\0" in line:
            raise no_log(path, number, "a NUL byte: this is no text")
        if len(line) == MAX_LINE:
            raise no_log(path, number, f"a line of more than {MAX_LINE} characters")
        yield line


def _not_utf8(path: Path) -> BadInput:
    """Find the line that cannot be decoded."""
    with path.open("rb") as file:
        for number, line in enumerate(iter(lambda: file.readline(MAX_LINE), b""), 1):
            try:
                line.decode()
            except UnicodeDecodeError as error:
                byte = f"byte {error.start + 1} (0x{line[error.start]:02x})"
                return no_log(path, number, f"{byte} is not UTF-8")
    return no_log(path, None, "is not UTF-8")
