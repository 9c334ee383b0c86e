"""What is told of the link, and of this machine's own part in it. No clock inside.

- `late`: a beat of our own, or anything that came in its place, was more than `LATE_S` overdue:
  this machine was busy, or asleep. It is told before what came meanwhile.
- `held-up`: nothing came for `HELD_S`, then as much at once as that time should have brought,
  while we were awake: the host had sent it, and it was held up on the way.
- `answers`: once for each silence.
- The same failure of try after try is told once.
"""

import math
from collections import deque
from collections.abc import Iterator

from client.company import Company
from shared.link import (
    How,
    What,
    dropped,
    held_up,
    late,
    lost,
    others,
    tried,
)
from shared.updates import LinkNews

LATE_S = 2.0
"""More than a loop is held up by its own work."""
HELD_S = 2.0
AT_ONCE_S = 0.3
LEAST_AT_ONCE = 4
SHARE_AT_ONCE = 0.5
"""Part of what the gap should have brought that has to come at once."""
SPACINGS = 32


class Teller:
    """Turns what happens, with own times, into news. `beat_s` is the beat that is promised."""

    def __init__(self, beat_s: float, company: Company | None = None) -> None:
        self._beat_s = beat_s
        self._company = company or Company()
        self._seat = self._company.take_seat()
        self._due_s = math.inf
        self._up = False
        self._tried = ""
        self._answered = False
        self._dropped = 0
        self._heard_s = math.nan
        self._late_s = 0.0
        """How late we were since the last message."""
        self._spacings: deque[float] = deque(maxlen=SPACINGS)
        self._gap_s = math.nan
        """The gap that may turn out to have been held up."""
        self._gap_end_s = math.nan
        self._at_once = 0

    def beat(self, own_s: float) -> Iterator[LinkNews]:
        """Our own beat; the next is due in `beat_s`."""
        yield from self._lateness(own_s)
        self._due_s = own_s + self._beat_s
        share = self._company.share(self._seat, own_s)
        if share is not None:
            yield self._news(others(*share))

    def opened(self, own_s: float, where: str) -> Iterator[LinkNews]:
        """The link is open."""
        yield from self._lateness(own_s)
        self._up = True
        self._tried = ""
        self._heard_s = self._gap_s = math.nan
        self._company.opened(self._seat)
        yield LinkNews(True, where, What.OPEN)

    def lost(self, own_s: float, why: str, how: How) -> Iterator[LinkNews]:
        """The open link ended."""
        yield from self._lateness(own_s)
        self._up = False
        self._answered = False
        self._company.lost(self._seat, own_s)
        yield LinkNews(False, why, lost(how, why))

    def failed(self, own_s: float, why: str, how: How) -> Iterator[LinkNews]:
        """A try to open it failed."""
        yield from self._lateness(own_s)
        text = tried(how, why)
        if text != self._tried:
            self._tried = text
            yield self._news(text)

    def dropped(self, in_all: int) -> LinkNews | None:
        """News of what was dropped since this was asked last, from how much it is in all."""
        more, self._dropped = in_all - self._dropped, in_all
        return self._news(dropped(more)) if more else None

    def answers(self, own_s: float) -> Iterator[LinkNews]:
        """The host sends nothing, but gave a sign of life."""
        yield from self._lateness(own_s)
        if not self._answered:
            self._answered = True
            yield self._news(What.ANSWERS)

    def message(self, own_s: float) -> Iterator[LinkNews]:
        """A message came."""
        yield from self._lateness(own_s)
        self._answered = False
        gap_s = own_s - self._heard_s
        self._heard_s = own_s
        if gap_s >= HELD_S and self._late_s < 0.5 * gap_s:
            self._gap_s, self._gap_end_s, self._at_once = gap_s, own_s, 1
        elif gap_s < HELD_S:
            if self._gap_s == self._gap_s:
                yield from self._burst(own_s)
            else:
                self._spacings.append(gap_s)
        self._late_s = 0.0

    def _burst(self, own_s: float) -> Iterator[LinkNews]:
        """One more message after a gap."""
        if own_s - self._gap_end_s > AT_ONCE_S:
            self._gap_s = math.nan
            return
        self._at_once += 1
        if len(self._spacings) < LEAST_AT_ONCE:
            return
        usual_s = sum(self._spacings) / len(self._spacings)
        expected = SHARE_AT_ONCE * self._gap_s / max(usual_s, 1e-3)
        if self._at_once >= max(LEAST_AT_ONCE, expected):
            yield self._news(held_up(self._gap_s))
            self._gap_s = math.nan

    def _lateness(self, own_s: float) -> Iterator[LinkNews]:
        over_s = own_s - self._due_s
        if over_s > LATE_S:
            self._due_s = own_s + self._beat_s
            self._late_s += over_s
            yield self._news(late(over_s))

    def _news(self, told: str) -> LinkNews:
        return LinkNews(self._up, "", told)
