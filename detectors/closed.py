"""One closed window of one channel, as window detectors and rules see it."""

from dataclasses import dataclass

from detectors.windows import ChannelWindows, Windows
from shared.words import Gate

MOST_ASIDE_C = 0.3
"""How far mean and median of a quiet window may lie apart, K; on top of its slope."""


Figures = tuple[
    float, float, float, float, float, int, int, bool, bool, float, float, float, float,
    float, float, float, float, float, float, float, float, float,
]  # fmt: skip
"""The figures of one window, in the order of `ClosedWindow`."""


def figures_of(windows: ChannelWindows) -> list[Figures]:
    """Every window's figures as plain numbers, all at once."""
    w = windows
    columns = (
        w.mean, w.low, w.high, w.noise, w.slope, w.changes, w.repeats, w.joined, w.present,
        w.celsius, w.celsius_slope, w.target_c, w.power, w.power_high, w.power_jump, w.rough,
        w.step, w.apart, w.middle_c, w.bend, w.tone, w.tone_bin,
    )  # fmt: skip
    return list(zip(*(column.tolist() for column in columns), strict=True))


@dataclass(slots=True)
class ClosedWindow:
    """One window of one channel as plain floats; fields as in `detectors.windows`."""

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
    index: int
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
        way_c = abs(self.celsius_slope) * (self.end_s - self.start_s)
        if not abs(self.celsius - self.middle_c) <= 0.1 * way_c + MOST_ASIDE_C:
            return False
        quiet = self.floor if self.floor == self.floor else self.noise
        even = 1.3 * abs(self.slope) * (self.end_s - self.start_s) + 2.0 * step
        return self.high - self.low <= even + 10.0 * min(self.noise, 3.0 * quiet)
