"""Which recordings go when they get old or many: quiet ones first, what holds an event last.

A step is taken on one file at a time, until nothing is due:

1. the oldest recording without an event above a notice is deleted;
2. when there is none, the oldest recording is cut down to its events: their minute before
   and after stays as it was, the rest goes;
3. when all are cut, the oldest goes, but only for their total size, never for its age.

By age only what ended too long ago is due; by size, the oldest of all.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from recordings.cutting import cut_to_events
from recordings.folder import Kept, Known, Stretch, describe, recordings_of, settle_open
from shared.errors import BadInput


@dataclass(frozen=True, slots=True)
class Limits:
    """How long and how much to keep; None: without end."""

    keep_s: float | None = None
    keep_bytes: int | None = None

    @property
    def are_set(self) -> bool:
        return self.keep_s is not None or self.keep_bytes is not None


class Action(StrEnum):
    DELETE = "delete"
    CUT = "cut"


@dataclass(frozen=True, slots=True)
class Step:
    action: Action
    kept: Kept


def stretches_in(one: Kept, all_kept: Sequence[Kept]) -> tuple[Stretch, ...]:
    """Stretches to keep of a file: around its own events, and its neighbours' in the same run.

    The minute before an event may lie in the file before it.
    """
    found = {
        stretch
        for other in all_kept
        if other.series == one.series
        for stretch in other.stretches
        if stretch[0] <= one.last_s and stretch[1] >= one.first_s
    }
    return tuple(sorted(found))


def next_step(
    kept: Sequence[Kept],
    limits: Limits,
    now_wall_s: float,
    in_use_bytes: int = 0,
    around: Sequence[Kept] = (),
) -> Step | None:
    """What to do next, or None when all is within the limits.

    `kept`: the recordings that may go, oldest first. `in_use_bytes`: size of those that
    may not, which counts for the total. `around`: recordings that may not go but whose
    events reach into others.
    """
    loud = {one.path for one in kept if stretches_in(one, [*kept, *around])}
    total = in_use_bytes + sum(one.size for one in kept)
    is_too_much = limits.keep_bytes is not None and total > limits.keep_bytes
    old = [
        one
        for one in kept
        if limits.keep_s is not None and now_wall_s - one.ended_wall_s > limits.keep_s
    ]
    for due, may_lose_events in ((old, False), (kept if is_too_much else (), True)):
        for one in due:
            if one.path not in loud:
                return Step(Action.DELETE, one)
        for one in due:
            if not one.is_cut:
                return Step(Action.CUT, one)
        if may_lose_events and due:
            return Step(Action.DELETE, due[0])
    return None


class Keeper:
    """Keeps the recordings of one host in a folder within the limits. For one thread."""

    def __init__(
        self,
        folder: Path,
        meta: Mapping[str, Any],
        limits: Limits,
        wall: Callable[[], float] = time.time,
        tell: Callable[[str], None] = lambda line: None,
    ) -> None:
        self._folder = folder
        self._meta = meta
        self._limits = limits
        self._wall = wall
        self._tell = tell
        self._known: Known = {}

    def __call__(self, in_use: Sequence[Path]) -> str:
        """Take every step that is due; a line when one failed, else empty."""
        if not self._limits.are_set:
            return ""
        kept = recordings_of(self._folder, self._meta, in_use, self._known)
        around = [one for one in map(self._described, in_use) if one is not None]
        trouble = ""
        while True:
            used_bytes = sum(one.size for one in around)
            step = next_step(kept, self._limits, self._wall(), used_bytes, around)
            if step is None:
                return trouble
            at = kept.index(step.kept)
            try:
                result = self._take(step, [*kept, *around])
            except (BadInput, OSError) as error:
                trouble = f"old recordings: {error}"
                result = step.kept
            if result is step.kept:
                # It stays as it is, and so it counts like one in use.
                around.append(kept.pop(at))
            elif result is None:
                del kept[at]
            else:
                kept[at] = result

    def _take(self, step: Step, all_kept: Sequence[Kept]) -> Kept | None:
        """What is left of the file: None, a smaller one, or itself when another uses it."""
        one = step.kept
        if not one.is_closed and not settle_open(one.path):
            return one
        if step.action is Action.DELETE:
            for suffix in ("", "-wal", "-shm"):
                Path(f"{one.path}{suffix}").unlink(missing_ok=True)
            self._tell(f"deleted {one.path.name}: {self._why(one)}")
            return None
        cut_to_events(one.path, stretches_in(one, all_kept))
        left = describe(one.path, self._meta)
        assert left is not None
        self._tell(f"cut {one.path.name} down to its events: {one.size} to {left.size} bytes")
        return left

    def _described(self, path: Path) -> Kept | None:
        try:
            return describe(path, self._meta)
        except (BadInput, OSError):
            return None

    def _why(self, one: Kept) -> str:
        if self._limits.keep_s is not None:
            age_s = self._wall() - one.ended_wall_s
            if age_s > self._limits.keep_s:
                return f"{age_s / 86_400.0:.1f} days old"
        return "too much is kept"
