"""What a repaired recording has lost: a list of gaps, kept as a fact of the file.

Rows keep the ids they had, so that what is missing stays visible; a gap that is on the list
is known and no damage.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from recordings.schema import TABLES
from shared.when import spelt, tenths

REPAIRED = "repaired"
"""Fact of a repaired recording: `faults`, lines, and `gaps`, each as `Loss` has it."""
LONGEST_SILENCE_S = 30.0
"""After a longer gap a watch begins anew: what it learned before may hold no more."""
MOST_GAPS = 10_000
"""More are not read from a file, which may be a stranger's."""


class Loss(NamedTuple):
    """Rows of a table that are gone, from id `first` to `last` (None: to the end).

    Between `from_s` and `to_s` (log time of samples, own time of entries; None where there is
    no neighbour to tell, and in other tables) nothing is known.
    """

    table: str
    first: int
    last: int | None
    from_s: float | None = None
    to_s: float | None = None

    def __str__(self) -> str:
        rows = f"{self.table} {self.first}"
        if self.last is None:
            rows += " and later"
        elif self.last > self.first:
            rows += f" to {self.last}"
        return f"{rows}{_when(self)}"


def losses_of(meta: Mapping[str, Any]) -> tuple[Loss, ...]:
    """Losses that a recording's facts name; what is not well formed is left out."""
    fact = meta.get(REPAIRED)
    said = fact.get("gaps") if isinstance(fact, dict) else None
    found = (_loss(each) for each in (said[:MOST_GAPS] if isinstance(said, list) else ()))
    return tuple(loss for loss in found if loss is not None)


def loss_facts(losses: Iterable[Loss]) -> list[dict[str, object]]:
    """Losses as JSON can hold them."""
    return [loss._asdict() for loss in losses]


def joined(losses: Iterable[Loss]) -> list[Loss]:
    """Losses in order, those of neighbouring ids made one; times of the whole gap."""
    found: list[Loss] = []
    for loss in sorted(losses, key=lambda each: (each.table, each.first)):
        before = found[-1] if found else None
        if before is None or not _touch(before, loss):
            found.append(loss)
            continue
        is_later = before.last is not None and (loss.last is None or loss.last > before.last)
        found[-1] = before._replace(
            last=loss.last if is_later else before.last,
            to_s=loss.to_s if is_later else before.to_s,
        )
    return found


def restarts(losses: Sequence[Loss]) -> list[float]:
    """Log times after gaps in the samples that are too long to judge across."""
    return [
        loss.to_s
        for loss in losses
        if loss.table == "sample_blocks"
        and loss.from_s is not None
        and loss.to_s is not None
        and loss.to_s - loss.from_s > LONGEST_SILENCE_S
    ]


def loss_lines(meta: Mapping[str, Any]) -> tuple[str, ...]:
    """What a reader of the samples must know, a line for each gap in them."""
    return tuple(
        f"the recording was repaired: samples are missing{_when(loss)}"
        for loss in losses_of(meta)
        if loss.table == "sample_blocks"
    )


def _when(loss: Loss) -> str:
    start_s, end_s = loss.from_s, loss.to_s
    if loss.table not in ("sample_blocks", "entry_blocks"):
        return ""
    if start_s is None or end_s is None:
        if start_s is not None:
            return f", after {tenths(start_s)}"
        return f", before {tenths(end_s)}" if end_s is not None else ""
    return f", {tenths(start_s)} to {tenths(end_s)} ({spelt(end_s - start_s)})"


def _touch(before: Loss, loss: Loss) -> bool:
    is_near = before.last is None or loss.first <= before.last + 1
    return before.table == loss.table and is_near


def _loss(said: object) -> Loss | None:
    if not isinstance(said, dict) or said.get("table") not in tuple(TABLES):
        return None
    first, last = said.get("first"), said.get("last")
    if type(first) is not int or not (last is None or type(last) is int):
        return None
    return Loss(said["table"], first, last, _time(said.get("from_s")), _time(said.get("to_s")))


def _time(said: object) -> float | None:
    return float(said) if type(said) in (int, float) and math.isfinite(said) else None  # type: ignore[arg-type]
