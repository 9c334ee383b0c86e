"""What `record` says of its files and its link besides events: troubles, new files, waiting."""

import re
import sys
import time

from shared.clock import own_time
from tui.output import say
from tui.pipeline import Live
from tui.snapshot import LinkState

CLOCK_STEP_S = 1.0
_FIGURES = re.compile(r"\d+")


class RecordingLines:
    """Lines about one host. Files go to the output, troubles to the errors; `quiet`: no files."""

    def __init__(self, title: str, *, quiet: bool = False) -> None:
        self._title = title
        self._quiet = quiet
        self._path = ""
        self._trouble = ""
        self._waiting = ""
        self._has_failed = False
        self._offset_s = time.time() - own_time()

    def tell(self, line: str) -> None:
        """A line about older recordings."""
        say(f"ohmvigil: {self._title}: {line}", sys.stderr)

    def show(self, live: Live) -> None:
        """Say what has changed since the last call."""
        recording = live.recording
        if recording.path and recording.path != self._path:
            self._path = recording.path
            if not self._quiet:
                say(f"recording {self._title} to {recording.path}")
        # A figure that moves, such as what is free on the disk, is no news.
        kind = _FIGURES.sub("0", recording.trouble)
        if kind != self._trouble:
            self._trouble = kind
            self.tell(recording.trouble or "recording goes on; everything is stored")
        self._wait(live)
        offset_s = time.time() - own_time()
        if abs(offset_s - self._offset_s) >= CLOCK_STEP_S:
            self.tell(f"the clock was set by {offset_s - self._offset_s:+.0f} s; log time goes on")
        # Slow corrections are no news.
        self._offset_s = offset_s

    def show_failure(self, live: Live) -> None:
        """Say once why the watch has ended by itself, if it has."""
        if live.fatal is not None and not self._has_failed:
            self._has_failed = True
            say(f"ohmvigil: {live.fatal}", sys.stderr)

    def _wait(self, live: Live) -> None:
        """Why there is no link yet, once; an open link that is lost is an event."""
        if live.is_heard or live.link_state not in (LinkState.LOST, LinkState.CONNECTING):
            return
        why = live.link_why
        if why and why != self._waiting:
            self._waiting = why
            self.tell(f"no host yet: {why}; waiting")
