"""A recorder for days: begins a new file at an age or a size, without a gap.

A file begins with a message of the host, and everything from that message on is in it and
in no other. It opens alone: its first update holds the last value of every key, events
that are going on are recorded in it too, log time goes on. New files are begun, and
old ones closed, in threads of their own, so that a slow disk never holds up the watch.
"""

import threading
import uuid
from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from recordings.writer import Recorder
from shared.absent import hold
from shared.errors import BadInput
from shared.events import Event
from shared.updates import Entry, EntryKind, Update, Value
from shared.words import Act, quantity_of

DAY_S = 86_400.0
NEW_FILE_BYTES = 500 * 10**6
GRACE_S = 3600.0
GRACE_PART = 0.1
"""How long, or how much of the size, a file may outgrow its limit while an event is going on."""
RETRY_S = 60.0
STORE_S = 600.0
"""How long a full file that cannot store its rest is given before it is closed without."""
KEEP_UP_S = 600.0
"""Own time between two rounds of keeping house."""
CARRIED = "carried"
"""Fact of a later file: keys that its first update only repeats from the file before it."""
MOST_DEEDS = 1000
MOMENTARY = frozenset({"message", "uptime_s"})
"""Quantities that do not hold on, so that a new file does not begin with them."""


_Deed = tuple[float, str, str, Mapping[str, Any] | None]
"""Time, text, kind and facts of a note that says what a person did with an event."""


