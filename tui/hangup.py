"""Signals that end a recording, and the closed terminal that does not."""

import signal
import threading
from collections.abc import Callable
from contextlib import suppress


def _nothing() -> None:
    pass


class HangUp:
    """Takes SIGTERM and SIGHUP for as long as the program lives. For the main thread.

    SIGTERM sets `stop`; so does SIGHUP if `ends`, else nothing comes of it (`tui.sink` counts
    what can no longer be printed). `then` is called after `stop` was set by a signal. A SIGHUP that
    was ignored from the beginning (nohup) stays so.
    """

    def __init__(self, *, ends: bool) -> None:
        self.stop = threading.Event()
        self.then: Callable[[], None] = _nothing
        self._ends = ends
        # Signals belong to others outside the main thread, as under some tests.
        with suppress(ValueError):
            signal.signal(signal.SIGTERM, self._terminate)
            if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:
                signal.signal(signal.SIGHUP, self._hang_up)

    def _terminate(self, *_: object) -> None:
        self.stop.set()
        self.then()

    def _hang_up(self, *_: object) -> None:
        if self._ends:
            # A second one must not end the end; Python gives its own handlers up as it leaves.
            signal.signal(signal.SIGHUP, signal.SIG_IGN)
            self.stop.set()
            self.then()
