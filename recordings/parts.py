"""Where each of several recordings lies in one log time: the files of runs, in order."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from recordings.cut import starts_of
from recordings.files import shown
from recordings.folder import CUT
from recordings.losses import REPAIRED, loss_facts, losses_of
from recordings.reader import Recording
from shared.errors import BadInput

OVERLAP_S = 1.0
"""How much two runs may overlap before they were written at once: clocks are set meanwhile."""


@dataclass(frozen=True, slots=True)
class Part:
    """One file among several; `offset_s` takes its log time to the one of all."""

    recording: Recording
    series: str
    number: int
    """Which file of its run it is, from 1."""
    wall_less_log_s: float | None
    offset_s: float = 0.0
    goes_on: bool = False
    """Whether it follows the file before it without a gap."""

    @property
    def first_s(self) -> float:
        return (self.recording.first_s or 0.0) + self.offset_s

    @property
    def last_s(self) -> float:
        return (self.recording.last_s or 0.0) + self.offset_s


def part_of(recording: Recording) -> Part:
    series = recording.meta.get("series")
    facts = series if isinstance(series, dict) else {}
    name, number = facts.get("id"), facts.get("part")
    # The newest anchor: a small computer's clock is set some time after it starts.
    times = [(wall_s, time_s) for _, wall_s, time_s in recording.anchors() if time_s is not None]
    return Part(
        recording=recording,
        series=name if isinstance(name, str) else str(recording.path.absolute()),
        number=number if type(number) is int else 1,
        wall_less_log_s=times[-1][0] - times[-1][1] if times else None,
    )


def in_order(parts: Sequence[Part]) -> list[Part]:
    """Files in order, with their offsets. Raises BadInput where they overlap."""
    runs: dict[str, list[Part]] = {}
    for part in parts:
        runs.setdefault(part.series, []).append(part)
    for run in runs.values():
        run.sort(key=lambda part: (part.number, part.first_s))
    zeros = {series: _zero_of(run) for series, run in runs.items()}
    known = [zero for zero in zeros.values() if zero is not None]
    has_clock = len(known) == len(zeros)

    def offset(series: str) -> float:
        zero = zeros[series]
        return zero if has_clock and zero is not None else 0.0

    ordered = sorted(runs.values(), key=lambda run: run[0].first_s + offset(run[0].series))
    base_s = offset(ordered[0][0].series)
    placed: list[Part] = []
    for run in ordered:
        for part in run:
            before = placed[-1] if placed else None
            moved = put(part, offset(part.series) - base_s, before)
            if before is not None and moved.first_s < before.last_s - OVERLAP_S:
                what = f"was recorded at the same time as {shown(before.recording.path)}"
                raise BadInput(shown(part.recording.path), what, "leave one of them out")
            if before is not None and moved.first_s < before.last_s:
                moved = put(part, moved.offset_s + before.last_s - moved.first_s, before)
            placed.append(moved)
    return placed


def _zero_of(run: Sequence[Part]) -> float | None:
    """Wall clock at log time 0 of a run, by its newest anchor."""
    found = [part.wall_less_log_s for part in run if part.wall_less_log_s is not None]
    return found[-1] if found else None


def put(part: Part, offset_s: float, before: Part | None) -> Part:
    goes_on = (
        before is not None
        and before.series == part.series
        and before.number + 1 == part.number
        and not any({CUT, REPAIRED} & set(each.recording.meta) for each in (before, part))
    )
    return replace(part, offset_s=offset_s, goes_on=goes_on)


def stretch_starts(parts: Sequence[Part]) -> list[float]:
    """Where stretches begin: in cut files, and where something is missing between two files."""
    found: set[float] = set()
    for part in parts:
        inside = [start + part.offset_s for start in starts_of(part.recording.meta)]
        found |= {max(start, part.first_s) for start in inside}
        if not part.goes_on:
            found.add(part.first_s)
    return sorted(found)


def gaps_of(parts: Sequence[Part]) -> list[dict[str, object]]:
    return loss_facts(
        loss._replace(
            from_s=None if loss.from_s is None else loss.from_s + part.offset_s,
            to_s=None if loss.to_s is None else loss.to_s + part.offset_s,
        )
        for part in parts
        for loss in losses_of(part.recording.meta)
    )
