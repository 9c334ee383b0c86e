"""Writing a plain log so that reading it gives the same updates to the last bit.

The contract asks for increasing times, but two updates of a host may share one (a late
one is held at the newest). The second is then written with further decimals, below what
a double can tell: the text increases, and the number read back is the same. An update
without values, which says only that time passed, is marked in a column of its own.
"""

import csv
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from decimal import Context, Decimal
from pathlib import Path

from recordings.plain_block import TIME
from recordings.plain_rows import SILENT, YES, has_silence
from shared.errors import BadInput
from shared.placing import placed_text
from shared.updates import Batch, updates_of

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""What begins a formula in some spreadsheet; the last four are the wide forms."""
_FINE = Context(prec=400)


def write_plain_log(
    path: str | Path,
    batches: Iterable[Batch],
    keys: Sequence[str] | None = None,
    *,
    for_spreadsheet: bool = False,
) -> None:
    """Write batches as a plain log; the file appears when it is complete.

    `keys` are the columns, with `SILENT` if an update may be without values; None takes
    those of the batches, which then are held in memory.
    `for_spreadsheet` disarms texts that a spreadsheet would take for a formula; what is read back
    then has a `'` before them.
    Empty text cannot be told from absent text and is left out. Raises BadInput when the
    file cannot be written or no key is in the batches.
    """
    path = Path(path)
    if keys is None:
        batches = list(batches)
        keys = list(
            dict.fromkeys(key for batch in batches for key in (*batch.numbers, *batch.texts))
        )
        if keys and has_silence(batches):
            keys.append(SILENT)
    if not keys:
        raise BadInput(str(path), "nothing to write: no value was recorded", "record longer")
    rows = _rows(batches, keys, disarmed if for_spreadsheet else str)
    if for_spreadsheet:
        keys = [disarmed(key) for key in keys]
    with placed_text(path) as file:
        writer = csv.writer(file)
        writer.writerow([TIME, *keys])
        writer.writerows(rows)


def disarmed(text: str) -> str:
    """A text that no spreadsheet works out: what would begin a formula has a `'` before it."""
    return f"'{text}" if text.lstrip(" ").startswith(FORMULA) else text


def _rows(
    batches: Iterable[Batch], keys: Sequence[str], spelt: Callable[[str], str]
) -> Iterator[list[str]]:
    before_s = math.nan
    repeats = 0
    for batch in batches:
        for update in updates_of(batch):
            repeats = repeats + 1 if update.time_s == before_s else 0
            before_s = update.time_s
            cells = [time_text(before_s, repeats)]
            said = update.values or {SILENT: YES}
            for key in keys:
                value = said.get(key, "")
                cells.append(spelt(value) if isinstance(value, str) else number_text(value))
            yield cells


def number_text(value: float) -> str:
    """Shortest decimal that reads back as the same double."""
    return repr(value).removesuffix(".0")


def time_text(time_s: float, repeats: int) -> str:
    """A time that `repeats` rows before it share, as a decimal greater than theirs."""
    if not repeats:
        return number_text(time_s)
    step = Decimal(10) ** (math.floor(math.log10(math.ulp(time_s))) - 9)
    return format(_FINE.add(Decimal(repr(time_s)), step * repeats), "f")
