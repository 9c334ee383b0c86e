"""What the watch asks of a detector.

There are four sorts, by what they need to see:

- `RowDetector`   one channel, row by row. `step` on plain floats is its definition;
                  `suspects` says for a block which rows `step` could care about while it
                  is at rest, so that blocks of healthy rows are passed over. A row that
                  `suspects` leaves out must leave `step` at rest, without a word.
- `WindowDetector` one channel, once for each window of 32 rows.
- `HostDetector`  host state, messages, flags, uptime and time itself.
- `Rule`          what has been reported, in the order of the log: it ties reports to each
                  other or to what the machine does, and may absorb events into another.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from detectors.book import EventBook
from detectors.reports import Report
from detectors.table.closed import ClosedWindows, WindowsAt
from detectors.table.frame import ChannelColumns, Frame, Sample
from detectors.table.learned import Learned, LearnedColumns
from shared.events import Event, NotEvaluated
from shared.updates import Floats
from shared.words import Gate, HostState

Say = Callable[[Report], None]
"""Hands a report to the watch."""


@dataclass(slots=True)
class Moment:
    """One row of one channel, with what is known of the channel so far."""

    row: int
    time_s: float
    sample: Sample
    before: Sample
    """The channel's sample at the row before."""
    before_s: float
    """Time of the row before."""
    earlier: float
    """Signal before its last change, as of the row before: what `before` differs from."""
    before_since_s: float
    """When the signal took the value of the row before."""
    floor: float
    """Noise floor: sd in units of the signal, from windows closed before this row; else NaN."""
    run: int
    """Rows since the signal last changed: 0 where it changes at this row."""
    held_since_s: float
    """When the signal last changed."""
    gate: Gate
    context: dict[str, float]
    """Held motion and fan values."""
    learned: Learned
    """From windows closed before this row."""
    host: HostState
    """What the host last said of itself."""


class RowDetector(ABC):
    """Sees every row that matters of one channel."""

    busy: bool = False
    """Whether the next row must be stepped whatever `suspects` says."""

    @abstractmethod
    def suspects(self, columns: ChannelColumns, frame: Frame, given: "Given") -> NDArray[np.bool_]:
        """Rows that `step` could care about while at rest, shape (n,)."""

    @abstractmethod
    def step(self, moment: Moment, say: Say) -> None:
        """Take a row."""

    def finish(self, say: Say) -> None:  # noqa: B027  # most have nothing open
        """The log has ended: say what is still open, leave what goes on as it is."""

    def not_evaluated(self) -> list[NotEvaluated]:
        """What this detector could not judge on this channel, and why."""
        return []


@dataclass(slots=True)
class Given:
    """What the watch worked out for a block of one channel's rows; shape (n,) each."""

    before: Floats
    """Signal at the row before; NaN before the first."""
    floor: Floats
    run: NDArray[np.int64]
    held_since_s: Floats
    window: NDArray[np.intp]
    """Position in `learned` of each row."""
    learned: LearnedColumns


class WindowDetector(ABC):
    """Sees every closed window of one channel, in runs of one or of hundreds."""

    @abstractmethod
    def run(self, closed: ClosedWindows, say: Say) -> None:
        """Take a run of windows."""

    def not_evaluated(self) -> list[NotEvaluated]:
        """What this detector could not judge on this channel, and why."""
        return []


class HostDetector:
    """Sees host state and flags as they come, and the passing of time. Does nothing by itself."""

    def text(self, row: int, time_s: float, key: str, text: str, say: Say) -> None:
        """A text value came: host state or message, converter flags."""

    def uptime(self, row: int, time_s: float, uptime_s: float, say: Say) -> None:
        """Controller uptime where it fell below the last, and the first in the log."""

    def number(self, row: int, time_s: float, key: str, say: Say) -> None:
        """A number came again under a key of which the host had said that there is none."""

    def heard(self, row: int, time_s: float, before_s: float, grew_s: float, say: Say) -> None:
        """The first row (`before_s` NaN), or one more than `GAP_S` after that at `before_s`."""

    def passed(self, row: int, time_s: float, heard_s: float, say: Say) -> None:
        """Time passed without a row; the last row was at `heard_s`."""

    def finish(self, say: Say) -> None:
        """The log has ended."""

    def not_evaluated(self) -> list[NotEvaluated]:
        """What it could not judge, and why."""
        return []


class Rule:
    """Sees every report after it was booked, and every window of all channels, in log order.

    Times never fall from call to call. A rule acts through the book: `sight`, `clear`,
    `absorb`. What it books itself is not shown to rules again. Does nothing by itself.
    """

    def advance(self, time_s: float, book: EventBook) -> None:
        """The log has come to `time_s`; called before anything later is shown.

        Act only on deadlines that lie at or before `time_s`, stamped with the deadline's
        own time: how often this is called depends on how the log was cut.
        """

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        """A report was booked into `event`; `context` holds motion, fan, power and target keys."""

    def window(self, windows: WindowsAt, book: EventBook) -> None:
        """A window closed; by channel."""

    def finish(self, book: EventBook) -> None:
        """The log has ended."""

    def not_evaluated(self) -> list[NotEvaluated]:
        """What it could not judge, and why."""
        return []
