"""Signals that end a recording, and the closed terminal that does not."""

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

from tui.output import go_quiet

LATE_S = 1.0
"""A pipe may break this long before the hang-up arrives that broke it."""


def _nothing() -> None:
    pass


class HangUp:
    """Takes SIGTERM and SIGHUP for as long as the program lives. For the main thread.

    SIGTERM sets `stop`; so does SIGHUP if `ends`, else what would have been printed goes
    nowhere from then on. `then` is called after `stop` was set by a signal. A SIGHUP that
    was ignored from the beginning (nohup) stays so.
    """

    def __init__(self, *, ends: bool) -> None:
        self.stop = threading.Event()
        self.then: Callable[[], None] = _nothing
        self._ends = ends
        self._came = threading.Event()
        # Signals belong to others outside the main thread, as under some tests.
        with suppress(ValueError):
            signal.signal(signal.SIGTERM, self._terminate)
            if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:
                signal.signal(signal.SIGHUP, self._hang_up)

    @contextmanager
    def survived(self) -> Iterator[None]:
        """Printing that may find its reader gone: no end if the terminal was closed."""
        try:
            yield
        except BrokenPipeError:
            if not self._came.wait(LATE_S):
                raise
            go_quiet()

    def _terminate(self, *_: object) -> None:
        self.stop.set()
        self.then()

    def _hang_up(self, *_: object) -> None:
        self._came.set()
        if self._ends:
            # A second one must not end the end; Python gives its own handlers up as it leaves.
            signal.signal(signal.SIGHUP, signal.SIG_IGN)
            self.stop.set()
            self.then()
        else:
            go_quiet()
