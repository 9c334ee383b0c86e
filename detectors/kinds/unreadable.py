"""unreadable: messages of the host that could not be used.

Quantity: messages, or values in them, since the log began. The client tells them as text
(`shared/unreadable.py`), once a second at most: what is no JSON, is larger than the limit, is an
answer that says an error, holds values that are none, or, as long as nothing ever fitted, has no
name that the profile knows. It is over when none has come for ten seconds.

Blind to what a host sends beside its readings in messages that are sound.
"""

import math
from collections import Counter
from collections.abc import Mapping

from detectors.book import EventBook
from detectors.detector import HostDetector, Rule, Say
from detectors.reports import Cleared, Report, Sighting, of_the_host
from shared.events import Event
from shared.unreadable import NO_FIT, UNREADABLE, told_of
from shared.words import EVERY_CHANNEL, Kind, is_number_key

QUIET_S = 10.0
MOST_WHYS = 64
SHOWN = 3
"""Reasons that are told."""


class UnreadableDetector(HostDetector):
    """Sums up what the client tells."""

    def __init__(self) -> None:
        self._counts: Counter[str] = Counter()
        self._examples: dict[str, str] = {}

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        found = told_of(text) if key == UNREADABLE else None
        if found is None:
            return
        count, why, example = found
        if why not in self._counts and len(self._counts) >= MOST_WHYS:
            why = max(self._counts)
        self._counts[why] += count
        self._examples.setdefault(why, example)
        total = self._counts.total()
        sighting = of_the_host(
            Kind.UNREADABLE,
            row,
            time_s,
            self._words(total),
            value=float(total),
            unit="messages",
            facts={"why": why},
        )
        say(sighting)

    def _words(self, total: int) -> str:
        parts = []
        for why, count in self._counts.most_common(SHOWN):
            example = self._examples[why]
            such = f", such as '{example}'" if example else ""
            if why == NO_FIT:
                do = "run `ohmvigil watch HOST --check`"
                return f"messages come, none fits this profile{such}: {do}"
            parts.append(f"{why}{f' ({count})' if len(self._counts) > 1 else ''}{such}")
        what = "value" if all(map(is_number_key, self._counts)) else "message"
        more = "; and more" if len(self._counts) > SHOWN else ""
        return (
            f"{total} {what}{'' if total == 1 else 's'} could not be used: {'; '.join(parts)}{more}"
        )


class UnreadableRule(Rule):
    """Ends what has been quiet."""

    def __init__(self) -> None:
        self._last_s = math.nan

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        if isinstance(report, Sighting) and report.kind is Kind.UNREADABLE:
            self._last_s = report.at_s

    def advance(self, time_s: float, book: EventBook) -> None:
        if time_s - self._last_s >= QUIET_S:
            last_s, self._last_s = self._last_s, math.nan
            book.clear(Cleared(0, last_s + QUIET_S, EVERY_CHANNEL, Kind.UNREADABLE, last_s))
