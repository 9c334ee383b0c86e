"""The hosts that one process watches: which of them lost their links at the same time.

One that goes alone speaks against the way that all share; all at once speak for it.
"""

import math
import threading
from dataclasses import dataclass

TOGETHER_S = 20.0
"""Silence is noticed by each host's own limit, so not at one instant."""


@dataclass(slots=True)
class _Seat:
    is_up: bool = False
    lost_s: float = math.nan
    told: bool = True


class Company:
    """Hosts by number. Safe to call from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._seats: list[_Seat] = []

    def take_seat(self) -> int:
        """A number for one more host."""
        with self._lock:
            self._seats.append(_Seat())
            return len(self._seats) - 1

    def opened(self, number: int) -> None:
        """This host's link is open."""
        with self._lock:
            self._seats[number].is_up = True

    def lost(self, number: int, own_s: float) -> None:
        """This host's open link ended."""
        with self._lock:
            seat = self._seats[number]
            seat.is_up, seat.lost_s, seat.told = False, own_s, False

    def share(self, number: int, own_s: float) -> tuple[int, int] | None:
        """How many other hosts were lost with this one, of those that then had a link.

        Given once for each loss, when it can be told; None before and after, and for one alone.
        """
        with self._lock:
            mine = self._seats[number]
            if mine.told or own_s - mine.lost_s < TOGETHER_S:
                return None
            mine.told = True
            rest = [seat for place, seat in enumerate(self._seats) if place != number]
            together = [abs(seat.lost_s - mine.lost_s) <= TOGETHER_S for seat in rest]
            of = sum(too or seat.is_up for seat, too in zip(rest, together, strict=True))
            return (sum(together), of) if of else None
