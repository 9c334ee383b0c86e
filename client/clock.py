"""Log time: host time straightened against this machine's own time. No clock inside.

The log begins at the host's first time and never falls.

- Normally log time is host time. A host time up to `LATE_S` behind the newest, as when
  updates overtake one another, is held at the newest.
- A host clock that jumps (back beyond that, or forward beyond what own time · pace can
  explain) or starts anew (a restarted host counts from 0 again) is moved: the log goes on
  from its last time plus own time elapsed · pace, and later host times count from there.
  `jumps` counts these.
- After the link has opened anew nothing late can come: host time behind the newest, or
  `JUMP_S` · pace behind own time, has moved.
- A host time that is said again, by a clock in whole seconds say, goes on from message to
  message by own time, at most `LATE_S` each: readings have times of their own.
- A host clock that says the same time in `STAND_SAYS` messages over `STAND_S` of own time
  or more stands: the log goes on by own time until the clock does. `take_news` tells that
  it stands, goes, or has moved (`shared.hostclock`); what a new link brings is no news.
- What own time can explain is judged by lead, the log minus own time · pace: a stalled
  network delivers late and in bursts, which lowers the lead and is no jump. The highest
  lead seen is the undelayed one; it may grow by `JUMP_S` · pace at once, and slow drift
  either way (`DRIFT`, far more than any crystal's) is followed.
- Without a host clock the log is own time, from 0 at the first entry. With a clock that
  has not shown itself within `WAIT_S` of own time, the log begins at 0 in the same way and
  later host times count from there.
- A tick stays `LATE_S` of own time behind, so that an update that is merely late still
  finds its own place; a lost link is stamped without that, for nothing can follow on it.
- Where own time stands in for host time, a simulated host that cannot keep its pace is
  taken at the rate that it has kept since the log's last jump.

The same calls give the same times.
"""

import math
from collections import deque

from shared.hostclock import GOES, STANDS, moved

LATE_S = 1.0
TOLD_EVERY_S = 1.0
"""How often it is told that time passes while a host says nothing that can be read."""
JUMP_S = 2.0
DRIFT = 1e-3
WAIT_S = 8.0
STAND_S = 4.0
"""Longer than clocks in whole seconds stand, shorter than a silence is allowed to be."""
STAND_SAYS = 4
LOWEST_PACE = 0.01
HIGHEST_PACE = 10_000.0
_RATE_AFTER_S = 0.25
"""Own time after which the rate that a host has kept can be told."""


