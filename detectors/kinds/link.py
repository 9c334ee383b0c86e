"""restart, halt, link-loss and stale: the host, the controller and the way to them.

Quantity: seconds. `stale` is silence although the link is up: longer than `SILENCE_S`,
and longer than ten times the host's own spacing, so that a host that speaks every two
seconds is not called silent. `link-loss` lasts from the host's being gone to its next
word. A restart is an uptime that falls, or a host that says it is starting.

Blind to a restart of the controller where no uptime is reported, and to silence
shorter than the limit.
"""

from detectors.detector import Say
from detectors.hoststate import host_state
from detectors.reports import Cleared, Sighting
from shared.words import EVERY_CHANNEL, HostState, Kind

SILENCE_S = 5.0
"""Default: twenty updates at the 4 Hz that hosts commonly send (common practice)."""


class LinkDetector:
    """Sees states, uptimes and gaps."""

    def __init__(self) -> None:
        self._state = HostState.UP
        self._silent = False
        self._words = ""

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        if key == "host.message":
            self._words = text
        state, was = host_state(text) if key == "host.state" else None, self._state
        if state is None:
            return
        self._state = state
        if was is HostState.GONE:
            say(Cleared(row, time_s, EVERY_CHANNEL, Kind.LINK_LOSS, time_s))
        if was is HostState.HALTED:
            say(Cleared(row, time_s, EVERY_CHANNEL, Kind.HALT, time_s))
        if state is HostState.GONE:
            self._end_silence(row, time_s, say)
            say(self._sighting(row, time_s, Kind.LINK_LOSS, time_s, "the link to the host is down"))
        elif state is HostState.HALTED:
            words = f": {self._words}" if self._words else ""
            text = f"the host stopped the machine{words}"
            say(self._sighting(row, time_s, Kind.HALT, time_s, text))
        elif state is HostState.STARTING:
            self._restart(row, time_s, "the host started again", say)

    def uptime(self, row: int, time_s: float, uptime_s: float, say: Say) -> None:
        self._restart(row, time_s, f"the controller started again {uptime_s:.1f} s ago", say)

    def heard(self, row: int, time_s: float, before_s: float, say: Say) -> None:
        if self._silent:
            self._end_silence(row, time_s, say)
        elif self._state is not HostState.GONE and time_s - before_s > SILENCE_S:
            say(self._silence(row, time_s, before_s, time_s))

    def passed(self, row: int, time_s: float, heard_s: float, say: Say) -> None:
        if self._silent or self._state is HostState.GONE:
            return
        if time_s - heard_s > SILENCE_S:
            self._silent = True
            say(self._silence(row, time_s, heard_s, None))

    def finish(self, say: Say) -> None:
        """Nothing is held back."""

    def _end_silence(self, row: int, time_s: float, say: Say) -> None:
        if self._silent:
            self._silent = False
            say(Cleared(row, time_s, EVERY_CHANNEL, Kind.STALE, time_s))

    def _silence(self, row: int, time_s: float, since_s: float, end_s: float | None) -> Sighting:
        return Sighting(
            row=row,
            at_s=time_s,
            channel=EVERY_CHANNEL,
            kind=Kind.STALE,
            start_s=since_s,
            end_s=end_s,
            value=SILENCE_S,
            unit="s",
            text=f"no update for more than {SILENCE_S:g} s though the link is up",
        )

    def _restart(self, row: int, time_s: float, text: str, say: Say) -> None:
        say(self._sighting(row, time_s, Kind.RESTART, time_s, text, end_s=time_s))

    def _sighting(
        self,
        row: int,
        time_s: float,
        kind: Kind,
        start_s: float,
        text: str,
        end_s: float | None = None,
    ) -> Sighting:
        return Sighting(
            row=row,
            at_s=time_s,
            channel=EVERY_CHANNEL,
            kind=kind,
            start_s=start_s,
            end_s=end_s,
            value=0.0,
            unit="s",
            text=text,
            facts={"message": self._words} if self._words else {},
        )
