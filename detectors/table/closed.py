"""Closed windows as window detectors and rules see them: a channel's run, one of it, all channels'.

A night of many channels closes hundreds of thousands of windows, most of which no one needs
to look at: figures stay in arrays, and a window is made when it is asked for.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import Any, NamedTuple, TypeVar

import numpy as np

from detectors.table.gates import GATES, Codes
from detectors.table.windows import ChannelWindows, Times, Windows
from shared.updates import Floats
from shared.words import Gate

Found = TypeVar("Found")


class ClosedWindow(NamedTuple):
    """One window of one channel as plain floats; fields as in `table.windows`."""

    mean: float
    low: float
    high: float
    noise: float
    slope: float
    changes: int
    values: int
    repeats: int
    joined: bool
    present: bool
    celsius: float
    celsius_slope: float
    target_c: float
    power: float
    power_high: float
    power_jump: float
    rough: float
    step: float
    apart: float
    middle_c: float
    bend: float
    tone: float
    tone_bin: float
    number: int
    last_row: int
    start_s: float
    end_s: float
    moving: float
    context: dict[str, float]
    gate: Gate
    floor: float
    """Noise floor from the windows before this one."""
    windows: Windows
    """Where this window was closed, and as which: for the rows behind it."""
    index: int  # type: ignore[assignment]  # hides a method of tuples that no one needs here
    channel: ChannelWindows
    """This channel in `windows`: for the rows behind its figures."""

    @property
    def signal_is_missing(self) -> bool:
        return self.mean != self.mean


def time_rows(windows: Sequence[ClosedWindow]) -> Floats:
    """Times of the rows of windows on end, shape (n,)."""
    return np.concatenate([w.windows.time_rows[w.index] for w in windows])


def signal_rows(windows: Sequence[ClosedWindow]) -> Floats:
    """What the channel read in them, Ω or °C, shape (n,)."""
    return np.concatenate([w.channel.signal_rows[w.index] for w in windows])


def power_rows(windows: Sequence[ClosedWindow]) -> Floats:
    """Its power in them, 0…1, shape (n,)."""
    return np.concatenate([w.channel.power_rows[w.index] for w in windows])


def context_rows(windows: Sequence[ClosedWindow], key: str) -> Floats:
    """A key of motion or fan in them, which all must have, shape (n,)."""
    return np.concatenate([w.windows.context_rows[key][w.index] for w in windows])


FIGURES = ClosedWindow._fields[: ClosedWindow._fields.index("number")]
"""Fields that are columns of `ChannelWindows`."""


class ClosedWindows:
    """A run of closed windows of one channel, m of them.

    `codes` holds what it does from the end of each on (`table.gates`), shape (m,), `floors`
    the noise floor before each and after the last, shape (m + 1,).
    """

    def __init__(
        self,
        windows: Windows,
        channel: ChannelWindows,
        times: Times,
        codes: Codes,
        floors: Floats,
    ) -> None:
        self.windows = windows
        self.channel = channel
        self.times = times
        self.codes = codes
        self.floors = floors
        self._made: list[ClosedWindow | None] = [None] * len(windows)
        self._columns: dict[str, list[float]] = {}

    def __len__(self) -> int:
        return len(self._made)

    @cached_property
    def gates(self) -> list[Gate]:
        """What it does from the end of each on."""
        return [GATES[code] for code in self.codes.tolist()]

    @cached_property
    def present(self) -> Sequence[int]:
        """Those by whose end the channel had said anything."""
        present = self.channel.present
        if present.all():
            return range(len(self))
        found: list[int] = np.flatnonzero(present).tolist()
        return found

    def __getitem__(self, index: int) -> ClosedWindow:
        window = self._made[index]
        if window is None:
            window = self._made[index] = self._make(index)
        return window

    def _make(self, index: int) -> ClosedWindow:
        return ClosedWindow._make(
            (
                *[column[index] for column in self._figures],
                *[column[index] for column in self.times],
                self.gates[index],
                self.floor_before[index],
                self.windows,
                index,
                self.channel,
            )
        )

    def column(self, name: str) -> list[float]:
        """One figure of every window, as plain numbers."""
        found = self._columns.get(name)
        if found is None:
            found = self._columns[name] = getattr(self.channel, name).tolist()
        return found

    @cached_property
    def _figures(self) -> list[list[float]]:
        """All that a single window shows, as plain numbers."""
        return [self.column(name) for name in FIGURES]

    @cached_property
    def floor_before(self) -> list[float]:
        found: list[float] = self.floors.tolist()
        return found

    @cached_property
    def has_power(self) -> bool:
        """Whether power is known in any of them."""
        return not np.isnan(self.channel.power).all()

    @cached_property
    def has_target(self) -> bool:
        """Whether a target is known in any of them."""
        return not np.isnan(self.channel.target_c).all()


class Together:
    """Runs of windows of all channels that closed together."""

    def __init__(
        self,
        windows: Windows,
        times: Times,
        codes: Codes,
        channels: Mapping[str, ClosedWindows],
    ) -> None:
        self.windows = windows
        self.codes = codes
        """Gates of all channels, shape (n, m), in the order of `windows.channels`."""
        self.times = times
        self.channels = channels
        self._worked_out: dict[Callable[..., object], Any] = {}

    def of(self, work: "Callable[[Together], Found]") -> "Found":
        """What `work` makes of all of them at once, worked out when it is first asked for."""
        if work not in self._worked_out:
            self._worked_out[work] = work(self)
        found: Found = self._worked_out[work]
        return found

    def __iter__(self) -> "Iterator[WindowsAt]":
        """One by one, in their order, where any channel is there."""
        if not self.channels:
            return
        names = list(self.channels)
        whole = dict.fromkeys(names)
        present = np.array([run.channel.present for run in self.channels.values()])
        for index, missing in enumerate((~present).sum(axis=0).tolist()):
            if not missing:
                yield WindowsAt(self, whole, index)
            elif missing < len(names):
                here = dict.fromkeys(names[k] for k in np.flatnonzero(present[:, index]))
                yield WindowsAt(self, here, index)


class WindowsAt(Mapping[str, ClosedWindow]):
    """One window of all channels that had said anything by its end, by channel."""

    def __init__(self, together: Together, names: dict[str, None], index: int) -> None:
        self.together = together
        self.index = index
        self._names = names

    def __getitem__(self, name: str) -> ClosedWindow:
        if name not in self._names:
            raise KeyError(name)
        return self.together.channels[name][self.index]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)

    def __contains__(self, name: object) -> bool:
        return name in self._names

    @property
    def start_s(self) -> float:
        return self.together.times.start_s[self.index]

    @property
    def end_s(self) -> float:
        return self.together.times.end_s[self.index]

    @property
    def last_row(self) -> int:
        return self.together.times.last_row[self.index]
