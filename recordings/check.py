"""Verifying a recording row by row, and saving what is whole into a new one."""

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
import numpy as np

from recordings.files import shown
from recordings.losses import REPAIRED, Loss, joined, loss_facts, losses_of
from recordings.opening import open_recording
from recordings.packer import about_row
from recordings.packing import Damaged, Samples, decompress, unpack_entries, unpack_samples
from recordings.rollup import RollUps, Stretch
from recordings.schema import TABLES, Row, crc_of
from recordings.store import Store, StoreFailed
from shared.errors import BadInput
from shared.text import clean
from shared.updates import Batch

SKIPS = 256
"""Ids that are tried one by one beyond a page that cannot be read; then the steps double."""
AT_ONCE = 500
ORDERED = {"entry_blocks", "sample_blocks", "event_changes", "roll_ups", "anchors"}
"""Tables whose ids rise by one, so that a gap is a loss."""


class Fault(NamedTuple):
    """One thing that is wrong: `row` is the row's id or name, None for the table or the file."""

    table: str
    row: int | str | None
    why: str

    def __str__(self) -> str:
        place = self.table if self.row is None else f"{self.table} {self.row}"
        return f"{place}: {self.why}"


@dataclass(slots=True)
class Report:
    """What `verify` found. `whole` counts good rows by table."""

    path: Path
    is_closed: bool = False
    """Whether the recorder closed it; one that was killed, or still runs, has not."""
    whole: dict[str, int] = field(default_factory=lambda: dict.fromkeys(TABLES, 0))
    faults: list[Fault] = field(default_factory=list)
    lost: list[Loss] = field(default_factory=list)
    """Rows that are gone, whether that is damage now or was saved from earlier."""

    @property
    def is_whole(self) -> bool:
        return not self.faults


def verify(path: str | Path) -> Report:
    """Check every row: CRC, unpacking, counts, order, and roll-ups against the samples.

    Raises BadInput for what is no recording, or so damaged that its tables cannot be found.
    """
    return _Checker(Path(path)).run()


def repair(path: str | Path, out: str | Path) -> Report:
    """Save every whole row into a new recording at `out`, roll-ups made anew.

    Rows keep their ids; the new file's fact `repaired` lists what is gone, so that it checks
    clean. Returns what was found in `path`. Raises BadInput as `verify` does, and when `out`
    exists or cannot be written.
    """
    checker = _Checker(Path(path))
    report = checker.run(keep=True)
    about = [row for row in checker.kept if row.table == "about" and row.cells[0] != "run_id"]
    about = [row for row in about if row.cells[0] != REPAIRED]
    faults = [str(fault) for fault in report.faults[:1000]]
    about.append(about_row(REPAIRED, {"faults": faults, "gaps": loss_facts(report.lost)}))
    store = Store(Path(out), f"repaired-{Path(path).name}", about)
    rows = [row for row in checker.kept if row.table not in ("about", "roll_ups")]
    rows += [Row("keys", (number, name)) for number, name in checker.lost_keys.items()]
    rows += checker.roll_up_rows()
    try:
        for start in range(0, len(rows), AT_ONCE):
            store.save(rows[start : start + AT_ONCE], about)
    except StoreFailed as failed:
        raise BadInput(shown(Path(out)), str(failed), "check the disk") from None
    finally:
        store.finish()
    return report