class LogTime:
    """Straightens one host's time. `has_clock`: whether its profile says where host time is."""

    def __init__(self, has_clock: bool) -> None:
        self._has_clock = has_clock
        self._first_own_s: float | None = None
        self._is_known = False
        self._offset_s: float | None = None
        # Newest host-stamped moment on both clocks, and the one after the last jump.
        self._own_s = self._log_s = 0.0
        self._anchor_own_s = self._anchor_log_s = 0.0
        self._top_lead_s = 0.0
        self._floor_s = 0.0
        self._reopened = False
        # What the clock said last, when it first said so, and how often since.
        self._said_s = math.nan
        self._said_own_s = self._heard_own_s = 0.0
        self._said_times = 0
        self._stands = False
        self._news: deque[str] = deque()
        self.pace = 1.0
        self.jumps = 0

    @property
    def is_known(self) -> bool:
        """Whether the log has begun."""
        return self._is_known

    @property
    def has_host_time(self) -> bool:
        """Whether the host ever said a time."""
        return self._offset_s is not None

    @property
    def newest_s(self) -> float:
        """The log's newest time."""
        return self._floor_s

    def set_pace(self, pace: float) -> None:
        """Take the host's word for its simulated seconds per second; absurd ones are ignored."""
        if LOWEST_PACE <= pace <= HIGHEST_PACE and pace != self.pace:
            self.pace = pace
            self._set_anchor(self._own_s, self._log_s)

    def see(self, own_s: float) -> None:
        """Note own time without an update; begins the log where no host time will."""
        if self._first_own_s is None:
            self._first_own_s = own_s
        waited_s = own_s - self._first_own_s
        if not self._is_known and (not self._has_clock or waited_s >= WAIT_S):
            self._begin(own_s, waited_s * self.pace)

    def begin(self, own_s: float) -> None:
        """Begin the log without host time, if nothing has."""
        if not self._is_known:
            self._first_own_s = own_s if self._first_own_s is None else self._first_own_s
            self._begin(own_s, (own_s - self._first_own_s) * self.pace)

    def at(self, own_s: float, host_s: float) -> float:
        """Log time of an update that arrived at `own_s` and says `host_s`."""
        if not self._is_known:
            self._offset_s = 0.0
            self._begin(own_s, host_s)
            return host_s
        stood = self._stands
        gone_s = min(own_s - self._heard_own_s, LATE_S) * self.pace
        self._heard_own_s = own_s
        self._watch(own_s, host_s)
        if self._offset_s is None or (stood and not self._stands):
            return self._move(own_s, host_s)
        if self._stands:
            return self.time_at(own_s)
        if self._said_times > 1:
            self._floor_s = max(self._floor_s, min(self._floor_s + gone_s, self.reckon(own_s)))
            return self._floor_s
        log_s = host_s + self._offset_s
        reach_s = JUMP_S * max(self.pace, 1.0)
        top_s = self._top_lead_s - DRIFT * self.pace * max(own_s - self._own_s, 0.0)
        lead_s = log_s - own_s * self.pace
        oldest_s = self._log_s - LATE_S
        is_news = not self._reopened
        if self._reopened:
            oldest_s = max(self._log_s, self.reckon(own_s) - reach_s)
            self._reopened = False
        if log_s < oldest_s or lead_s > top_s + reach_s:
            self.jumps += 1
            if is_news:
                self._news += (moved(log_s - self.reckon(own_s)), GOES)
            return self._move(own_s, host_s)
        self._top_lead_s = max(top_s, lead_s)
        if log_s > self._log_s:
            self._own_s, self._log_s = own_s, log_s
        return self._hold(log_s)

    def take_news(self) -> str:
        """The next piece of news of the host's clock, once; empty where there is none."""
        return self._news.popleft() if self._news else ""

    def reopen(self) -> None:
        """The link opened anew: nothing late can come, so host time behind is host time moved."""
        self._reopened = True

    def time_at(self, own_s: float) -> float:
        """Log time that belongs to an own time, for what has no host time."""
        return self._hold(self.reckon(own_s))

    def tick(self, own_s: float) -> float:
        """Log time that has surely passed at `own_s`, though the host said nothing."""
        return self._hold(self.reckon(own_s - LATE_S))

    def passed(self, own_s: float) -> float | None:
        """The log's time at `own_s` where a second or more has surely passed since it was told."""
        is_due = self.reckon(own_s - LATE_S) - self._floor_s >= TOLD_EVERY_S
        return self.tick(own_s) if self._is_known and is_due else None

    def _watch(self, own_s: float, host_s: float) -> None:
        """Whether the clock stands."""
        if host_s != self._said_s:
            self._said_s, self._said_own_s, self._said_times = host_s, own_s, 1
            if self._stands:
                self._stands = False
                self._news.append(GOES)
            return
        self._said_times += 1
        stood_s = (own_s - self._said_own_s) * max(self.pace, 1.0)
        if not self._stands and stood_s >= STAND_S and self._said_times >= STAND_SAYS:
            self._stands = True
            self._news.append(STANDS)

    def _begin(self, own_s: float, log_s: float) -> None:
        self._is_known = True
        self._floor_s = log_s
        self._set_anchor(own_s, log_s)

    def _move(self, own_s: float, host_s: float) -> float:
        log_s = self.time_at(own_s)
        self._offset_s = log_s - host_s
        self._set_anchor(own_s, log_s)
        return log_s

    def _set_anchor(self, own_s: float, log_s: float) -> None:
        self._own_s = self._anchor_own_s = own_s
        self._log_s = self._anchor_log_s = log_s
        self._top_lead_s = log_s - own_s * self.pace

    def reckon(self, own_s: float) -> float:
        """Log time that belongs to an own time, without moving the log."""
        rate = self.pace
        kept_s = self._own_s - self._anchor_own_s
        if rate != 1.0 and kept_s > _RATE_AFTER_S:
            rate = min(rate, (self._log_s - self._anchor_log_s) / kept_s)
        return self._log_s + max(own_s - self._own_s, 0.0) * rate

    def _hold(self, log_s: float) -> float:
        self._floor_s = max(self._floor_s, log_s)
        return self._floor_s
