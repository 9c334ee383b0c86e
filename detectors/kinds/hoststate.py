"""What the host said of itself: its state and restarts, by row, and its last words."""

import math
from dataclasses import dataclass, field

from detectors.table.gates import STARTING_S
from shared.absent import number_key
from shared.words import HostState

SAID = "host.said"
"""Key of the host's own text for a stop."""
_KEPT = 1024
"""State changes remembered; a log with more has long forgotten why it asks."""


@dataclass(slots=True)
class HostHistory:
    """State and last restart as they stood at a row."""

    texts: dict[str, str] = field(default_factory=dict)
    absent: dict[str, str] = field(default_factory=dict)
    """Keys of numbers that the host says there are none of, and the keys that say so."""
    last_uptime_s: float = math.nan
    grew_s: float = math.nan
    """How far the latest uptime is beyond the one before; NaN once that has been asked for."""
    _changes: list[tuple[int, HostState, float]] = field(
        default_factory=lambda: [(0, HostState.UP, -math.inf)]
    )

    @property
    def state(self) -> HostState:
        return self._changes[-1][1]

    @property
    def restarted_s(self) -> float:
        """When the controller or the host last started; −inf if it never did in this log."""
        return self._changes[-1][2]

    def at(self, row: int) -> tuple[HostState, float]:
        """State and last restart as known at a row of the log."""
        for first, state, restarted_s in reversed(self._changes):
            if first <= row:
                return state, restarted_s
        return HostState.UP, -math.inf

    def text(self, row: int, time_s: float, key: str, text: str) -> bool:
        """Take a text; whether it differs from the last under its key."""
        if self.texts.get(key) == text:
            return False
        self.texts[key] = text
        if (number := number_key(key)) is not None:
            self.absent[number] = key
        state = host_state(text) if key == "host.state" else None
        if key == "host.state" and state is not HostState.HALTED:
            # What a later stop is told by is news, be it the same.
            self.texts.pop(SAID, None)
        if state is not None:
            restarted_s = time_s if state is HostState.STARTING else self.restarted_s
            self._add(row, state, restarted_s)
        return True

    def number(self, key: str) -> bool:
        """A number came; whether the host had said that there is none under its key."""
        return bool(self.absent) and self.texts.pop(self.absent.pop(key, ""), None) is not None

    def uptime(self, row: int, time_s: float, uptime_s: float) -> bool:
        """Take a controller uptime; whether it fell below the last, or is the first."""
        last = self.last_uptime_s
        self.grew_s = uptime_s - last
        self.last_uptime_s = uptime_s
        fell_or_first = not uptime_s >= last
        if fell_or_first and uptime_s < STARTING_S:
            self._add(row, self.state, time_s - uptime_s)
        return fell_or_first

    def _add(self, row: int, state: HostState, restarted_s: float) -> None:
        self._changes.append((row, state, restarted_s))
        if len(self._changes) > _KEPT:
            del self._changes[: _KEPT // 2]


def host_state(text: str) -> HostState | None:
    """The state that a word names; None for a word that is not ours."""
    try:
        return HostState(text)
    except ValueError:
        return None
