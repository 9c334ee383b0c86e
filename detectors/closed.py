"""One closed window of one channel, as window detectors and rules see it."""

from collections.abc import Iterable, Sequence
from itertools import repeat
from typing import Any, NamedTuple

from detectors.windows import ROWS, ChannelWindows, Windows
from shared.words import Gate

MOST_ASIDE_C = 0.3
"""How far mean and median of a quiet window may lie apart, K; on top of its slope."""


class ClosedWindow(NamedTuple):
    """One window of one channel as plain floats; fields as in `detectors.windows`.

    A tuple, since a night of many channels makes hundreds of thousands of them.
    """

    mean: float
    low: float
    high: float
    noise: float
    slope: float
    changes: int
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

    def is_clean(self, step: float) -> bool:
        """Whether noise and an even slope explain the window's whole range.

        `step` is the signal's rounding. False where the window has a gap in it. On a slope,
        even on a bent one, mean and median agree within a twelfth of the way: a part of the
        window that stands aside parts them.
        """
        seconds = self.end_s - self.start_s
        way_c, noise, floor = abs(self.celsius_slope) * seconds, self.noise, self.floor
        if not abs(self.celsius - self.middle_c) <= 0.1 * way_c + MOST_ASIDE_C:
            return False
        most = 3.0 * (floor if floor == floor else noise)
        even = 1.3 * abs(self.slope) * seconds + 2.0 * step
        return self.high - self.low <= even + 10.0 * (most if most < noise else noise)


class Figures(NamedTuple):
    """Figures of a channel's windows as lists of plain numbers, one value a window."""

    mean: list[float]
    low: list[float]
    high: list[float]
    noise: list[float]
    slope: list[float]
    changes: list[int]
    repeats: list[int]
    joined: list[bool]
    present: list[bool]
    celsius: list[float]
    celsius_slope: list[float]
    target_c: list[float]
    power: list[float]
    power_high: list[float]
    power_jump: list[float]
    rough: list[float]
    step: list[float]
    apart: list[float]
    middle_c: list[float]
    bend: list[float]
    tone: list[float]
    tone_bin: list[float]


def figures_of(windows: ChannelWindows) -> Figures:
    """Every window's figures as plain numbers, all at once."""
    return Figures._make([getattr(windows, name).tolist() for name in Figures._fields])


class Times(NamedTuple):
    """What all channels' windows of one closing share, one value a window."""

    number: Sequence[int]
    last_row: Sequence[int]
    start_s: list[float]
    end_s: list[float]
    moving: list[float]
    context: list[dict[str, float]]


def times_of(windows: Windows) -> Times:
    first, count = windows.first, len(windows)
    columns = {key: values.tolist() for key, values in windows.context.items()}
    return Times(
        range(first, first + count),
        range((first + 1) * ROWS - 1, (first + count + 1) * ROWS - 1, ROWS),
        windows.start_s.tolist(),
        windows.end_s.tolist(),
        windows.moving.tolist(),
        [{key: values[index] for key, values in columns.items()} for index in range(count)],
    )


def closed_windows(
    figures: Figures,
    times: Times,
    gates: Iterable[Gate],
    floors: Iterable[float],
    windows: Windows,
    channel: ChannelWindows,
) -> list[ClosedWindow]:
    """The windows of one channel, one after the other."""
    columns: tuple[Iterable[Any], ...] = (
        *figures,
        *times,
        gates,
        floors,
        repeat(windows),
        range(len(windows)),
        repeat(channel),
    )
    return list(map(ClosedWindow._make, zip(*columns, strict=False)))
