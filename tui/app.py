"""The live screen: takes a snapshot a few times a second, paints it, obeys keys."""

import asyncio
import contextlib
from typing import ClassVar

from textual import events
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Input

from shared.text import clean
from shared.when import hms
from tui.board import Board, Rect
from tui.checking import Checking
from tui.keys import KEYS
from tui.lean import LeanScreen
from tui.navigate import Navigator
from tui.painter import body, paint
from tui.palette import Commands
from tui.panel import Panel
from tui.shelving import Shelving
from tui.snapshot import SnapshotSource
from tui.state import ScreenState, ViewName, filtered
from tui.theme import THEME
from tui.views.diagnosis import diagnosis_lines
from tui.views.event_rows import event_facts
from tui.views.events import chosen, select
from tui.views.frame import ScreenFrame, glyphs_for
from tui.views.overview import GUTTER, channel_at, layout

FRAME_S = 0.25
MESSAGE_S = 4.0
TO_THE_END = 1_000_000
"""More lines than any view has."""


def _bindings() -> list[BindingType]:
    """Keys as the library wants them. Live and in a replay some have two texts, but one id."""
    one_of_each = {(key.keys, key.action): key for key in reversed(KEYS)}
    return [
        Binding(key.keys, key.action, key.text, show=False, id=key.id, priority=key.priority)
        for key in reversed(one_of_each.values())
    ]