class RollingRecorder:
    """Records one host's run into one file after another; the calls are those of `Recorder`.

    `names` gives the path of each next file. `keep_house(paths)` is called in a thread
    when a file has been begun and every ten minutes, with the files that are in use; it
    returns a line when something went wrong. Raises BadInput when the first file cannot be made.
    """

    def __init__(
        self,
        names: Iterator[Path],
        meta: Mapping[str, Any],
        new_file_s: float = DAY_S,
        new_file_bytes: int = NEW_FILE_BYTES,
        keep_house: Callable[[Sequence[Path]], str] | None = None,
    ) -> None:
        self._names = names
        self._meta = dict(meta)
        self._series = uuid.uuid4().hex
        self._new_file_s = new_file_s
        self._new_file_bytes = new_file_bytes
        self._keep_house = keep_house
        self._lock = threading.RLock()
        self._part = 0
        self._before: Path | None = None
        self._current = self._begin()
        self._first_own_s: float | None = None
        self._held: dict[str, Value] = {}
        self._carry = False
        self._open: dict[int, Event] = {}
        self._deeds: list[_Deed] = []
        self._last_s = -float("inf")
        self._next: Recorder | None = None
        self._busy = False
        self._opening: threading.Thread | None = None
        self._try_at_s = -float("inf")
        self._cannot_begin = ""
        self._house_trouble = ""
        self._house_at_s: float | None = None
        self._house: threading.Thread | None = None
        self._leaving: dict[Recorder, threading.Thread] = {}
        self._closing = threading.Event()

    # -- the recorder's calls --

    def entry(self, entry: Entry) -> None:
        """Record one entry as it came, in a new file if one is due."""
        with self._lock:
            if self._first_own_s is None:
                self._first_own_s = entry.own_s
            self._turn_if_due(entry)
            self._current.entry(entry)
            self._house_if_due(entry.own_s)

    def updates(self, updates: Sequence[Update]) -> None:
        """Record what detectors are given, in order."""
        if not updates:
            return
        with self._lock:
            if self._carry:
                first, *rest = updates
                carried = [key for key in self._held if key not in first.values]
                self._current.fact(CARRIED, carried)
                whole = dict(self._held)
                hold(whole, first.values)
                updates = [Update(first.time_s, whole), *rest]
                self._carry = False
            self._last_s = updates[-1].time_s
            for update in updates:
                hold(self._held, update.values)
            for key in [key for key in self._held if quantity_of(key) in MOMENTARY]:
                del self._held[key]
            self._current.updates(updates)

    def event(self, event: Event) -> None:
        """Record an event as it now stands; a new one is stored at once."""
        with self._lock:
            if event.is_active and event.absorbed_by is None:
                self._open[event.id] = event
            else:
                self._open.pop(event.id, None)
            self._current.event(event)

    def note(
        self, time_s: float, text: str, kind: str = "note", facts: Mapping[str, Any] | None = None
    ) -> None:
        """Record a note; stored at once."""
        with self._lock:
            self._current.note(time_s, text, kind, facts)
            if kind in tuple(Act):
                self.take_along(time_s, text, kind, facts)

    def take_along(
        self, time_s: float, text: str, kind: str, facts: Mapping[str, Any] | None
    ) -> None:
        """A deed that is in the file, and belongs into the next one while it still holds."""
        with self._lock:
            self._deeds.append((time_s, text, kind, facts))
            del self._deeds[:-MOST_DEEDS]

    @property
    def path(self) -> Path:
        """The file that is being written."""
        with self._lock:
            return self._current.path

    @property
    def parts(self) -> int:
        """Files of this run so far."""
        with self._lock:
            return self._part - (self._next is not None)

    @property
    def bytes_written(self) -> int:
        """Bytes of that file on the disk."""
        with self._lock:
            return self._current.bytes_written

    @property
    def trouble(self) -> str:
        """One line while anything of this fails, or once something was lost; else empty."""
        with self._lock:
            recorders = [*self._leaving, self._current]
            said = [recorder.trouble for recorder in recorders]
            said += [self._cannot_begin, self._house_trouble]
        return "; ".join(dict.fromkeys(words for words in said if words))

    def flush(self, wait: bool = True, timeout: float = 10.0) -> bool:
        """Store what is waiting now; whether all of it is stored when this returns."""
        with self._lock:
            recorders = [*self._leaving, self._current]
        stored = [recorder.flush(wait, timeout) for recorder in recorders]
        return all(stored)

    def close(self) -> None:
        """Store the rest and close; returns when every file is complete."""
        self._closing.set()
        with self._lock:
            threads = [self._opening, self._house]
        for thread in threads:
            if thread is not None:
                thread.join()
        with self._lock:
            unused, self._next = self._next, None
            leaving = list(self._leaving.values())
        if unused is not None:
            _discard(unused)
        self._current.close()
        for thread in leaving:
            thread.join()

    # -- from file to file --

    def _begin(self) -> Recorder:
        """The next file. Raises BadInput."""
        part = self._part + 1
        series = {"id": self._series, "part": part}
        if self._before is not None:
            series["after"] = self._before.name
        recorder = Recorder(next(self._names), {**self._meta, "series": series})
        self._part, self._before = part, recorder.path
        return recorder

    def _turn_if_due(self, entry: Entry) -> None:
        due, must = self._due(entry.own_s)
        if not due:
            return
        if self._next is None:
            if not self._busy and entry.own_s >= self._try_at_s:
                self._try_at_s = entry.own_s + RETRY_S
                self._busy = True
                self._opening = threading.Thread(target=self._prepare, name="next recording")
                self._opening.start()
            return
        if entry.kind is EntryKind.MESSAGE and (must or not self._open):
            self._turn(entry.own_s)

    def _due(self, own_s: float) -> tuple[bool, bool]:
        """Whether a new file should begin at a quiet moment, and whether it must at any."""
        assert self._first_own_s is not None
        age_s = own_s - self._first_own_s
        size = self._current.bytes_written
        due = age_s >= self._new_file_s or size >= self._new_file_bytes
        grace_s = min(GRACE_S, self._new_file_s * GRACE_PART)
        must = age_s >= self._new_file_s + grace_s
        must = must or size >= self._new_file_bytes * (1.0 + GRACE_PART)
        # A file that cannot store must first get rid of what waits in memory.
        return due and not self._current.trouble.startswith("cannot store"), must

    def _prepare(self) -> None:
        try:
            recorder = self._begin()
        except BadInput as bad:
            with self._lock:
                self._cannot_begin = f"no new file: {bad.where}: {bad.what}; the old one goes on"
                self._busy = False
            return
        with self._lock:
            self._next = recorder
            self._cannot_begin = ""
            self._busy = False

    def _turn(self, own_s: float) -> None:
        assert self._next is not None
        old, self._current, self._next = self._current, self._next, None
        self._first_own_s = own_s
        self._try_at_s = -float("inf")
        self._carry = bool(self._held)
        for event in self._open.values():
            self._current.event(event)
        self._note_deeds()
        thread = threading.Thread(target=self._leave, args=(old,), name="last recording")
        self._leaving[old] = thread
        self._house_at_s = own_s
        thread.start()

    def _note_deeds(self) -> None:
        """Begin the file with what was acknowledged and shelved and still means something."""
        going_on = {(event.channel, event.kind) for event in self._open.values()}
        last = {_place(deed): deed for deed in self._deeds if deed[2] != Act.ACKNOWLEDGE}
        self._deeds = [
            deed
            for deed in self._deeds
            if (_place(deed) in going_on and deed[2] == Act.ACKNOWLEDGE)
            or (last.get(_place(deed)) is deed and self._is_shelved(deed, going_on))
        ]
        for deed in self._deeds:
            self._current.note(*deed)

    def _is_shelved(self, deed: _Deed, going_on: Container[tuple[Any, Any]]) -> bool:
        """Whether the last that was done with a shelf leaves something on it."""
        until_s = (deed[3] or {}).get("until_s")
        if deed[2] != Act.SHELVE:
            return False
        if isinstance(until_s, int | float):
            return until_s > self._last_s
        return _place(deed) in going_on

    def _leave(self, old: Recorder) -> None:
        """Close a file once all of it is stored."""
        waited_s = 0.0
        while not old.flush() and waited_s < STORE_S and not self._closing.wait(1.0):
            waited_s += 1.0
        old.close()
        with self._lock:
            del self._leaving[old]

    # -- keeping house --

    def _house_if_due(self, own_s: float) -> None:
        if self._keep_house is None or (self._house is not None and self._house.is_alive()):
            return
        if self._house_at_s is not None and own_s < self._house_at_s:
            return
        self._house_at_s = own_s + KEEP_UP_S
        self._house = threading.Thread(target=self._run_house, name="old recordings")
        self._house.start()

    def _run_house(self) -> None:
        assert self._keep_house is not None
        with self._lock:
            leaving = list(self._leaving.values())
        for thread in leaving:
            thread.join()
        with self._lock:
            recorders = [self._current, *self._leaving, *([self._next] if self._next else [])]
            used = [recorder.path for recorder in recorders]
        try:
            trouble = self._keep_house(used)
        except Exception as error:
            # Keeping house must never cost the recording.
            trouble = f"old recordings: {type(error).__name__}: {error}"
        with self._lock:
            self._house_trouble = trouble


def _place(deed: _Deed) -> tuple[Any, Any]:
    """Channel and kind of event that a deed is about."""
    facts = deed[3] or {}
    return facts.get("channel"), facts.get("event_kind")


def _discard(recorder: Recorder) -> None:
    """Close and remove a file that was begun in vain."""
    recorder.close()
    recorder.path.unlink(missing_ok=True)