class _Checker:
    """One pass over a recording."""

    def __init__(self, path: Path) -> None:
        self._connection = open_recording(path, mend=True)
        self._report = Report(path)
        self._keys: dict[int, str] = {}
        self.lost_keys: dict[int, str] = {}
        self.kept: list[Row] = []
        self._roll_ups = RollUps()
        self._stretches: list[Stretch] = []
        self._stored: list[tuple[Any, ...]] = []
        self._last_s = -np.inf
        self._compare_from_s = -np.inf
        self._known: list[Loss] = []

    def run(self, keep: bool = False) -> Report:
        try:
            for table in TABLES:
                self._table(table, keep)
            self._stretches += self._roll_ups.finish()
            if not any(fault.table in ("keys", "sample_blocks") for fault in self._report.faults):
                self._compare_roll_ups()
            self._check_structure()
            self._report.lost = joined([*self._known, *self._report.lost])
        finally:
            self._connection.close()
        return self._report

    def roll_up_rows(self) -> list[Row]:
        """Roll-ups of the samples that are whole."""
        ids = {name: number for number, name in (self._keys | self.lost_keys).items()}
        return [
            Row("roll_ups", (number, each.start_s, ids[each.key], *_figures(each)))
            for number, each in enumerate(self._stretches, 1)
        ]

    def _fault(self, table: str, row: int | str | None, why: str) -> None:
        self._report.faults.append(Fault(table, row, why))

    def _table(self, table: str, keep: bool) -> None:
        losses = _Losses(table, [loss for loss in self._known if loss.table == table])
        for number, row in _walk(self._connection, table):
            if isinstance(row, str):
                self._fault(table, None, row)
                losses.cannot_read()
                continue
            for missing in losses.before(number):
                self._fault(table, None, f"ids {missing[0]} to {missing[1]} are missing")
            *cells, crc = row
            try:
                if len(row) != len(TABLES[table].split(", ")) or crc_of(cells) != crc:
                    raise Damaged("its CRC does not hold")
                self._look_into(table, cells)
            except Damaged as why:
                self._fault(table, clean(str(cells[0])), str(why))
                losses.lose(number)
                continue
            losses.keep(number, cells)
            self._report.whole[table] += 1
            if keep:
                self.kept.append(Row(table, tuple(cells)))
        self._report.lost += losses.end()

    def _look_into(self, table: str, cells: list[Any]) -> None:
        """Raise Damaged for a row whose CRC holds but whose contents do not."""
        if table == "about":
            self._report.is_closed |= cells[0] in ("ended_wall_s", REPAIRED)
            if cells[0] == REPAIRED:
                self._known = list(losses_of({REPAIRED: _json(cells[1])}))
        elif table == "keys":
            self._keys[cells[0]] = cells[1]
        elif table == "roll_ups":
            self._stored.append(tuple(cells[1:]))
        elif table == "entry_blocks":
            if len(unpack_entries(decompress(cells[5], cells[4]))) != cells[3]:
                raise Damaged("holds another number of entries")
        elif table == "sample_blocks":
            self._samples(cells)

    def _samples(self, cells: list[Any]) -> None:
        samples = unpack_samples(decompress(cells[6], cells[5]))
        times = samples.time_s
        if len(times) != cells[3] or (times[0], times[-1]) != (cells[1], cells[2]):
            raise Damaged("holds other rows than it says")
        if times[0] < self._last_s or (np.diff(times) < 0.0).any():
            raise Damaged("time falls")
        if self._last_s == -np.inf and cells[0] > 1:
            # The file was begun anew in mid-run: its first stretch began in another file.
            self._compare_from_s = float(times[0])
        self._last_s = float(times[-1])
        self._stretches += self._roll_ups.add(self._named(samples))

    def _named(self, samples: Samples) -> Batch:
        """A block's numbers by key; a key whose row is lost gets a name of its own."""
        numbers = {}
        for number, column in zip(samples.key_ids.tolist(), samples.values, strict=True):
            if number not in self._keys and number not in self.lost_keys:
                self._fault("keys", number, "is missing, though samples name it")
                self.lost_keys[number] = f"lost-{number}.unknown"
            numbers[self._keys.get(number) or self.lost_keys[number]] = column
        return Batch(samples.time_s, numbers)

    def _compare_roll_ups(self) -> None:
        """Roll-ups must be those of the samples; the newest stretches may still be open."""
        ids = {name: number for number, name in self._keys.items()}
        wanted = {(each.start_s, ids[each.key]): _figures(each) for each in self._stretches}
        for start_s, key_id, *figures in self._stored:
            found = wanted.pop((start_s, key_id), None)
            if start_s < self._compare_from_s:
                continue
            if found is None or not _agree(found, figures):
                what = f"key {key_id} at {start_s:g} s is not that of the samples"
                self._fault("roll_ups", None, what)
        newest_s = max((row[0] for row in self._stored), default=-np.inf)
        for start_s, key_id in wanted:
            if start_s <= newest_s:
                self._fault("roll_ups", None, f"key {key_id} at {start_s:g} s is missing")

    def _check_structure(self) -> None:
        try:
            open_recording(self._report.path).close()
        except BadInput as bad:
            self._fault("file", None, bad.what)
        try:
            found = self._connection.execute("PRAGMA quick_check(5)").fetchall()
        except sqlite3.Error as error:
            found = [(str(error),)]
        for (line,) in found:
            if line != "ok":
                self._fault("file", None, clean(line))


