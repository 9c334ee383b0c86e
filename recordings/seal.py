"""How many rows a recording has, and a running sum over them: its seal.

A block that is missing at the end leaves no gap in the ids; a block that an older copy put in
the place of a newer one has a CRC that holds. Each table's newest id, its number of rows, and the
CRC-32 over its rows' CRCs in order stand among the facts: those of notes with every note,
whoever writes it, all others with each close, event and minute.
"""

import zlib
from collections.abc import Mapping, Sequence
from typing import NamedTuple

SEALED = ("seal", "seal_notes")
"""Facts: all tables but notes, and notes, which other programs add as well."""
OF_TABLES = frozenset(
    {"keys", "entry_blocks", "sample_blocks", "roll_ups", "event_changes", "anchors"}
)


class Sealed(NamedTuple):
    """One table up to its row `last`."""

    last: int = 0
    rows: int = 0
    chain: int = 0

    def and_row(self, number: int, crc: int) -> "Sealed":
        return Sealed(number, self.rows + 1, zlib.crc32(b"%d," % crc, self.chain))


class Seal:
    """The tables of one recording, row by row in order."""

    def __init__(self, tables: Mapping[str, Sealed] | None = None) -> None:
        self._tables = dict(tables or {})

    def of(self, table: str) -> Sealed | None:
        return self._tables.get(table)

    def take(self, table: str, number: int, crc: int) -> None:
        """A row that follows; one that has been taken is not taken again."""
        before = self._tables.get(table, Sealed())
        if number > before.last:
            self._tables[table] = before.and_row(number, crc)

    def copy(self) -> "Seal":
        return Seal(self._tables)

    def fact(self) -> dict[str, Sealed]:
        """The seal as JSON can hold it."""
        return dict(self._tables)


def seal_of(fact: Mapping[str, Sequence[int]]) -> Seal:
    """The seal that a fact of the form above tells."""
    return Seal({table: Sealed(*numbers) for table, numbers in fact.items()})


class SealCheck:
    """Follows the rows of one table up to where it was sealed last."""

    def __init__(self, sealed: Sealed | None) -> None:
        self._sealed = sealed
        self._found = Sealed()
        self._newest = 0

    def row(self, number: int, crc: int) -> None:
        """A row that is there."""
        self._newest = max(self._newest, number)
        if self._sealed is not None and number <= self._sealed.last:
            self._found = self._found.and_row(number, crc)

    @property
    def missing(self) -> tuple[int, int] | None:
        """First and last id of what is missing at the end."""
        if self._sealed is None or self._newest >= self._sealed.last:
            return None
        return self._newest + 1, self._sealed.last

    @property
    def difference(self) -> str:
        """What else is not as it was sealed; empty where nothing is."""
        if self._sealed is None or self._found == self._sealed:
            return ""
        lacking = self._sealed.rows - self._found.rows
        if lacking > 0:
            return f"{lacking} of {self._sealed.rows} rows up to {self._sealed.last} are missing"
        return f"rows up to {self._sealed.last} are not those that were recorded"
