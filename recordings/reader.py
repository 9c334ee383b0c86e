"""Reading a recording, also while it is being written, also one from a stranger.

Transactions are short: some blocks are fetched, then the connection is idle, so that the
writer's log can be emptied. Order is that of ids. Every row's CRC is checked.
"""

from array import array
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from recordings.bounds import HELD_BYTES, KeyNames
from recordings.cells import CONTENTS, MAX_TIME_S, chains_of, row_of
from recordings.files import shown
from recordings.losses import REPAIRED
from recordings.opening import open_recording
from recordings.packing import Damaged, Samples
from recordings.rollup import RollUps
from recordings.samples import sensor_channels
from recordings.schema import ROLL_UP_S, UNREADABLE, Cell
from shared.chain import Chain
from shared.errors import BadInput
from shared.events import Event
from shared.notes import Note
from shared.secrets import public_meta
from shared.text import clean
from shared.updates import Batch, Entry, Floats
from shared.words import QUANTITIES, quantity_of

FETCH = 256
"""Rows fetched in one transaction."""


class RollUp(msgspec.Struct, frozen=True):
    """One key in stretches of 10 s; arrays of shape (n,). Stretches without a value are absent."""

    start_s: Floats
    low: Floats
    mean: Floats
    high: Floats
    count: Floats

    def moved(self, by_s: float) -> "RollUp":
        """The same at other times."""
        return RollUp(self.start_s + by_s, self.low, self.mean, self.high, self.count)

    @staticmethod
    def of(pieces: Sequence["RollUp"]) -> "RollUp":
        """Pieces one after another."""
        columns = zip(*map(msgspec.structs.astuple, pieces), strict=True)
        return RollUp(*map(np.concatenate, columns))


