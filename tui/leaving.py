"""The end of a program with a screen, whatever the screen does.

A screen library may hang in a terminal that has gone: its writer waits for a reader that will
never come, and the main thread for the writer. So the end is watched from a thread of its own. Once
a signal came or the terminal vanished, the screen is asked to leave; if the main thread has not
ended soon, the recordings are closed from here, and the process with them.
"""

import os
import select
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType

from tui.hangup import HangUp

LOOK_S = 0.25
GRACE_S, GONE_S = 1.0, 0.3
"""How long the screen may take to leave by itself, and where its terminal has gone: nobody is left
who would see it leave."""
ASK_S = 0.1
PLAIN = b"\x1b[?1049l\x1b[?25h\x1b[?1000l\x1b[?1002l\x1b[?1003l\x1b[?1006l\x1b[?2004l"
"""The main screen, a cursor, no mouse, no bracketed paste: private modes (ECMA-48) that terminals
share."""


class Leaving:
    """`with Leaving(hang_up, close):` around the screen and the closing after it.

    `close` makes every recording complete; it may be called from two threads at once.
    """

    def __init__(self, hang_up: HangUp, close: Callable[[], None]) -> None:
        self._hang_up = hang_up
        self._close = close
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._watch, name="leaving", daemon=True)

    def __enter__(self) -> "Leaving":
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._done.set()

    def _watch(self) -> None:
        while not self._done.is_set() and not self._hang_up.stop.wait(LOOK_S):
            if terminal_is_gone():
                self._hang_up.stop.set()
        grace_s = GONE_S if terminal_is_gone() else GRACE_S
        for _ in range(round(grace_s / ASK_S)):
            # Again and again: a screen that is still beginning hears nothing yet.
            self._hang_up.then()
            if self._done.wait(ASK_S):
                return
        self._close()
        if not self._done.is_set():
            _reset_terminal()
            os._exit(0)


def terminal_is_gone() -> bool:
    """Whether the terminal under standard input and output has been closed."""
    look = select.poll()
    fds = [fd for fd in (0, 1) if os.isatty(fd) or _is_hung(fd)]
    for fd in fds:
        look.register(fd, 0)
    return any(event & (select.POLLHUP | select.POLLERR) for _, event in look.poll(0))


def _is_hung(fd: int) -> bool:
    """A terminal that was closed no longer passes for one."""
    look = select.poll()
    look.register(fd, 0)
    return any(event & select.POLLHUP for _, event in look.poll(0))


def _reset_terminal() -> None:
    """Leave the screen for the shell, if there is one to leave it for; never wait for that."""
    if terminal_is_gone():
        return
    with suppress(OSError, ValueError):
        fd = sys.__stdout__.fileno() if sys.__stdout__ is not None else 1
        if select.select([], [fd], [], 0.0)[1]:
            os.write(fd, PLAIN)
