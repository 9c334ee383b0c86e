"""The one reader of a recording's rows: strict about types, sizes and ranges.

Whatever no writer of ours makes is `Damaged`, with words for the place. Reading and checking
use these functions alone, so that what a repair keeps, every command can read. Texts are
cleaned here: the file may be a stranger's. No I/O.
"""

import math
from collections.abc import Callable, Sequence
from typing import Annotated, Any, NamedTuple

import msgspec
import numpy as np

from recordings.packing import Damaged, Samples, decompress, unpack_entries, unpack_samples
from recordings.schema import TABLES, Cell, crc_of
from shared.chain import Chain, check_chain
from shared.events import Event
from shared.text import MAX_NESTED, MAX_TEXT, clean, cleaned
from shared.updates import Entry
from shared.words import channel_of, quantity_of

MAX_TIME_S = 1e12
"""No clock of a log, a machine or the world is beyond, s."""
MAX_COUNT = 1 << 40
MAX_ID = 1 << 40
MAX_KEY_ID = (1 << 32) - 1
"""Blocks hold key ids in 32 bits."""
MAX_EVENT_ID = 1 << 53
MAX_DEPTH = 24
"""Deepest JSON that is read."""
TEXT_LIMITS = {"value": 4 << 20, "facts": 64 << 10, "text": 8000}
"""Longest texts by column, in characters; others are names."""
MAX_NAME = 2 * MAX_TEXT

_TIMES = {"first_own_s", "last_own_s", "first_s", "last_s", "own_s", "wall_s", "time_s"} | {
    "start_s",
    "end_s",
}
_MOST = {
    "id": MAX_ID,
    "key_id": MAX_KEY_ID,
    "event_id": MAX_EVENT_ID,
    "absorbed_by": MAX_EVENT_ID,
    "count": MAX_COUNT,
    "readings": MAX_COUNT,
    "size": MAX_COUNT,
    "crc": MAX_KEY_ID,
}
_LEAST = {"id": 1, "key_id": 1}
_TYPES: dict[str, type] = {"INTEGER": int, "REAL": float, "TEXT": str, "BLOB": bytes}
_WORDS = {"INTEGER": "whole number", "REAL": "number", "TEXT": "text", "BLOB": "blob"}


class _Column(NamedTuple):
    name: str
    kind: str
    may_lack: bool
    type: type
    bounds: tuple[float, float] | None
    """Least and most of a number, or of the length of a text; None of what may be any."""


def _column(said: str) -> _Column:
    name, kind, *rest = said.split()
    bounds: tuple[float, float] | None = None
    if kind == "INTEGER":
        bounds = _LEAST.get(name, 0), _MOST[name]
    elif kind == "TEXT":
        bounds = 0, TEXT_LIMITS.get(name, MAX_NAME)
    elif name in _TIMES:
        bounds = -MAX_TIME_S, MAX_TIME_S
    return _Column(name, kind, not rest, _TYPES[kind], bounds)


COLUMNS = {table: tuple(map(_column, columns.split(", "))) for table, columns in TABLES.items()}


def row_of(table: str, row: Sequence[Cell]) -> tuple[Any, ...]:
    """A row's cells without their CRC, which holds; each of its column's type and in its range."""
    columns = COLUMNS[table]
    if len(row) != len(columns):
        raise Damaged("has another number of columns")
    for (name, kind, may_lack, type_, bounds), cell in zip(columns, row, strict=True):
        if type(cell) is not type_:
            if cell is None and may_lack:
                continue
            raise Damaged(f"its {name} is no {_WORDS[kind]}")
        if bounds is not None:
            size: Any = len(cell) if isinstance(cell, str) else cell
            if not bounds[0] <= size <= bounds[1]:
                raise Damaged(f"its {name} {_beyond(cell)}")
    *cells, crc = row
    if crc_of(cells) != crc:
        raise Damaged("its CRC does not hold")
    return tuple(cells)


def _beyond(cell: Any) -> str:
    """How a cell is not within its column's bounds."""
    if type(cell) is str:
        return f"of {len(cell)} characters is too long"
    return f"{cell:g} is no time" if type(cell) is float else f"{cell} is out of range"


def samples_of(cells: Sequence[Any]) -> Samples:
    """The contents of a row of `sample_blocks`."""
    _, first_s, last_s, count, readings, size, data = cells
    samples = unpack_samples(decompress(data, size))
    times = samples.time_s
    if not len(times):
        raise Damaged("is an empty block")
    if not (np.abs(times) <= MAX_TIME_S).all():
        raise Damaged("holds what is no time")
    if (np.diff(times) < 0.0).any():
        raise Damaged("time falls")
    if len(times) != count or (times[0], times[-1]) != (first_s, last_s):
        raise Damaged("holds other rows than it says")
    if len(set(samples.key_ids.tolist())) != len(samples.key_ids):
        raise Damaged("has a key twice")
    if readings > samples.values.size:
        raise Damaged("holds fewer readings than it says")
    if np.isinf(samples.values).any():
        raise Damaged("holds a value without end")
    return samples


def entries_of(cells: Sequence[Any]) -> list[Entry]:
    """The contents of a row of `entry_blocks`."""
    _, first_s, last_s, count, size, data = cells
    entries = unpack_entries(decompress(data, size), count)
    if not entries:
        raise Damaged("is an empty block")
    times = [entry.own_s for entry in entries]
    if not all(abs(time_s) <= MAX_TIME_S for time_s in times):
        raise Damaged("holds what is no time")
    if (min(times), max(times)) != (first_s, last_s):
        raise Damaged("holds other times than it says")
    return entries


