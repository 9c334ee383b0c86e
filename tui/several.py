"""The screen over several hosts: all in a list, or one of them as if it were alone."""

from collections.abc import Container, Sequence
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType

from shared.clock import own_time
from shared.events import Event
from tui.app import TO_THE_END, OhmvigilApp
from tui.board import Board, Rect
from tui.help import paint_page
from tui.keys import BACK, SEVERAL_KEYS
from tui.navigate import Navigator
from tui.painter import is_too_small, paint_keys
from tui.snapshot import Snapshot, SnapshotSource
from tui.state import ScreenState, ViewName
from tui.views.frame import ScreenFrame, glyphs_for
from tui.views.overview import newest_first
from tui.views.several import paint_several, place_at
from tui.worst import Order, active, level_of

ABOUT = "All hosts, worst first: by active events, then by link, then by trust."
IN_THE_LIST = {key.action.partition("(")[0] for key in SEVERAL_KEYS} | {"close"}
"""Actions that mean something while no host is open."""


class SeveralApp(OhmvigilApp, inherit_bindings=False):
    """The list of hosts; each keeps its own view, window and selection."""

    # Keys are written out again: a key that is bound twice would lose its first meaning.
    BINDINGS: ClassVar[list[BindingType]] = [
        *OhmvigilApp.BINDINGS,
        *(
            Binding(key.keys, key.action, key.text, show=False, id=key.id)
            for key in (BACK, *(key for key in SEVERAL_KEYS if key.id == "host.open"))
        ),
    ]

    def __init__(
        self,
        sources: Sequence[SnapshotSource],
        *,
        ascii_only: bool = False,
        mouse: bool = True,
    ) -> None:
        super().__init__(sources[0], ascii_only=ascii_only, mouse=mouse)
        self._sources = list(sources)
        self._states = [ScreenState(is_one_of_several=True) for _ in sources]
        self._list_state = self.state
        self._order = Order(len(self._sources))
        self._places = list(range(len(self._sources)))
        self._chosen: int | None = None
        """Number of the host that the person chose; None is the worst, whichever it is."""
        self._frames: list[ScreenFrame] = []

    @property
    def is_listing(self) -> bool:
        """Whether the list is shown, not one host."""
        return self.state is self._list_state

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """In the list few keys mean anything; in a host's screen those of the list do not."""
        if self.is_listing:
            return action in IN_THE_LIST
        return action != "open_host" and super().check_action(action, parameters)

    def repaint(self) -> None:
        """Take snapshots of all hosts: places go on changing while one is open."""
        self._look()
        width, height = self.size
        if not self.is_listing:
            super().repaint()
        elif width and height:
            self._panel.show(self._paint(width, height))

    def _look(self) -> None:
        glyphs = glyphs_for(self._ascii)
        self._frames = []
        for source, state in zip(self._sources, self._states, strict=True):
            now = source.snapshot()
            state.settle(now)
            # A check that was begun goes on while another screen is shown.
            if state is not self.state and state.guide is not None and state.guide.take(now):
                self.bell()
            self._frames.append(ScreenFrame(now, state, source.history, glyphs))
        self._places = self._order.places(
            [level_of(frame.now) for frame in self._frames], own_time()
        )

    def _paint(self, width: int, height: int) -> Board:
        board = Board(width, height, self._ascii)
        if is_too_small(board):
            return board
        if self.state.help:
            keys = [(key.shown, key.text) for key in SEVERAL_KEYS if key.shown]
            frame = ScreenFrame(self._now, self.state, self.source.history, glyphs_for(self._ascii))
            paint_page(board, Rect(0, 0, width, height - 1), ABOUT, keys, frame)
        else:
            paint_several(board, self._frames, self._places, self._place)
        paint_keys(board, height - 1, [key for key in SEVERAL_KEYS if key.brief], self.state)
        return board

    @property
    def _place(self) -> int:
        return 0 if self._chosen is None else self._places.index(self._chosen)

    # -- actions --

    def action_open_host(self) -> None:
        """Show the chosen host's own screen."""
        if self.state.help:
            return
        self._chosen = self._places[self._place]
        self.source = self._sources[self._chosen]
        self.state = self._states[self._chosen]
        self._navigator = Navigator(self.source, self.state)
        self._now = self.source.snapshot()
        self.repaint()

    def action_hosts(self) -> None:
        """Back to the list."""
        self.state = self._list_state
        self.repaint()

    def action_close(self) -> None:
        state = self.state
        nothing_open = not (state.help or self._input.has_class("open"))
        if not self.is_listing and nothing_open and state.view is ViewName.OVERVIEW:
            self.action_hosts()
        else:
            super().action_close()

    def _meant(self, done: Container[int] = ()) -> tuple[SnapshotSource, Snapshot, Event | None]:
        """In the list: the worst that goes on at the chosen host, else its newest event."""
        if not self.is_listing:
            return super()._meant(done)
        source, now = self._host()
        return source, now, next(iter([*active(now), *newest_first(now)]), None)

    def action_unshelve(self) -> None:
        """In the list, of all sensors of the host: it names no event that is shelved."""
        if not self.is_listing:
            super().action_unshelve()
            return
        source, now = self._host()
        self._take_back(source, now, list(now.events))

    def action_unshelve_all(self) -> None:
        if self.is_listing:
            self.action_unshelve()
        else:
            super().action_unshelve_all()

    def _host(self) -> tuple[SnapshotSource, Snapshot]:
        """The chosen host of the list."""
        number = self._places[self._place]
        return self._sources[number], self._frames[number].now

    def action_line(self, step: int) -> None:
        if not self.is_listing or self.state.help:
            super().action_line(step)
            return
        place = min(max(self._place + step, 0), len(self._places) - 1)
        self._chosen = self._places[place]
        self.repaint()

    def action_start(self) -> None:
        if self.is_listing:
            self._chosen = None
            self.repaint()
        else:
            super().action_start()

    def action_live(self) -> None:
        if self.is_listing:
            self.action_line(TO_THE_END)
        else:
            super().action_live()

    # -- mouse --

    def _wheel(self, step: int) -> None:
        if self.is_listing:
            self.action_line(step)
        else:
            super()._wheel(step)

    def on_click(self, event: events.Click) -> None:
        """A line of the list is chosen, and opened by a second click."""
        # Handlers of the classes above are called as well; they must not take it, too.
        event.prevent_default()
        if not self.is_listing:
            super().on_click(event)
            return
        place = place_at(event.y, self.size.height, len(self._places), self._place)
        if not self._mouse or self.state.help or place is None:
            return
        if place == self._place:
            self.action_open_host()
        else:
            self._chosen = self._places[place]
            self.repaint()
