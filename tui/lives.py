"""Several live watches as one: waiting for the first, closing all, and what failed."""

import sys
import threading
import time
from collections.abc import Sequence

from tui.output import say
from tui.pipeline import Live
from tui.snapshot import LinkState

ALL_FAILED = 2
"""Exit code, as for other input that cannot be used."""


def wait_any(lives: Sequence[Live], timeout_s: float, stop: threading.Event) -> None:
    """Wait until one link is open, all have failed, or `stop` is set."""
    deadline = time.monotonic() + timeout_s
    while time.monotonic() < deadline and not stop.wait(0.05):
        if all(live.finished.is_set() for live in lives):
            return
        if any(live.link_state is LinkState.OPEN for live in lives):
            return


def close_all(lives: Sequence[Live]) -> None:
    """End all watches at once: one that is slow to say goodbye keeps no other waiting."""
    ending = [threading.Thread(target=live.close, name="closing") for live in lives]
    for thread in ending:
        thread.start()
    for thread in ending:
        thread.join()


def all_failed(lives: Sequence[Live]) -> bool:
    return bool(lives) and all(live.fatal is not None for live in lives)


def tell_failures(lives: Sequence[Live]) -> int:
    """A line for each watch that ended by itself; the exit code."""
    for live in lives:
        if live.fatal is not None:
            say(f"ohmvigil: {live.fatal}", sys.stderr)
    return ALL_FAILED if all_failed(lives) else 0
