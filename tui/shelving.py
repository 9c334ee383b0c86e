"""Actions of the screen that belong to an event's life: acknowledge, shelve, take back."""

from collections.abc import Container

from shared.errors import BadInput
from shared.events import Event
from shared.when import spelt
from shared.words import Act
from tui.board import Rect
from tui.deeds import UNTIL_RETURNED, deed_note, shelf_words
from tui.glyphs import channel_word
from tui.snapshot import Snapshot, Source
from tui.state import ScreenState, ViewName
from tui.views.events import chosen
from tui.views.frame import Frame
from tui.views.overview import layout, newest_first

ASKS = "10m, 1h, 8h, or r until it has returned, then why (enter: 10m)"


class Shelving:
    """Mixed into the app, which has what is only named here."""

    source: Source
    state: ScreenState
    _now: Snapshot
    _to_shelve: tuple[Source, Event] | None = None
    """What the open prompt is about."""

    def _frame(self) -> Frame:
        raise NotImplementedError

    def _area(self) -> Rect:
        """Where the view is."""
        raise NotImplementedError

    def repaint(self) -> None: ...

    def tell(self, message: str) -> None: ...

    def _open_input(self, asked: str, placeholder: str, value: str) -> None: ...

    def _meant(self, done: Container[int] = ()) -> tuple[Source, Snapshot, Event | None]:
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

    def _meant_shelves(self) -> tuple[Source, Snapshot, list[Event]]:
        """Events to take off the shelf."""
        source, now, event = self._meant()
        found = [] if event is None or event.id not in now.shelved else [event]
        return source, now, found

    def action_acknowledge(self) -> None:
        source, now, event = self._meant(self._now.acknowledged)
        if event is None:
            self.tell("no event to acknowledge")
        elif event.id in now.acknowledged:
            self.tell(f"{_name(event)} is acknowledged already")
        else:
            self._do(source, now, Act.ACKNOWLEDGE, event)

    def action_shelve(self) -> None:
        source, _, event = self._meant(self._now.shelved)
        if event is None:
            self.tell("no event to shelve")
            return
        self._to_shelve = source, event
        self._open_input("shelve", f"shelve {_name(event)}: {ASKS}", "")

    def take_shelf(self, text: str) -> None:
        """What was typed at the prompt: a time and a reason, both may be left out."""
        if self._to_shelve is None:
            return
        source, event = self._to_shelve
        self._to_shelve = None
        try:
            for_s, reason = shelf_words(text)
        except BadInput as bad:
            self.tell(f"not shelved: {bad.what}; {bad.do}")
            return
        self._do(source, source.snapshot(), Act.SHELVE, event, for_s, reason)

    def action_unshelve(self) -> None:
        source, now, events = self._meant_shelves()
        if not events:
            self.tell("nothing here is shelved")
        for event in {(event.channel, event.kind): event for event in events}.values():
            self._do(source, now, Act.UNSHELVE, event)

    def _do(
        self,
        source: Source,
        now: Snapshot,
        act: Act,
        event: Event,
        for_s: float | None = None,
        reason: str = "",
    ) -> None:
        note = deed_note(act, event, now.now_s, for_s, reason)
        kept = source.note(note.text, note.time_s, note.kind, note.facts)
        length = UNTIL_RETURNED if for_s is None else f"for {spelt(for_s)}"
        words = {
            Act.ACKNOWLEDGE: "is acknowledged",
            Act.SHELVE: f"is shelved {length}; u takes it back",
            Act.UNSHELVE: "is back",
        }
        self.tell(f"{_name(event)} {words[act]}{kept and f'; {kept}'}")


def _name(event: Event) -> str:
    return f"{event.kind} on {channel_word(event.channel)}"
