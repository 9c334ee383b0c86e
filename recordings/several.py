"""Several recordings of one host as one log: the files of a run, or runs one after another.

Files of one run go on in one log time, and nothing is missing between two that follow each
other. A later run has a log time of its own; the wall clock of the anchors tells where it
begins in that of the first. Where something is missing between two files, the next one
begins a new stretch, which is judged by itself.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from recordings.files import shown
from recordings.folder import CUT, SUFFIX, is_of
from recordings.logs import Log, open_log
from recordings.losses import REPAIRED
from recordings.parts import Part, gaps_of, in_order, part_of, put, stretch_starts
from recordings.reader import Recording, RollUp
from recordings.rolling import CARRIED
from shared.errors import BadInput
from shared.events import Event
from shared.notes import Note
from shared.text import clean
from shared.updates import Batch
from shared.when import spelt, tenths

FACTS = ("title", "versions", "profile", "chains", "imported_from")
"""Facts of the newest file that hold for all of them."""
LOG_TIMES = ("start_s", "until_s")
"""Facts of notes that are log times."""


def open_logs(paths: Sequence[str | Path]) -> Log:
    """One log of what is named: a file, several recordings, or the recordings of a folder.

    Raises BadInput for what cannot be one log: plain logs, several hosts, files that were
    written at the same time.
    """
    files = [file for path in paths for file in _files(Path(path))]
    if len(files) == 1:
        return open_log(files[0])
    opened: list[Log] = []
    try:
        # One after another, so that those before a bad one are closed.
        opened.extend(map(open_log, {file.absolute(): file for file in files}.values()))
        return _joined(opened)
    except BaseException:
        for log in opened:
            log.close()
        raise


def followed(recording: Recording) -> "Joined":
    """A recording that is being written, to be followed into the next file of its run."""
    return Joined([part_of(recording)])


class Joined:
    """Recordings as one `Log`, in order. Closes them all."""

    def __init__(self, parts: Sequence[Part]) -> None:
        self._parts = list(parts)
        first, newest = parts[0].recording, parts[-1].recording
        self.path = first.path
        self.paths = tuple(part.recording.path for part in parts)
        self.meta: dict[str, Any] = {
            name: newest.meta[name] for name in FACTS if name in newest.meta
        }
        self.meta |= {CUT: {"starts": stretch_starts(parts)}, REPAIRED: {"gaps": gaps_of(parts)}}
        self.meta["files"] = [path.name for path in self.paths]
        self.chains = newest.chains
        self.keys = tuple(dict.fromkeys(key for part in parts for key in part.recording.keys))
        self.channels = _each(parts, lambda recording: recording.channels)
        self.unknown = _each(parts, lambda recording: recording.unknown)
        self._read = 0
        self._fresh_seam = _Seam()

    @property
    def first_s(self) -> float:
        return self._parts[0].first_s

    @property
    def last_s(self) -> float:
        return self._parts[-1].last_s

    @property
    def duration_s(self) -> float:
        return self.last_s - self.first_s

    @property
    def samples(self) -> int:
        return sum(part.recording.samples for part in self._parts)

    @property
    def is_closed(self) -> bool:
        """Whether the newest file is."""
        return self._parts[-1].recording.is_closed

    @property
    def newest(self) -> Recording:
        return self._parts[-1].recording

    @property
    def notes(self) -> tuple[Note, ...]:
        return tuple(
            _moved_note(note, part.offset_s)
            for part in self._parts
            for note in part.recording.notes
        )

    def batches(self) -> Iterator[Batch]:
        """All updates in one log time, each once."""
        seam = _Seam()
        for part in self._parts:
            yield from seam.join(part, part.recording.batches())

    def fresh(self, rows: int = 4096) -> Iterator[Batch]:
        """Batches that earlier calls have not given, as `Recording.fresh`."""
        for part in self._parts[self._read :]:
            yield from self._fresh_seam.join(part, part.recording.fresh(rows))
            if part is not self._parts[-1]:
                self._read += 1

    def file_at(self, time_s: float) -> Path | None:
        """The file that a note at a log time belongs into; None in a run of another log time."""
        earlier = [part for part in self._parts if part.first_s <= time_s]
        part = earlier[-1] if earlier else self._parts[0]
        return part.recording.path if part.offset_s == 0.0 else None

    def grow(self) -> bool:
        """Take in the next file of the newest one's run; whether there is one by now."""
        last = self._parts[-1]
        for path in _files(last.recording.path.parent):
            if path.name in {known.name for known in self.paths}:
                continue
            with suppress(BadInput):
                found = Recording(path)
                part = part_of(found)
                if part.series == last.series and part.number == last.number + 1:
                    self._parts.append(put(part, last.offset_s, last))
                    self.paths = (*self.paths, path)
                    return True
                found.close()
        return False

    def events(self) -> list[Event]:
        """Events as they were recorded, each as the newest file has it."""
        found: dict[tuple[str, int], Event] = {}
        for part in self._parts:
            for event in part.recording.events():
                found[part.series, event.id] = _moved(event, part.offset_s)
        in_order = sorted(found.values(), key=lambda event: (event.start_s, event.id))
        return [msgspec.structs.replace(event, id=new) for new, event in enumerate(in_order, 1)]

    def rollups(self) -> dict[str, RollUp]:
        """Every key's roll-up, file after file."""
        found: dict[str, list[RollUp]] = {}
        for part in self._parts:
            for key, rolled in part.recording.rollups().items():
                found.setdefault(key, []).append(rolled.moved(part.offset_s))
        return {key: RollUp.of(pieces) for key, pieces in found.items()}

    @property
    def remarks(self) -> list[str]:
        """What whoever judges the files together should know."""
        lines = [
            f"nothing was recorded from {tenths(before.last_s)} to {tenths(part.first_s)} "
            f"({spelt(part.first_s - before.last_s)}), before {clean(part.recording.path.name)}"
            for before, part in pairwise(self._parts)
            if not part.goes_on
        ]
        if any(part.recording.chains != self.chains for part in self._parts):
            lines.append(f"chain facts for all files are those of {clean(self.paths[-1].name)}")
        return lines

    def close(self) -> None:
        for part in self._parts:
            part.recording.close()


