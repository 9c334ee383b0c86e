"""restart, halt, unknown-state, link-loss and stale: the host, the controller, the way to them.

Quantity: seconds. `stale` is silence although the link is up: longer than `SILENCE_S`,
than ten times the host's own mean spacing, and than twice the longest of its latest gaps
that were not silences, so that a host that speaks every five seconds, or only when
something changes, is not called silent. Nor is one whose clock was set, where uptime shows it.
`link-loss` lasts from the host's being gone to
its next word. A restart is an uptime that falls, or a host that says it is starting. A halt
is quoted with what the host newly said at that moment or up to `AFTER_S` later, first; failing
that, with what it said up to `BEFORE_S` before: older words are of something else. A state
without a meaning is never taken for up: it is told, in the host's own word, until one comes that
has a meaning.

Blind to a restart of the controller where no uptime is reported, to silence shorter than
the limit, and to a single channel that falls silent: hosts may send only what changes, so
that is looked for as `frozen`.
"""

import math
from collections import deque

from detectors.detector import Say
from detectors.gates import STARTING_S
from detectors.hoststate import host_state
from detectors.kinds.hostclock import leap
from detectors.reports import Cleared, Sighting, Started
from shared.events import NotEvaluated
from shared.words import EVERY_CHANNEL, HostState, Kind

SILENCE_S = 5.0
"""Default: twenty updates at the 4 Hz that hosts commonly send (common practice)."""
SPACINGS = 10.0
GAPS = 2.0
GAPS_KEPT = 32
ROWS_TO_LEARN = 8
UNKNOWN_SILENCE_S = 30.0
"""Limit until so many rows have shown the host's spacing."""
SAME_TIME = 0.5
"""Uptime that grows by less than this part of a gap tells a clock that was set from a silence."""
ONE_RESTART_S = 10.0
"""Host and controller that start within this time of each other started together."""
BEFORE_S, AFTER_S = 2.0, 10.0
"""How long before and after a halt its reason may be said (a choice: hosts say both at once)."""


class Cadence:
    """The host's own spacing of updates, from row numbers and its latest gaps."""

    def __init__(self) -> None:
        self._first_s = math.nan
        self._first_row = 0
        self._silent_s = 0.0
        self._gaps: deque[float] = deque(maxlen=GAPS_KEPT)

    def begin(self, row: int, time_s: float) -> None:
        self._first_s, self._first_row = time_s, row

    def gap(self, seconds: float, was_silence: bool) -> None:
        """A gap between two rows; silences and broken links are no habit of the host."""
        if was_silence:
            self._silent_s += seconds
        else:
            self._gaps.append(seconds)

    def limit_s(self, row: int, last_s: float) -> float:
        """Silence from here on is stale; `row` is the next one, `last_s` the last one's time."""
        rows = row - 1 - self._first_row
        if rows < ROWS_TO_LEARN:
            return UNKNOWN_SILENCE_S
        spacing_s = (last_s - self._first_s - self._silent_s) / rows
        return max(SILENCE_S, SPACINGS * spacing_s, GAPS * max(self._gaps, default=0.0))


