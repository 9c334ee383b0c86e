"""Actions of the screen that belong to an event's life: acknowledge, shelve, take back."""

from collections.abc import Container

from shared.errors import BadInput
from shared.events import Event
from shared.when import spelt
from shared.words import Act, Severity, channel_word
from tui.board import Rect
from tui.deed_lines import UNTIL_RETURNED, deed_note, shelf_words
from tui.snapshot import Snapshot, SnapshotSource
from tui.state import ScreenState, ViewName, standing
from tui.views.events import chosen
from tui.views.frame import ScreenFrame
from tui.views.overview import layout, newest_first

ASKS = "10m, 1h, 8h, or r until it has returned, then why (enter: 10m)"


class Shelving:
    """Mixed into the app, which has what is only named here."""

    source: SnapshotSource
    state: ScreenState
    _now: Snapshot
    _to_shelve: tuple[SnapshotSource, list[Event]] | None = None
    """What the open prompt is about."""

    def _frame(self) -> ScreenFrame:
        raise NotImplementedError

    def _area(self) -> Rect:
        """Where the view is."""
        raise NotImplementedError

    def repaint(self) -> None: ...

    def tell(self, message: str) -> None: ...

    def _open_input(self, asked: str, placeholder: str, value: str) -> None: ...

    def _meant(self, done: Container[int] = ()) -> tuple[SnapshotSource, Snapshot, Event | None]:
        """The event that a key means: the selected one; in the chart else the first row.

        Of rows, those that are `done` already (ids) are passed over where another is left.
        """
        now, state = self._now, self.state
        if state.view is ViewName.EVENTS:
            return self.source, now, chosen(self._frame())
        rows = layout(self._area(), len(now.channels)).events.height
        shown = newest_first(now)[:rows]
        cursor_s = state.cursor_s(now)
        for event in now.events:
            if event.id == state.selected and (event in shown or event.start_s == cursor_s):
                return self.source, now, event
        left = [event for event in shown if event.id not in done]
        return self.source, now, next(iter([*left, *shown]), None)

    def action_acknowledge(self) -> None:
        source, now, event = self._meant(self._now.acknowledged)
        if event is None:
            self.tell("no event to acknowledge")
        elif event.id in now.acknowledged:
            self.tell(f"{_name(event)} is acknowledged already")
        else:
            kept = self._do(source, now, Act.ACKNOWLEDGE, [event])
            self.tell(f"{_name(event)} acknowledged{kept}")

    def action_shelve(self) -> None:
        source, _, event = self._meant(self._now.shelved)
        self._ask(source, [] if event is None else [event])

    def action_shelve_all(self) -> None:
        """Every kind of fault that was found on the event's sensor."""
        source, now, event = self._meant(self._now.shelved)
        faults = [] if event is None else _beside(event, now)
        kinds = {each.kind: each for each in faults if each.severity is not Severity.NOTICE}
        self._ask(source, list(kinds.values()))

    def _ask(self, source: SnapshotSource, events: list[Event]) -> None:
        if not events:
            self.tell("no event to shelve")
            return
        self._to_shelve = source, events
        self._open_input("shelve", f"shelve {_names(events)}: {ASKS}", "")

    def take_shelf(self, text: str) -> None:
        """What was typed at the prompt: a time and a reason, both may be left out."""
        if self._to_shelve is None:
            return
        source, events = self._to_shelve
        self._to_shelve = None
        try:
            for_s, reason = shelf_words(text)
        except BadInput as bad:
            self.tell(f"not shelved: {bad.what}; {bad.do}")
            return
        length = UNTIL_RETURNED if for_s is None else f"for {spelt(for_s)}"
        back = "u takes it back" if len(events) == 1 else "U takes them back"
        kept = self._do(source, source.snapshot(), Act.SHELVE, events, for_s, reason)
        self.tell(f"{_names(events)} shelved {length}; {back}{kept}")

    def action_unshelve(self) -> None:
        source, now, event = self._meant()
        self._take_back(source, now, [] if event is None else [event])

    def action_unshelve_all(self) -> None:
        source, now, event = self._meant()
        self._take_back(source, now, [] if event is None else _beside(event, now))

    def _take_back(self, source: SnapshotSource, now: Snapshot, events: list[Event]) -> None:
        kinds = {(each.channel, each.kind): each for each in events if each.id in now.shelved}
        if not kinds:
            self.tell("nothing here is shelved")
            return
        found = list(kinds.values())
        kept = self._do(source, now, Act.UNSHELVE, found)
        self.tell(f"{_names(found)} back{kept}")

    def _do(
        self,
        source: SnapshotSource,
        now: Snapshot,
        act: Act,
        events: list[Event],
        for_s: float | None = None,
        reason: str = "",
    ) -> str:
        """Note what was done; where that is kept, if not in the recording, after a semicolon."""
        kept = ""
        for event in events:
            note = deed_note(act, event, now.now_s, for_s, reason)
            kept = source.note(note.text, note.time_s, note.kind, note.facts)
        return kept and f"; {kept}"


def _beside(event: Event, now: Snapshot) -> list[Event]:
    """Events of the same channel, itself among them."""
    return [each for each in standing(now) if each.channel == event.channel]


def _names(events: list[Event]) -> str:
    """One event by its kind, several by their number."""
    if len(events) == 1:
        return _name(events[0])
    return f"{len(events)} kinds on {channel_word(events[0].channel)}"


def _name(event: Event) -> str:
    return f"{event.kind} on {channel_word(event.channel)}"
