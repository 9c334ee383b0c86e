"""Verifying a recording row by row, and saving what is whole into a new one."""

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from recordings.bounds import KeyNames
from recordings.cells import CONTENTS, MAX_KEY_ID, row_of
from recordings.files import shown
from recordings.losses import MOST_GAPS, REPAIRED, Loss, joined, loss_facts, losses_of
from recordings.opening import open_recording
from recordings.packer import about_row
from recordings.packing import Damaged, Samples
from recordings.rollup import Rolled, RollUps
from recordings.rollupcheck import RollUpCheck
from recordings.schema import TABLES, UNREADABLE, StoredRow
from recordings.seal import SEALED, Seal, SealCheck, seal_of
from recordings.store import Store, StoreFailed
from recordings.walk import walk
from shared.errors import BadInput
from shared.placing import placed_path, refused
from shared.text import clean
from shared.updates import Batch

AT_ONCE = 500
MOST_FAULTS = 10_000
MOST_KEPT, MAX_LINE = 1000, 300
"""Faults that a repaired file lists, and how long each may be."""
ORDERED = {"entry_blocks", "sample_blocks", "event_changes", "roll_ups", "anchors"}
"""Tables whose ids rise by one, so that a gap is a loss."""


class Damage(NamedTuple):
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
    faults: list[Damage] = field(default_factory=list)
    lost: list[Loss] = field(default_factory=list)
    """Rows that are gone, whether that is damage now or was saved from earlier."""
    is_sealed: bool = False
    """Whether it says how many rows it has; an older recorder's does not."""

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
    if os.path.lexists(out):
        do = "name another file, or move it away"
        raise BadInput(shown(Path(out)), "there is a file of this name already", do)
    checker = _Checker(Path(path))
    report = checker.run(keep=True)
    about = [row for row in checker.kept if row.table == "about" and row.cells[0] != "run_id"]
    about = [row for row in about if row.cells[0] not in (REPAIRED, *SEALED)]
    faults = [str(fault)[:MAX_LINE] for fault in report.faults[:MOST_KEPT]]
    gaps = loss_facts(report.lost[:MOST_GAPS])
    about.append(about_row(REPAIRED, {"faults": faults, "gaps": gaps}))
    try:
        with placed_path(out, replaces=False) as part:
            store = Store(part, f"repaired-{Path(path).name[:100]}", about)
            try:
                rows = checker.saved_rows()
                while some := list(islice(rows, AT_ONCE)):
                    store.save(some, about)
            finally:
                store.finish()
    except StoreFailed as failed:
        raise BadInput(shown(Path(out)), str(failed), "check the disk") from None
    except FileExistsError:
        do = "name another file, or move it away"
        raise BadInput(shown(Path(out)), "there is a file of this name already", do) from None
    except OSError as error:
        raise refused(Path(out), error) from None
    return report