class OhmvigilApp(Checking, Shelving, App[None]):
    """The screen over a `Source`; `run` shows it until it is left."""

    TITLE = "ohmvigil"
    AUTO_FOCUS = None
    BINDINGS = _bindings()
    COMMANDS: ClassVar = {Commands}
    CSS = """
    Screen { layers: below above; }
    Panel { layer: below; }
    Input { layer: above; dock: bottom; display: none; height: 1; border: none; padding: 0;
            background: $panel; }
    Input.open { display: block; }
    """

    def __init__(
        self,
        source: SnapshotSource,
        *,
        ascii_only: bool = False,
        mouse: bool = True,
    ) -> None:
        super().__init__()
        self._loop_of_screen: asyncio.AbstractEventLoop | None = None
        self.source = source
        self.state = ScreenState()
        self._navigator = Navigator(source, self.state)
        self._ascii = ascii_only
        self._mouse = mouse
        self._now = source.snapshot()
        self._asked: ViewName | str = ""
        self._message_timer = 0
        self.register_theme(THEME)
        self.theme = "ohmvigil"

    @property
    def replaying(self) -> bool:
        return self._now.play is not None

    @property
    def board(self) -> Board | None:
        """What is shown."""
        return self._panel.board

    def get_default_screen(self) -> LeanScreen:
        return LeanScreen()

    def compose(self) -> ComposeResult:
        self._panel = Panel()
        self._input = Input(compact=True)
        # Only while it is open: keys are commands otherwise.
        self._input.can_focus = False
        yield self._panel
        yield self._input

    def on_mount(self) -> None:
        self._loop_of_screen = asyncio.get_running_loop()
        self.set_interval(FRAME_S, self.repaint)
        self.repaint()

    def leave(self) -> None:
        """Leave the screen; from any thread, or from a signal, at any time."""
        if self._loop_of_screen is not None:
            with contextlib.suppress(RuntimeError):
                self._loop_of_screen.call_soon_threadsafe(self.exit)

    def on_resize(self, event: events.Resize) -> None:
        self.call_after_refresh(self.repaint)

    def repaint(self) -> None:
        """Take a snapshot and show it. Only cells that changed reach the terminal."""
        width, height = self.size
        if not (width and height):
            return
        self._now = self.source.snapshot()
        self.state.settle(self._now)
        if self.state.guide is not None and self.state.guide.take(self._now):
            self.bell()
        self._panel.show(paint(width, height, self._frame(), self._ascii))

    def _frame(self) -> ScreenFrame:
        return ScreenFrame(self._now, self.state, self.source.history, glyphs_for(self._ascii))

    def _area(self) -> Rect:
        return body(*self.size)

    def tell(self, message: str) -> None:
        """Show a line in place of the keys for a while."""
        state = self.state
        state.message = message
        self._message_timer += 1
        turn = self._message_timer

        def forget() -> None:
            state.message = ""
            if turn == self._message_timer:
                self.repaint()

        self.set_timer(MESSAGE_S, forget)
        self.repaint()

    def action_command_palette(self) -> None:
        if self._ascii:
            # The library draws its palette with glyphs that such a terminal does not have.
            self.tell("no palette in ASCII; ? lists the keys")
        else:
            super().action_command_palette()

    # -- views --

    def action_show(self, view: str) -> None:
        self.state.view = ViewName(view)
        self.state.help = False
        self.state.scroll = 0
        self.repaint()

    def action_next_view(self, step: int) -> None:
        views = [view for view in ViewName if view is not ViewName.CHECK]
        here = ViewName.DIAGNOSIS if self.state.view is ViewName.CHECK else self.state.view
        self.action_show(views[(views.index(here) + step) % len(views)])

    def action_close(self) -> None:
        if self._input.has_class("open"):
            self._close_input()
        elif self.state.help:
            self.state.help = False
        elif self.state.view is ViewName.EVENTS and self.state.words:
            self.state.words = ""
        elif self.state.view is ViewName.CHECK:
            self.state.view = ViewName.DIAGNOSIS
        else:
            self.state.view = ViewName.OVERVIEW
        self.repaint()

    def action_help(self) -> None:
        self.state.help = not self.state.help
        self.state.scroll = 0
        self.repaint()

    # -- time --

    def action_pause(self) -> None:
        self._navigator.pause(self._now)
        self.repaint()

    def action_speed(self, factor: float) -> None:
        speed = self._navigator.speed(self._now, factor)
        if speed is not None:
            self.tell(f"speed {speed:g}")

    def action_move(self, sign: int) -> None:
        self._navigator.pan(self._now, sign)
        self.repaint()

    def action_step(self, sign: int) -> None:
        self._navigator.step(self._now, sign, self.size.width - GUTTER)
        self.repaint()

    def action_jump_by(self, seconds: float) -> None:
        self._navigator.jump(self._now, seconds)
        self.repaint()

    def action_zoom(self, steps: int) -> None:
        self.state.window = self.state.window.zoomed(steps)
        self.repaint()

    def action_reset(self) -> None:
        self.state.window = self.state.window.reset()
        self.repaint()

    def action_start(self) -> None:
        if self.state.view is not ViewName.OVERVIEW:
            self.action_line(-TO_THE_END)
            return
        self._navigator.start(self._now)
        self.repaint()

    def action_live(self) -> None:
        if self.state.view is not ViewName.OVERVIEW:
            self.action_line(TO_THE_END)
            return
        self._navigator.newest(self._now)
        self.repaint()

    # -- events and channels --

    def action_event(self, step: int) -> None:
        """Go to the next or the previous event in time."""
        if self.state.view is ViewName.EVENTS:
            self.action_line(-step)
            return
        at_s = self._navigator.neighbour(self._now, step)
        if at_s is None:
            self.tell("no later event" if step > 0 else "no earlier event")
            return
        self.state.view = ViewName.OVERVIEW
        self.tell(self._navigator.go_to(self._now, at_s))

    def action_line(self, step: int) -> None:
        """Up or down: sensors in the chart, events in the list, lines in a text."""
        if self.state.help:
            self.state.scroll = max(self.state.scroll + step, 0)
        elif self.state.view is ViewName.OVERVIEW:
            self.state.cycle(self._now, 1 if step > 0 else -1)
        elif self.state.view is ViewName.CHECK and self.state.guide is not None:
            self.state.guide.choose(1 if step > 0 else -1)
        elif self.state.view is ViewName.EVENTS:
            select(self.state, filtered(self._now, self.state.words), step)
        else:
            self.state.scroll = max(self.state.scroll + step, 0)
        self.repaint()

    def action_channel(self) -> None:
        self.state.cycle(self._now, 1)
        self.repaint()

    def action_jump(self) -> None:
        event = chosen(self._frame())
        if self.state.view is ViewName.EVENTS and event is not None:
            self.state.view = ViewName.OVERVIEW
            self.tell(self._navigator.go_to(self._now, event.start_s))

    # -- words typed by the person --

    def action_filter(self) -> None:
        self.action_show(ViewName.EVENTS)
        self._open_input("filter", "filter: words that an event must hold", self.state.words)

    def action_note(self) -> None:
        self._open_input("note", f"note at {hms(self._note_s())}", "")

    def _note_s(self) -> float:
        cursor_s = self.state.cursor_s(self._now)
        return self._now.now_s if cursor_s is None else cursor_s

    def _open_input(self, asked: str, placeholder: str, value: str) -> None:
        self._asked = asked
        self._asked_s = self._note_s()
        self._input.placeholder = placeholder
        self._input.value = value
        self._input.can_focus = True
        self._input.add_class("open")
        self._input.focus()

    def _close_input(self) -> None:
        self._input.remove_class("open")
        self._input.can_focus = False
        self.set_focus(None)
        self._asked = ""

    def on_input_changed(self, event: Input.Changed) -> None:
        if self._asked == "filter":
            self.state.words = clean(event.value)
            self.repaint()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        text = clean(event.value)
        asked, at_s = self._asked, self._asked_s
        self._close_input()
        if asked == "note" and text:
            kept = self.source.note(text, at_s)
            self.tell(f"noted at {hms(at_s)}{kept and f'; {kept}'}")
        elif asked == "shelve":
            self.take_shelf(text)
        elif text:
            self.take_words(asked, text, at_s)
        self.repaint()

    def action_copy(self) -> None:
        """Copy the selected event in its view, else the diagnosis."""
        event = chosen(self._frame()) if self.state.view is ViewName.EVENTS else None
        if event is not None:
            self.copy_to_clipboard("\n".join(text for text, _ in event_facts(event, self._frame())))
            self.tell("event copied, if this terminal allows it")
        else:
            lines = diagnosis_lines(self._frame())
            self.copy_to_clipboard("\n".join(f"{line.label:<10}{line.text}" for line in lines))
            self.tell("diagnosis copied, if this terminal allows it")

    # -- mouse --

    def on_mouse_scroll_up(self) -> None:
        self._wheel(-1)

    def on_mouse_scroll_down(self) -> None:
        self._wheel(1)

    def _wheel(self, step: int) -> None:
        """Zoom in the chart, lines elsewhere."""
        if self.state.view is ViewName.OVERVIEW and not self.state.help:
            self.action_zoom(step)
        else:
            self.action_line(step)

    def on_click(self, event: events.Click) -> None:
        """A ribbon chooses its sensor, the chart moves the cursor."""
        if not self._mouse or self.state.help or self.state.view is not ViewName.OVERVIEW:
            return
        area = body(*self.size)
        parts = layout(area, len(self._now.channels))
        channel = channel_at(parts, self._now.channels, event.y, self.state.channel)
        plot = parts.temperature
        if channel is not None:
            self.state.channel = channel
        elif event.x >= plot.x and area.y <= event.y < parts.ribbons.y:
            self._navigator.point(self._now, event.x - plot.x, plot.width)
        self.repaint()