class Recording:
    """A recording on disk. Use from one thread at a time; raises BadInput for all that is wrong."""

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self._connection = open_recording(self.path)
        self._keys = KeyNames()
        self._names = self._keys.names
        self._fresh_after = 0
        try:
            self.meta: Mapping[str, Any] = self._read_meta()
            self.chains: Mapping[str, Chain] = self._read_chains()
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        self._connection.close()

    @property
    def keys(self) -> tuple[str, ...]:
        """Every CHANNEL.QUANTITY, in order of appearance."""
        self._read_keys()
        return tuple(self._names.values())

    @property
    def channels(self) -> tuple[str, ...]:
        """Channels with a sensor's reading, in order of appearance."""
        return sensor_channels(self.keys)

    @property
    def unknown(self) -> tuple[str, ...]:
        """Keys whose quantity the contract does not list."""
        return tuple(key for key in self.keys if quantity_of(key) not in QUANTITIES)

    @property
    def first_s(self) -> float | None:
        """Log time of the first update; None before there is one."""
        return self._end("SELECT first_s FROM sample_blocks ORDER BY id LIMIT 1")

    @property
    def last_s(self) -> float | None:
        """Log time of the newest update on disk."""
        return self._end("SELECT last_s FROM sample_blocks ORDER BY id DESC LIMIT 1")

    @property
    def is_closed(self) -> bool:
        """Whether its writer has closed it, as of now, or it is what was saved of one."""
        names = f"'ended_wall_s', '{REPAIRED}'"
        return bool(self._query(f"SELECT 1 FROM about WHERE name IN ({names})"))

    @property
    def duration_s(self) -> float:
        """Last time less first time."""
        return (self.last_s or 0.0) - (self.first_s or 0.0)

    @property
    def samples(self) -> int:
        """Number of sensor readings: temperatures, codes and resistances."""
        total = self._query("SELECT total(readings) FROM sample_blocks")[0][0]
        return int(total)

    def entries(self) -> Iterator[Entry]:
        """Every entry as it came, in order."""
        for cells in self._rows("entry_blocks"):
            yield from self._content("entry_blocks", cells)

    def batches(
        self, rows: int = 16_384, start_s: float = -np.inf, end_s: float = np.inf
    ) -> Iterator[Batch]:
        """Updates as detectors saw them, in order, in batches of about `rows` rows.

        With `start_s` or `end_s`: the blocks that touch that stretch, uncut.
        """
        after = 0 if start_s == -np.inf else self._block_before(start_s)
        for _, batch in self._joined(after, rows, end_s):
            yield batch

    def fresh(self, rows: int = 4096) -> Iterator[Batch]:
        """Batches that earlier calls have not given; call again to follow a live recording."""
        for last, batch in self._joined(self._fresh_after, rows, np.inf):
            self._fresh_after = last
            yield batch

    def events(self) -> list[Event]:
        """Every event as it last stood, in order of its id."""
        newest = {event.id: event for event in self.event_changes()}
        return [newest[number] for number in sorted(newest)]

    def event_changes(self) -> Iterator[Event]:
        """Events' lives: each change as it was recorded, in order."""
        for cells in self._rows("event_changes"):
            yield self._content("event_changes", cells)

    @property
    def notes(self) -> tuple[Note, ...]:
        """Notes in the order in which they were written."""
        return tuple(Note(*self._content("notes", cells)) for cells in self._rows("notes"))

    def anchors(self) -> list[tuple[float, float, float | None]]:
        """Clock anchors: own time, wall clock (Unix), log time where known, s."""
        return [(row[1], row[2], row[3]) for row in self._rows("anchors")]

    def rollup(self, key: str) -> RollUp:
        """A key's roll-up; stretches that the writer had not closed come from the samples."""
        return self._rolled_up(key).get(key, RollUp(*np.empty((5, 0))))

    def rollups(self) -> dict[str, RollUp]:
        """Every key's roll-up in one pass: the whole recording at a glance."""
        return self._rolled_up()

    def _rolled_up(self, key: str | None = None) -> dict[str, RollUp]:
        self._read_keys()
        ids = {name: number for number, name in self._names.items()}
        rows: dict[str, array[float]] = {}
        more = "" if key is None else f"AND key_id = {ids.get(key, 0)}"
        for cells in self._rows("roll_ups", more):
            if None in cells:
                cells = tuple(np.nan if cell is None else cell for cell in cells)
            rows.setdefault(self._name(cells[2]), array("d")).extend((cells[1], *cells[3:]))
        newest_s = self._end("SELECT start_s FROM roll_ups ORDER BY id DESC LIMIT 1")
        after_s = -np.inf if newest_s is None else newest_s + ROLL_UP_S
        open_ones = RollUps()
        stretches = []
        for batch in self.batches(start_s=after_s):
            inside = int(np.searchsorted(batch.time_s, after_s))
            stretches += open_ones.add(batch.cut(inside, len(batch)))
        for stretch in stretches + open_ones.finish():
            if key in (None, stretch.key):
                rows.setdefault(stretch.key, array("d")).extend(_cells(stretch))
        return {name: RollUp(*np.array(found).reshape(-1, 5).T) for name, found in rows.items()}

    # -- rows --

    def _query(self, statement: str, *values: Cell) -> list[tuple[Any, ...]]:
        """Rows of one short transaction."""
        try:
            return self._connection.execute(statement, values).fetchall()
        except UNREADABLE as error:
            raise self._bad(f"cannot be read: {clean(str(error))}") from None

    def _rows(self, table: str, more: str = "", after: int = 0) -> Iterator[tuple[Any, ...]]:
        """Rows of a table by id, without their CRC, which is checked."""
        statement = f"SELECT * FROM {table} WHERE id > ? {more} ORDER BY id LIMIT {FETCH}"
        while rows := self._query(statement, after):
            for row in rows:
                cells = self._cells(table, row)
                if cells[0] <= after:
                    raise self._damaged(table, cells[0], "ids are out of order")
                after = cells[0]
                yield cells

    def _cells(self, table: str, row: tuple[Any, ...]) -> tuple[Any, ...]:
        try:
            return row_of(table, row)
        except Damaged as why:
            raise self._damaged(table, row[0], str(why)) from None

    def _content(self, table: str, cells: tuple[Any, ...]) -> Any:
        try:
            return CONTENTS[table](cells)
        except Damaged as why:
            raise self._damaged(table, cells[0], str(why)) from None

    def _blocks(self, after: int, end_s: float) -> Iterator[tuple[int, Samples]]:
        last_s = -np.inf
        for cells in self._rows("sample_blocks", "", after):
            number, first_s, *_ = cells
            if first_s > end_s:
                return
            if first_s < last_s:
                raise self._damaged("sample_blocks", number, "time falls")
            last_s = cells[2]
            yield number, self._content("sample_blocks", cells)

    def _joined(self, after: int, rows: int, end_s: float) -> Iterator[tuple[int, Batch]]:
        """Blocks joined to batches, each with the id of its last block."""
        held: list[Samples] = []
        keys: set[int] = set()
        size = texts = last = 0
        for number, samples in self._blocks(after, end_s):
            more = keys.union(samples.key_ids.tolist())
            size, texts = size + len(samples.time_s), texts + len(samples.texts)
            if held and 8 * size * (len(more) + 1) + 64 * texts > HELD_BYTES:
                yield last, self._join(held)
                held, more = [], set(samples.key_ids.tolist())
                size, texts = len(samples.time_s), len(samples.texts)
            held.append(samples)
            keys, last = more, number
            if size >= rows:
                yield last, self._join(held)
                held, keys, size, texts = [], set(), 0, 0
        if held:
            yield last, self._join(held)

    def _join(self, blocks: Sequence[Samples]) -> Batch:
        size = sum(len(block.time_s) for block in blocks)
        time_s = np.empty(size)
        columns: dict[int, Floats] = {}
        texts: dict[str, list[tuple[int, str]]] = {}
        row = 0
        for block in blocks:
            end = row + len(block.time_s)
            time_s[row:end] = block.time_s
            for number, values in zip(block.key_ids.tolist(), block.values, strict=True):
                column = columns.get(number)
                if column is None:
                    column = columns[number] = np.full(size, np.nan)
                column[row:end] = values
            for number, at, text in block.texts:
                texts.setdefault(self._name(number), []).append((row + at, clean(text)))
            row = end
        return Batch(time_s, {self._name(number): columns[number] for number in columns}, texts)

    def _name(self, number: int) -> str:
        if number not in self._names:
            self._read_keys()
        if number not in self._names:
            raise self._bad(f"names no key {number}")
        return self._names[number]

    def _read_keys(self) -> None:
        after = max(self._names, default=0)
        for cells in self._rows("keys", "", after):
            try:
                self._keys.add(cells[0], self._content("keys", cells))
            except Damaged as why:
                raise self._damaged("keys", cells[0], str(why)) from None

    def _block_before(self, time_s: float) -> int:
        """Id before the first block that reaches `time_s`, by bisection: times do not fall."""
        ends = self._query("SELECT min(id), max(id) FROM sample_blocks")[0]
        if ends[0] is None:
            return 0
        low, high = ends
        while low < high:
            middle = (low + high) // 2
            found = self._query(
                "SELECT id, last_s FROM sample_blocks WHERE id >= ? ORDER BY id LIMIT 1", middle
            )[0]
            if self._time(found[1]) < time_s:
                low = found[0] + 1
            else:
                high = middle
        return int(low) - 1

    def _end(self, statement: str) -> float | None:
        rows = self._query(statement)
        return self._time(rows[0][0]) if rows else None

    def _time(self, cell: object) -> float:
        """A time that is read without its row."""
        if type(cell) is not float or not abs(cell) <= MAX_TIME_S:
            raise self._bad("damaged: a block's time is no time")
        return cell

    # -- meta --

    def _read_meta(self) -> dict[str, Any]:
        meta = {}
        for row in self._query("SELECT * FROM about"):
            cells = self._cells("about", row)
            meta[clean(cells[0])] = self._content("about", cells)
        return public_meta(meta)

    def _read_chains(self) -> dict[str, Chain]:
        try:
            return chains_of(self.meta.get("chains", {}))
        except Damaged as why:
            raise self._damaged("about", "chains", str(why)) from None

    def _damaged(self, table: str, number: object, why: str) -> BadInput:
        return self._bad(f"damaged: {table} {clean(str(number))}: {why}")

    def _bad(self, what: str) -> BadInput:
        do = f"save the rest with `ohmvigil check {shown(self.path)} --repair NEW`"
        return BadInput(shown(self.path), what, do)


def _cells(stretch: Any) -> tuple[float, ...]:
    return (stretch.start_s, stretch.low, stretch.mean, stretch.high, stretch.count)