def key_of(cells: Sequence[Any]) -> str:
    """The name of a row of `keys`."""
    name: str = cells[1]
    if len(name) > MAX_TEXT or clean(name) != name or not channel_of(name):
        raise Damaged("its name is no CHANNEL.QUANTITY")
    if not quantity_of(name) or cells[0] > MAX_KEY_ID:
        raise Damaged("its name is no CHANNEL.QUANTITY")
    return name


def event_of(cells: Sequence[Any]) -> Event:
    """The event of a row of `event_changes`, its texts clean."""
    if len(cells[13]) > TEXT_LIMITS["facts"]:
        raise Damaged("its event is too long")
    try:
        event = msgspec.msgpack.decode(cells[13], type=Event)
    except (msgspec.MsgspecError, ValueError, RecursionError, OverflowError):
        raise Damaged("does not hold an event") from None
    if event_cells(event) != tuple(cells[1:13]):
        raise Damaged("its columns are not those of its event")
    numbers = [each for each in event.facts.values() if not isinstance(each, str)]
    if not all(abs(each) < math.inf or math.isnan(each) for each in numbers):
        raise Damaged("holds a fact without end")
    return msgspec.structs.replace(
        event,
        channel=clean(event.channel),
        unit=clean(event.unit),
        text=clean(event.text, TEXT_LIMITS["text"]),
        tied_to=None if event.tied_to is None else clean(event.tied_to),
        facts=cleaned(event.facts),
    )


def event_cells(event: Event) -> tuple[Cell, ...]:
    """The columns of an event beside its data."""
    return (
        event.id,
        event.kind.value,
        event.channel,
        plain_number(event.start_s),
        plain_number(event.end_s),
        event.severity.value,
        event.count,
        plain_number(event.value),
        event.unit,
        event.tied_to,
        event.absorbed_by,
        event.text,
    )


def plain_number(value: float | None) -> float | None:
    """NaN as SQL's NULL, which is what SQLite makes of it; no negative zero."""
    return None if value is None or math.isnan(value) else float(value) + 0.0


def note_of(cells: Sequence[Any]) -> tuple[float, str, str, dict[str, Any]]:
    """Time, text, kind and facts of a row of `notes`."""
    _, time_s, kind, text, said = cells
    facts = json_of(said)
    if not isinstance(facts, dict):
        raise Damaged("its facts are no JSON object")
    return time_s or 0.0, clean(text, MAX_NESTED), clean(kind), cleaned(facts)


def chains_of(value: object) -> dict[str, Chain]:
    """Chain facts by channel."""
    try:
        chains = msgspec.convert(value, dict[str, Chain])
        for chain in chains.values():
            check_chain(chain)
    except (msgspec.ValidationError, ValueError, OverflowError) as error:
        raise Damaged(f"its chain facts are wrong: {clean(str(error))}") from None
    return {clean(name): chain for name, chain in chains.items()}


_Small = Annotated[int, msgspec.Meta(ge=0, le=MAX_ID)]
_Seal = dict[str, tuple[_Small, _Small, _Small]]
_FACTS: dict[str, Any] = {
    "title": str,
    "imported_from": str,
    "run_id": str,
    "continues": str,
    "versions": dict[str, Any],
    "profile": dict[str, Any],
    "series": dict[str, Any],
    "bundle": dict[str, Any],
    "cut": dict[str, Any],
    "repaired": dict[str, Any],
    "seal": _Seal,
    "seal_notes": _Seal,
    "carried": list[str],
    "columns": list[str],
    "started_wall_s": float,
    "ended_wall_s": float,
    "found_open_wall_s": float,
}
"""Facts whose form is known; others may hold any JSON."""


def fact_of(cells: Sequence[Any]) -> Any:
    """The value of a row of `about`."""
    name, said = cells
    value = json_of(said)
    if name == "chains":
        chains_of(value)
    elif name in _FACTS:
        try:
            msgspec.convert(value, _FACTS[name])
        except msgspec.ValidationError as error:
            raise Damaged(f"is not as a recording has it: {clean(str(error))}") from None
    if name.endswith("_wall_s") and not abs(value) <= MAX_TIME_S:
        raise Damaged("is no time")
    return cleaned(value)


def json_of(text: str) -> Any:
    """JSON of a file that may be a stranger's: not deep, its numbers as our writers make them."""
    try:
        value = msgspec.json.decode(text)
    except (msgspec.MsgspecError, ValueError, RecursionError, OverflowError):
        raise Damaged("does not hold JSON") from None
    _look_through(value)
    return value


def _look_through(value: Any) -> None:
    """Raise Damaged where JSON is too deep, or a number beyond what programs hold."""
    level = [value]
    for _ in range(MAX_DEPTH):
        below: list[Any] = []
        for each in level:
            if type(each) is dict:
                below.extend(each.values())
            elif type(each) is list:
                below.extend(each)
            elif type(each) is int and abs(each) >= 1 << 63:
                raise Damaged("holds a number that is too long")
        if not below:
            return
        level = below
    raise Damaged("holds JSON that is too deep")


CONTENTS: dict[str, Callable[[Sequence[Any]], Any]] = {
    "about": fact_of,
    "keys": key_of,
    "entry_blocks": entries_of,
    "sample_blocks": samples_of,
    "event_changes": event_of,
    "notes": note_of,
}
"""What a row of each table holds beside its cells; raises Damaged."""