class _Seam:
    """Joins batches of files: what a first update only carries over from the file before it, so
    that its file opens alone, is left out."""

    def __init__(self) -> None:
        self._part: Part | None = None

    def join(self, part: Part, batches: Iterable[Batch]) -> Iterator[Batch]:
        for batch in batches:
            whole = batch
            if part is not self._part and part.goes_on:
                whole = _without(batch, part.recording.meta.get(CARRIED))
            self._part = part
            yield Batch(whole.time_s + part.offset_s, whole.numbers, whole.texts)


def _without(batch: Batch, carried: object) -> Batch:
    """A batch whose first row has no values of these keys."""
    keys = {key for key in carried if isinstance(key, str)} if isinstance(carried, list) else set()
    numbers = dict(batch.numbers)
    for key in keys & set(numbers):
        numbers[key] = numbers[key].copy()
        numbers[key][:1] = np.nan
    texts = {
        key: [(row, text) for row, text in pairs if row or key not in keys]
        for key, pairs in batch.texts.items()
    }
    return Batch(batch.time_s, numbers, {key: pairs for key, pairs in texts.items() if pairs})


def _files(path: Path) -> list[Path]:
    if not path.is_dir():
        return [path]
    found = sorted(file for file in path.glob(f"*{SUFFIX}") if not file.name.startswith("."))
    if not found:
        raise BadInput(shown(path), f"holds no recording ({SUFFIX})", "name another folder")
    return found


def _joined(opened: Sequence[Log]) -> Joined:
    parts: list[Part] = []
    for log in opened:
        if not isinstance(log, Recording):
            do = "import it into a recording first, or name it alone"
            raise BadInput(shown(log.path), "is a plain log; only recordings are joined", do)
        if not is_of(log.meta, opened[0].meta):
            what = f"is of another host than {shown(opened[0].path)}"
            raise BadInput(shown(log.path), what, "name the recordings of one host")
        # A file that was begun in vain has nothing to say.
        if log.first_s is not None:
            parts.append(part_of(log))
    if not parts:
        raise BadInput(shown(opened[0].path), "holds no update, nor do the others", "name another")
    for log in opened:
        if log not in [part.recording for part in parts]:
            log.close()
    return Joined(in_order(parts))


def _moved(event: Event, by_s: float) -> Event:
    end_s = None if event.end_s is None else event.end_s + by_s
    return msgspec.structs.replace(event, start_s=event.start_s + by_s, end_s=end_s)


def _moved_note(note: Note, by_s: float) -> Note:
    """A note at another log time, with the log times among its facts."""
    times = {
        key: value + by_s
        for key, value in note.facts.items()
        if key in LOG_TIMES and type(value) in (int, float)
    }
    return msgspec.structs.replace(note, time_s=note.time_s + by_s, facts=note.facts | times)


def _each(parts: Sequence[Part], names: Callable[[Recording], tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for part in parts for name in names(part.recording)))
