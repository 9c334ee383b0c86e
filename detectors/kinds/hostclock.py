"""host-clock: the host's clock stands still, falls or leaps while readings go on.

Quantity: seconds by which it moved, or for which it stood. The client holds host time against
this machine's own time and goes on by own time where the two part (`client/clock.py`); what it
found comes as text (`shared/hostclock.py`), so that a recording and an exported log tell it as
well. A move within `RESTART_S` of a restart, of host or controller, is that start's.

In a log without such texts a leap is seen where the controller's uptime says so: see `link`.
Blind to a clock that goes too fast or too slow.
"""

import math

from detectors.detector import HostDetector, Say
from detectors.reports import Cleared, Sighting, of_the_host
from shared.hostclock import STANDS, TIMEKEEPING, moved_by_s
from shared.when import spelt
from shared.words import EVERY_CHANNEL, HostState, Kind

RESTART_S = 10.0
"""Host and controller say one after the other that they start anew."""


class HostClockDetector(HostDetector):
    """Listens to what is told of the host's clock."""

    def __init__(self) -> None:
        self._restarted_s = -math.inf
        self._has_uptime = False
        self._stands = False

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        if key == "host.state" and text in (HostState.STARTING, HostState.GONE):
            self._restarted_s = time_s
        if key != TIMEKEEPING:
            return
        if self._stands:
            self._stands = False
            say(Cleared(row, time_s, EVERY_CHANNEL, Kind.HOST_CLOCK, time_s))
        by_s = moved_by_s(text)
        if text == STANDS:
            self._stands = True
            say(standing(row, time_s))
        elif by_s is not None and time_s - self._restarted_s > RESTART_S:
            say(leap(row, time_s, time_s, by_s))

    def uptime(self, row: int, time_s: float, uptime_s: float, say: Say) -> None:
        if self._has_uptime:
            self._restarted_s = time_s
        self._has_uptime = True


def standing(row: int, time_s: float) -> Sighting:
    """A clock that stands from now on."""
    text = (
        "the host's clock stands still while readings go on; times are by our own clock: "
        "look at the host's time service"
    )
    return of_the_host(Kind.HOST_CLOCK, row, time_s, text)


def leap(row: int, time_s: float, since_s: float, by_s: float) -> Sighting:
    """A clock that moved by `by_s`, told at `time_s`."""
    how = "leapt forward" if by_s > 0.0 else "fell back"
    text = (
        f"the host's clock {how} by {spelt(abs(by_s))} while readings went on: it was set, "
        "or its time service is at fault"
    )
    return of_the_host(
        Kind.HOST_CLOCK, row, time_s, text, start_s=since_s, end_s=time_s, value=by_s
    )
