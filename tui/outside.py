"""What other programs note in a recording while it is written: shelving from a replay counts.

`record` has no screen. A replay that follows its file shelves and acknowledges there, and this
brings it to the watch, so that what is shelved is not notified.
"""

from detectors.judged.noted import is_deed
from recordings.reader import Recording
from shared.errors import BadInput
from shared.events import Event
from shared.notes import Note
from tui.notify import Desk
from tui.pipeline import Live

LOOK_S = 5.0
"""Time between two looks into the file."""


class OutsideDeeds:
    """Looks for deeds in the file that a watch is recording to."""

    def __init__(self, live: Live) -> None:
        self._live = live
        self._look_at_s = 0.0

    def look(self, now_s: float) -> None:
        """Hand new deeds to the watch; `now_s` of any clock that does not fall."""
        path = self._live.recording.path
        if now_s < self._look_at_s or not path:
            return
        self._look_at_s = now_s + LOOK_S
        for note in _deeds_of(path):
            self._live.learn_of(note.time_s, note.text, note.kind, note.facts)


def _deeds_of(path: str) -> list[Note]:
    """Deeds in a file; none of one that cannot be read now, since there is another look."""
    try:
        recording = Recording(path)
    except BadInput:
        return []
    try:
        return [note for note in recording.notes if is_deed(note)]
    except BadInput:
        return []
    finally:
        recording.close()


class ShelfDesk:
    """A desk that is not told of what is shelved, until its time is over and it still goes on."""

    def __init__(self, desk: Desk, live: Live) -> None:
        self._desk = desk
        self._live = live
        self._held: dict[int, Event] = {}

    def event(self, event: Event, now_s: float) -> None:
        """Take an event as it now stands."""
        if event.id in self._live.stand().shelved:
            self._held[event.id] = event
        else:
            self._held.pop(event.id, None)
            self._desk.event(event, now_s)

    def release(self, now_s: float) -> None:
        """Tell the desk of what is no longer shelved and goes on; take back what now is."""
        if not self._held and not self._desk.waiting:
            return
        shelved = self._live.stand().shelved
        for event in self._desk.waiting:
            if event.id in shelved:
                self._desk.withdraw(event.id)
                self._held[event.id] = event
        for id_ in [id_ for id_ in self._held if id_ not in shelved]:
            event = self._held.pop(id_)
            if event.is_active:
                self._desk.event(event, now_s)
