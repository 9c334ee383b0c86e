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
OTHER = "other reasons"
SHOWN = 3
"""Reasons that are told."""


class UnreadableDetector(HostDetector):
    """Sums up what the client tells."""

    def __init__(self) -> None:
        self._counts: Counter[str] = Counter()
        self._examples: dict[str, str] = {}
        self._no_fit = 0

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        found = told_of(text) if key == UNREADABLE else None
        if found is None:
            return
        count, why, example = found
        if why == NO_FIT:
            self._no_fit += count
            do = "run `ohmvigil watch HOST --check`"
            words = f"messages come, none fits this profile{_such(example)}: {do}"
            what = "message"
        else:
            if why not in self._counts and len(self._counts) >= MOST_WHYS:
                why = OTHER
            self._counts[why] += count
            self._examples.setdefault(why, example)
            total = self._counts.total()
            what = "value" if all(map(is_number_key, self._counts)) else "message"
            words = f"{total} {what}{'' if total == 1 else 's'} could not be used: {self._whys()}"
        # Of all that was told so far: the newest words are the event's.
        value, unit = float(self._no_fit + self._counts.total()), f"{what}s"
        sighting = of_the_host(Kind.UNREADABLE, row, time_s, words, value=value, unit=unit)
        sighting.facts["why"] = why
        say(sighting)

    def _whys(self) -> str:
        """The most frequent reasons, with an example each."""
        is_one = len(self._counts) == 1
        parts = [
            f"{why}{'' if is_one else f' ({count})'}{_such(self._examples[why])}"
            for why, count in self._counts.most_common(SHOWN)
        ]
        return "; ".join([*parts, *(["and more"] if len(self._counts) > SHOWN else [])])


def _such(example: str) -> str:
    return f", such as '{example}'" if example else ""


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