class _Checker:
    """One pass over a recording."""

    def __init__(self, path: Path) -> None:
        self._connection = open_recording(path, mend=True)
        self._report = Report(path)
        self._keys = KeyNames()
        self._lost_keys: set[int] = set()
        self.kept: list[StoredRow] = []
        self._roll_ups = RollUps()
        self._rolled = RollUpCheck()
        self._seals: dict[str, Seal] = {}
        self._last_s = -np.inf
        self._compare_from_s = -np.inf
        self._known: list[Loss] = []

    def run(self, keep: bool = False) -> Report:
        try:
            for table in TABLES:
                self._table(table, keep)
            self._roll_up(self._roll_ups.finish())
            if not any(fault.table in ("keys", "sample_blocks") for fault in self._report.faults):
                for what in self._rolled.differences(self._compare_from_s):
                    self._fault("roll_ups", None, what)
            self._check_structure()
            self._report.lost = joined([*self._known, *self._report.lost])
        finally:
            self._connection.close()
        return self._report

    def saved_rows(self) -> Iterator[StoredRow]:
        """All that is whole, in the order of ids; roll-ups are those of the samples."""
        keys = [row for row in self.kept if row.table == "keys"]
        keys += [StoredRow("keys", (each, self._keys.names[each])) for each in self._lost_keys]
        yield from sorted(keys, key=lambda row: int(str(row.cells[0])))
        yield from (row for row in self.kept if row.table not in ("about", "keys"))
        for number, figures in enumerate(self._rolled.wanted(), 1):
            yield StoredRow("roll_ups", (number, *figures))

    def _roll_up(self, stretches: Iterable[Rolled]) -> None:
        self._rolled.want(self._keys.numbers, stretches)

    def _fault(self, table: str, row: int | str | None, why: str) -> None:
        faults = self._report.faults
        if len(faults) < MOST_FAULTS:
            faults.append(Damage(table, row, why))
        elif len(faults) == MOST_FAULTS:
            faults.append(Damage("file", None, "more is wrong than is listed"))

    def _table(self, table: str, keep: bool) -> None:
        losses = _Losses(table, [loss for loss in self._known if loss.table == table])
        sealed = self._sealed(table)
        for number, row in walk(self._connection, table):
            if isinstance(row, str):
                self._fault(table, None, row)
                losses.cannot_read()
                continue
            sealed.row(number, row[-1] if type(row[-1]) is int else 0)
            for missing in losses.before(number):
                self._fault(table, None, f"ids {missing[0]} to {missing[1]} are missing")
            try:
                cells = row_of(table, row)
                self._look_into(table, cells)
            except Damaged as why:
                self._fault(table, clean(str(row[0])), str(why))
                losses.lose(number)
                continue
            losses.keep(number, cells)
            self._report.whole[table] += 1
            if keep and table != "roll_ups":
                self.kept.append(StoredRow(table, cells))
        if sealed.missing is not None:
            self._fault(table, None, "ids {} to {} are missing at the end".format(*sealed.missing))
            losses.lack(*sealed.missing)
        elif sealed.difference and not any(fault.table == table for fault in self._report.faults):
            self._fault(table, None, sealed.difference)
        self._report.lost += losses.end()

    def _sealed(self, table: str) -> SealCheck:
        """How the table was left by its recorder, and by those who added notes."""
        seal = self._seals.get(SEALED[table == "notes"])
        return SealCheck(None if seal is None else seal.of(table))

    def _look_into(self, table: str, cells: Sequence[Any]) -> None:
        """Raise Damaged for a row whose CRC holds but whose contents do not."""
        content: Any = CONTENTS[table](cells) if table in CONTENTS else None
        if table == "about":
            self._fact(cells[0], content)
        elif table == "keys":
            self._keys.add(cells[0], content)
        elif table == "roll_ups":
            self._rolled.have(cells)
        elif table == "sample_blocks":
            self._samples(cells, content)

    def _fact(self, name: str, value: Any) -> None:
        self._report.is_closed |= name in ("ended_wall_s", REPAIRED)
        if name == REPAIRED:
            self._known = list(losses_of({REPAIRED: value}))
        elif name in SEALED:
            self._report.is_sealed = True
            self._seals[name] = seal_of(value)

    def _samples(self, cells: Sequence[Any], samples: Samples) -> None:
        times = samples.time_s
        if times[0] < self._last_s:
            raise Damaged("time falls")
        if self._last_s == -np.inf and cells[0] > 1:
            # The file was begun anew in mid-run: its first stretch began in another file.
            self._compare_from_s = float(times[0])
        self._last_s = float(times[-1])
        self._roll_up(self._roll_ups.add(self._named(samples)))

    def _named(self, samples: Samples) -> Batch:
        """A block's numbers by key; a key whose row is lost gets a name of its own."""
        used = [*samples.key_ids.tolist(), *dict.fromkeys(number for number, *_ in samples.texts)]
        if any(not 1 <= number <= MAX_KEY_ID for number in used):
            raise Damaged("names a key by no number")
        names = self._keys.names
        for number in used:
            if number not in names:
                self._keys.add_lost(number)
                self._lost_keys.add(number)
                self._fault("keys", number, "is missing, though samples name it")
        columns = zip(samples.key_ids.tolist(), samples.values, strict=True)
        return Batch(samples.time_s, {names[number]: column for number, column in columns})

    def _check_structure(self) -> None:
        try:
            open_recording(self._report.path).close()
        except BadInput as bad:
            self._fault("file", None, bad.what)
        try:
            found = self._connection.execute("PRAGMA quick_check(5)").fetchall()
        except UNREADABLE as error:
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

    def lack(self, first: int, last: int) -> None:
        """Rows that are missing at the end."""
        self._open = self._open or first
        self._before = last

    def _add(self, loss: Loss) -> None:
        self._found.append(loss)
        self._open = None