class LinkDetector:
    """Sees states, uptimes and gaps."""

    def __init__(self) -> None:
        self._state = HostState.UP
        self._is_unknown = False
        self._silent = False
        self._knows_link = False
        """Whether the log tells of the link: host states, or time that passed without data."""
        self._gone_row = -1
        self._has_uptime = False
        self._restarted_s = -math.inf
        self._words = ""
        self._words_s = -math.inf
        self._halted_s = math.nan
        """When the halt came that still waits for words of its own; else NaN."""
        self._cadence = Cadence()

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        if key == "host.message":
            self._words, self._words_s = text, time_s
            if self._state is HostState.HALTED and time_s - self._halted_s <= AFTER_S:
                say(self._halt(row, time_s))
        if key != "host.state":
            return
        state, was = host_state(text), self._state
        self._knows_link = True
        if self._is_unknown:
            say(Cleared(row, time_s, EVERY_CHANNEL, Kind.UNKNOWN_STATE, time_s))
        self._is_unknown = state is None
        # Of the link and of silence an unknown word says as much as any other.
        self._state = HostState.UP if state is None else state
        if was is HostState.GONE:
            say(Cleared(row, time_s, EVERY_CHANNEL, Kind.LINK_LOSS, time_s))
        if was is HostState.HALTED:
            say(Cleared(row, time_s, EVERY_CHANNEL, Kind.HALT, time_s))
        if state is None:
            text = f"the host says '{text}', which has no meaning here: not taken for up"
            say(self._sighting(row, time_s, Kind.UNKNOWN_STATE, time_s, text))
        elif state is HostState.GONE:
            self._gone_row = row
            self._end_silence(row, time_s, say)
            say(self._sighting(row, time_s, Kind.LINK_LOSS, time_s, "the link to the host is down"))
        elif state is HostState.HALTED:
            self._halted_s = time_s
            say(self._halt(row, time_s))
        elif state is HostState.STARTING:
            self._restart(row, time_s, "the host started again", say)
            say(Started(row, time_s, EVERY_CHANNEL, time_s))

    def uptime(self, row: int, time_s: float, uptime_s: float, say: Say) -> None:
        if self._has_uptime:
            self._restart(row, time_s, f"the controller started again {uptime_s:.0f} s ago", say)
        self._has_uptime = True
        if uptime_s < STARTING_S:
            say(Started(row, time_s, EVERY_CHANNEL, time_s - uptime_s))

    def heard(self, row: int, time_s: float, before_s: float, grew_s: float, say: Say) -> None:
        """A row that came later than usual; `grew_s`: by how much uptime grew since the last."""
        if before_s != before_s:
            self._cadence.begin(row, time_s)
            return
        gap_s = time_s - before_s
        is_silence, was_gone = self._silent, row == self._gone_row
        if self._silent:
            self._end_silence(row, time_s, say)
        elif self._state is not HostState.GONE and not was_gone:
            limit_s = self._cadence.limit_s(row, before_s)
            is_silence = gap_s > limit_s
            if is_silence and 0.0 <= grew_s < min(SAME_TIME * gap_s, limit_s):
                # The controller's own clock says so little went by: the host's was set.
                say(leap(row, time_s, before_s, gap_s - grew_s))
            elif is_silence:
                say(self._silence(row, time_s, before_s, time_s, limit_s))
        self._cadence.gap(gap_s, is_silence or was_gone)

    def passed(self, row: int, time_s: float, heard_s: float, say: Say) -> None:
        self._knows_link = True
        if self._silent or self._state is HostState.GONE or heard_s != heard_s:
            return
        limit_s = self._cadence.limit_s(row, heard_s)
        if time_s - heard_s > limit_s:
            self._silent = True
            say(self._silence(row, time_s, heard_s, None, limit_s))

    def finish(self, say: Say) -> None:
        """Nothing is held back."""

    def not_evaluated(self) -> list[NotEvaluated]:
        why = (
            "whether one channel alone fell silent can't be told where hosts may send only changes"
        )
        return [NotEvaluated(kind=Kind.STALE, channel=EVERY_CHANNEL, why=why)]

    def _end_silence(self, row: int, time_s: float, say: Say) -> None:
        if self._silent:
            self._silent = False
            say(Cleared(row, time_s, EVERY_CHANNEL, Kind.STALE, time_s))

    def _silence(
        self, row: int, time_s: float, since_s: float, end_s: float | None, limit_s: float
    ) -> Sighting:
        up = " though the link is up" if self._knows_link else "; of the link nothing is told"
        return Sighting(
            row=row,
            at_s=time_s,
            channel=EVERY_CHANNEL,
            kind=Kind.STALE,
            start_s=since_s,
            end_s=end_s,
            value=limit_s,
            unit="s",
            text=f"no update for more than {limit_s:.3g} s{up}",
            facts={"limit_s": limit_s, "link_known": float(self._knows_link)},
        )

    def _halt(self, row: int, time_s: float) -> Sighting:
        """The halt, in the words that go with it."""
        words = self._words if self._words_s >= self._halted_s - BEFORE_S else ""
        if words and self._words_s >= self._halted_s:
            start_s, self._halted_s = self._halted_s, math.nan
        else:
            start_s = self._halted_s
        said = f": {words}" if words else ""
        text = f"the host stopped the machine{said}"
        found = self._sighting(row, time_s, Kind.HALT, start_s, text)
        found.facts = {"message": words} if words else {}
        return found

    def _restart(self, row: int, time_s: float, text: str, say: Say) -> None:
        if time_s - self._restarted_s < ONE_RESTART_S:
            return
        self._restarted_s = time_s
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
