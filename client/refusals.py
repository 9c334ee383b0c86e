"""Counts what of a host's messages could not be used, and tells it once a second at most."""

import math
from collections import Counter

from shared.unreadable import EXAMPLE, NO_FIT, told

TELL_S = 1.0
FIT_S = 8.0
"""Own time after the first message within which one should have fitted the profile."""
GREETINGS = 3
"""So many lines before the first message that fits are a greeting, and no fault."""


class Refusals:
    """`counts` holds all of it by reason; `take` what is new, for the log.

    Until a message fits, nothing is told for `FIT_S`: hosts greet, and answer what was asked.
    Messages without a name that fits are told only while none ever did: a host has other
    things to say than a profile asks for.
    """

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self.first: dict[str, str] = {}
        """By reason, the beginning of what was refused first."""
        self._new: Counter[str] = Counter()
        self._examples: dict[str, str] = {}
        self._fits = False
        self._first_s = math.nan
        self._told_s = -math.inf

    def heard(self, own_s: float) -> None:
        """A message came."""
        if math.isnan(self._first_s):
            self._first_s = own_s

    def refuse(self, why: str, example: bytes | str, times: int = 1) -> None:
        """A message, or a value in one, cannot be used."""
        self.counts[why] += times
        self._add(why, example, times)

    def no_fit(self, example: bytes) -> None:
        """A message is read, and nothing in it has a place in the profile."""
        if not self._fits:
            self._add(NO_FIT, example, 1)

    def fit(self) -> None:
        """A message gave a reading."""
        if not self._fits:
            self._fits = True
            del self._new[NO_FIT]
            if self._new.total() <= GREETINGS:
                self._new.clear()

    def take(self, own_s: float) -> str:
        """What is to be told now; empty if nothing is."""
        if not self._new or own_s - self._told_s < TELL_S:
            return ""
        if not self._fits and not own_s - self._first_s >= FIT_S:
            return ""
        self._told_s = own_s
        ((why, count),) = self._new.most_common(1)
        del self._new[why]
        return told(count, why, self._examples.pop(why))

    def _add(self, why: str, example: bytes | str, times: int) -> None:
        self._new[why] += times
        if why not in self._examples:
            head = example[: 8 * EXAMPLE]
            text = head.decode(errors="replace") if type(head) is bytes else str(head)
            self._examples[why] = text
            self.first.setdefault(why, text)