class _Losses:
    """Which ids of one table are gone, as its rows pass by."""

    def __init__(self, table: str, known: Sequence[Loss]) -> None:
        self._table = table
        self._is_ordered = table in ORDERED
        self._known = known
        self._found: list[Loss] = []
        self._open: int | None = None
        """First id that is gone, of a gap that has not ended yet."""
        self._before: int | None = None
        self._end_s: float | None = None
        self._is_unread = False

    def before(self, number: int) -> Iterator[tuple[int, int]]:
        """The gap before a row, if it is damage: not known, nor said to be unreadable."""
        first = 1 if self._before is None else self._before + 1
        if self._is_ordered and number > first and (self._before is not None or self._is_unread):
            self._open = self._open or first
            is_known = any(
                known.first <= first and (known.last or first) >= number - 1
                for known in self._known
            )
            if not is_known and not self._is_unread:
                yield first, number - 1
        self._is_unread = False
        self._before = number

    def lose(self, number: int) -> None:
        """A row that is damaged."""
        self._open = self._open or number

    def cannot_read(self) -> None:
        self._is_unread = True

    def keep(self, number: int, cells: Sequence[Any]) -> None:
        """A row that is whole ends a gap."""
        has_times = self._table in ("sample_blocks", "entry_blocks")
        if self._open is not None:
            start_s = cells[1] if has_times else None
            self._add(Loss(self._table, self._open, number - 1, self._end_s, start_s))
        self._end_s = cells[2] if has_times else None

    def end(self) -> list[Loss]:
        """Every gap that was found; roll-ups are made anew, so that they have none."""
        if self._is_unread:
            self._open = self._open or (self._before or 0) + 1
            self._add(Loss(self._table, self._open, None, self._end_s))
        elif self._open is not None:
            self._add(Loss(self._table, self._open, self._before, self._end_s))
        return [] if self._table == "roll_ups" else self._found

    def _add(self, loss: Loss) -> None:
        self._found.append(loss)
        self._open = None


def _json(text: Any) -> object:
    try:
        return msgspec.json.decode(text)
    except (msgspec.MsgspecError, ValueError, RecursionError, TypeError):
        raise Damaged("does not hold JSON") from None


def _walk(
    connection: sqlite3.Connection, table: str
) -> Iterator[tuple[int, tuple[Any, ...] | str]]:
    """Rows of a table with their rowids, in order; for what cannot be read, a line instead."""
    statement = f"SELECT rowid, * FROM {table} WHERE rowid > ? ORDER BY rowid LIMIT 1"
    after = 0
    while True:
        try:
            found = _following(connection, statement, after)
        except sqlite3.Error as error:
            yield after, f"cannot be read after id {after}: {clean(str(error))}"
            found = _next_readable(connection, statement, after)
        if found is None:
            return
        after = found[0]
        yield after, tuple(found[1:])


def _following(connection: sqlite3.Connection, statement: str, after: int) -> Any:
    """The row after an id, None at the end; in a damaged tree it may be an earlier one."""
    found = connection.execute(statement, (after,)).fetchone()
    if found is not None and found[0] <= after:
        raise sqlite3.DatabaseError("ids are out of order")
    return found


def _next_readable(connection: sqlite3.Connection, statement: str, after: int) -> Any:
    """First row beyond a damaged page."""
    for skip in _skips():
        try:
            return _following(connection, statement, after + skip)
        except sqlite3.Error:
            continue
    return None


def _skips() -> Iterable[int]:
    yield from range(1, SKIPS)
    yield from (SKIPS << power for power in range(1, 32))


def _figures(stretch: Stretch) -> tuple[float, float, float, int]:
    return stretch.low, stretch.mean, stretch.high, stretch.count


def _agree(found: tuple[float, float, float, int], stored: list[Any]) -> bool:
    """Low, high and count exactly; the mean but for rounding, as sums were taken otherwise."""
    low, mean, high, count = stored
    scale = max(abs(found[0]), abs(found[2]))
    same_mean = mean is not None and abs(found[1] - mean) <= 1e-9 * scale
    return (found[0], found[2], found[3]) == (low, high, count) and (same_mean or not scale)
