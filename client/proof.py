"""Proof of a profile: which of its readings gave values, how often, and how time runs.

Feed it the entries of a watch; no I/O, no clock.
"""

from collections import Counter

import msgspec
import numpy as np

from client.clash import clash
from client.form import Profile
from client.mapping import Mapper
from client.saying import STATE_KEY
from shared.absent import absent_key
from shared.hostclock import TIMEKEEPING
from shared.link import LINK
from shared.unreadable import UNREADABLE
from shared.updates import Entry, EntryKind, Floats, Value
from shared.words import HostState

MAX_MOMENTS = 10_000
MAX_STATES = 20
_OURS = {str(word) for word in HostState}
SINCE_1970_S = 1e9
"""A clock beyond this (September 2001) counts from 1970 and tells the time of day."""


class ReadingProof(msgspec.Struct, frozen=True):
    """One reading: how often it gave a value, the last one, how often it was refused."""

    key: str
    count: int
    last: Value | None
    refused: int
    why: str = ""
    """Why it was refused, by the first one, and what to do."""
    none: int = 0
    """How often the host said that there is none."""
    word: str = ""
    """What it said then, the last time."""


class TimeProof(msgspec.Struct, frozen=True):
    """How log time runs against own time. Delays are beyond the quickest update's, s."""

    has_clock: bool
    moments: int
    slope: float | None
    """Log seconds a second of own time, by a robust line (Theil–Sen)."""
    delay_median_s: float
    delay_99_s: float
    jumps: int
    was_told: bool = True
    """Whether the host's clock ever said a time."""
    ahead_s: float | None = None
    """How far the host's wall clock is ahead of ours, less the quickest update's delay; None where
    its clock is none since 1970, or was moved."""


_OF_US = {UNREADABLE, TIMEKEEPING, LINK}
"""Keys that say what the client made of messages and link."""


class Proof:
    """Counts what a profile makes of a host's messages."""

    def __init__(self, profile: Profile) -> None:
        self._mapper = Mapper(profile)
        self._has_clock = any(source.clock is not None for source in profile.updates)
        self._readings = {
            f"{name}.{quantity}": (quantity, reading)
            for name, channel in profile.channels.items()
            for quantity, reading in channel.readings.items()
        }
        self._counts: Counter[str] = Counter()
        self._last: dict[str, Value] = {}
        self._own_s: list[float] = []
        self._log_s: list[float] = []
        self._states: dict[str, None] = {}
        self.messages = 0
        self.updates = 0
        self.first_own_s: float | None = None
        self.last_own_s = 0.0

    def feed(self, entry: Entry) -> None:
        self.first_own_s = entry.own_s if self.first_own_s is None else self.first_own_s
        self.last_own_s = entry.own_s
        self.messages += entry.kind is EntryKind.MESSAGE
        for update in self._mapper.feed(entry):
            if update.values.keys() <= _OF_US or entry.kind is not EntryKind.MESSAGE:
                continue
            self.updates += 1
            self._counts.update(update.values.keys())
            self._last |= update.values
            state = update.values.get(STATE_KEY)
            if isinstance(state, str) and state not in _OURS and len(self._states) < MAX_STATES:
                self._states[state] = None
            if len(self._own_s) < MAX_MOMENTS:
                self._own_s.append(entry.own_s)
                self._log_s.append(update.time_s)

    @property
    def seconds(self) -> float:
        """Own time from the first entry to the last."""
        return 0.0 if self.first_own_s is None else self.last_own_s - self.first_own_s

    @property
    def unknown_states(self) -> list[str]:
        """Words of the host's state without a meaning, in the order in which they came."""
        return list(self._states)

    @property
    def refused(self) -> Counter[str]:
        """What was not taken: by key for values, by a word for frames."""
        return self._mapper.refused

    def readings(self) -> list[ReadingProof]:
        """Each reading of the profile, in its order."""
        return [
            ReadingProof(
                key,
                self._counts[key],
                self._last.get(key),
                self._mapper.refused[key],
                self._why_refused(key),
                self._counts[absent_key(key)],
                str(self._last.get(absent_key(key), "")),
            )
            for key in self._readings
        ]

    def _why_refused(self, key: str) -> str:
        quantity, reading = self._readings[key]
        refused = self._mapper.refused[key]
        return clash(quantity, reading, self._mapper.first_refused(key)) if refused else ""

    def time(self, wall_less_own_s: float | None = None) -> TimeProof:
        """How time runs; `wall_less_own_s`: our wall clock (Unix time) less own time, if known."""
        own, log = np.array(self._own_s), np.array(self._log_s)
        slope = line_slope(own, log)
        lag = own - log if len(own) else np.zeros(1)
        delays = lag - lag.min()
        ahead_s = None
        is_wall = len(own) > 0 and float(log[0]) > SINCE_1970_S and not self._mapper.clock_jumps
        if wall_less_own_s is not None and self._has_clock and is_wall:
            # The quickest update is nearest to its own moment: what is left is the clocks' doing.
            ahead_s = float(-lag.min()) - wall_less_own_s
        return TimeProof(
            self._has_clock,
            len(own),
            slope,
            float(np.median(delays)),
            float(np.quantile(delays, 0.99)),
            self._mapper.clock_jumps,
            self._mapper.has_host_time,
            ahead_s,
        )


def line_slope(x: Floats, y: Floats, most: int = 400) -> float | None:
    """Slope of the line through points, median of all pairs' slopes (Theil 1950, Sen 1968).

    At most `most` points, evenly chosen, are used; None for fewer than three or no spread.
    """
    if len(x) > most:
        chosen = np.linspace(0, len(x) - 1, most).astype(int)
        x, y = x[chosen], y[chosen]
    if len(x) < 3:
        return None
    first, second = np.triu_indices(len(x), 1)
    run = x[second] - x[first]
    good = run > 0.0
    return float(np.median((y[second] - y[first])[good] / run[good])) if good.any() else None
