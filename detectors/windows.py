"""Statistics of 32 rows at a time, the same whether rows came singly or in blocks.

Windows are counted in rows from the start of the log, so their borders do not depend
on how updates were grouped; each is reduced once, when its last row has come, by one
NumPy code for one window or for hundreds.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from detectors.frame import Frame, Row
from shared.updates import Floats

ROWS = 32
"""Rows in a window: 8 s at 4 Hz, 32 s at 1 Hz."""
MEDIAN_TO_SD = 1.4826
"""Median absolute deviation to standard deviation, for normal noise."""


@dataclass(slots=True)
class ChannelWindows:
    """Statistics of one channel, arrays of shape (m,) for m windows.

    mean, low, high   of the signal (Ω or °C); NaN where the window has a gap in it
    noise             sd of sample noise from second differences: heat's slope cancels
    slope             least-squares slope of the signal per second
    present           whether the channel had said anything by the window's end
    changes           rows whose value differs from the row before
    celsius, target_c, power   means
    celsius_slope     °C/s, from the first and last quarter
    """

    mean: Floats
    low: Floats
    high: Floats
    noise: Floats
    slope: Floats
    changes: Floats
    joined: NDArray[np.bool_]
    present: NDArray[np.bool_]
    celsius: Floats
    celsius_slope: Floats
    target_c: Floats
    power: Floats


@dataclass(slots=True)
class Windows:
    """m closed windows. `first` counts windows since the start of the log."""

    first: int
    start_s: Floats
    end_s: Floats
    channels: dict[str, ChannelWindows]
    context: dict[str, Floats]
    """Means of motion and fan keys."""
    moving: Floats
    """Share of rows with the carriage moving; NaN where motion is not reported."""

    def __len__(self) -> int:
        return len(self.start_s)

    def before_row(self, row: int) -> int:
        """How many of these windows closed before this row of the log."""
        return min(max(row // ROWS - self.first, 0), len(self))


@dataclass(slots=True)
class _Buffer:
    """Rows of the window that is still open, by column name."""

    columns: dict[str, list[float]] = field(default_factory=dict)
    rows: int = 0

    def add(self, name: str, value: float) -> None:
        column = self.columns.get(name)
        if column is None:
            column = self.columns[name] = [np.nan] * self.rows
        column.append(value)


_CHANNEL_COLUMNS = ("signal", "changed", "joined", "celsius", "target_c", "power")


class Windower:
    """Collects rows and gives the windows they complete."""

    def __init__(self) -> None:
        self._open = _Buffer()
        self._closed = 0

    def add_row(self, row: Row) -> Windows | None:
        """Add one row; the window it completes, if it does."""
        buffer = self._open
        for name, value in _row_columns(row):
            buffer.add(name, value)
        buffer.rows += 1
        if buffer.rows < ROWS:
            return None
        arrays = {
            name: np.array(values, dtype=np.float64) for name, values in buffer.columns.items()
        }
        self._open = _Buffer()
        return self._close(arrays, 1)

    def add_frame(self, frame: Frame) -> Windows:
        """Add a frame; the windows that its rows complete (perhaps none)."""
        arrays = dict(_frame_columns(frame))
        held = self._open
        total = held.rows + len(frame)
        for name in held.columns.keys() | arrays.keys():
            before = np.array(held.columns.get(name, [np.nan] * held.rows), dtype=np.float64)
            after = arrays.get(name)
            arrays[name] = np.concatenate(
                (before, np.full(len(frame), np.nan) if after is None else after)
            )
        count = total // ROWS
        whole = count * ROWS
        closed = self._close({name: column[:whole] for name, column in arrays.items()}, count)
        self._open = _Buffer(
            {name: column[whole:].tolist() for name, column in arrays.items()}, total - whole
        )
        return closed

    def _close(self, arrays: dict[str, Floats], count: int) -> Windows:
        shaped = {name: column.reshape(count, ROWS) for name, column in arrays.items()}
        time_s = shaped.pop("time_s", np.empty((count, ROWS)))
        names = dict.fromkeys(
            name.rpartition("/")[0] for name in shaped if name.endswith("/signal")
        )
        channels = {
            name: _channel_windows(
                time_s, *(shaped[f"{name}/{column}"] for column in _CHANNEL_COLUMNS)
            )
            for name in names
        }
        context = {
            name[1:]: column.mean(axis=1) for name, column in shaped.items() if name[0] == "/"
        }
        speed = shaped.get("/motion.speed_mm_s")
        moving = np.full(count, np.nan) if speed is None else (speed > 0.0).mean(axis=1)
        windows = Windows(self._closed, time_s[:, 0], time_s[:, -1], channels, context, moving)
        self._closed += count
        return windows


def _row_columns(row: Row) -> Iterator[tuple[str, float]]:
    yield "time_s", row.time_s
    for name, sample in row.channels.items():
        for column in _CHANNEL_COLUMNS:
            yield f"{name}/{column}", getattr(sample, column)
    for key, value in row.context.items():
        yield "/" + key, value


def _frame_columns(frame: Frame) -> Iterator[tuple[str, Floats]]:
    yield "time_s", frame.time_s
    for name, columns in frame.channels.items():
        for column in _CHANNEL_COLUMNS:
            yield f"{name}/{column}", getattr(columns, column)
    for key, values in frame.context.items():
        yield "/" + key, values


def _channel_windows(
    time_s: Floats,
    signal: Floats,
    changed: Floats,
    joined: Floats,
    celsius: Floats,
    target_c: Floats,
    power: Floats,
) -> ChannelWindows:
    """Reduce arrays of shape (m, ROWS) to one value a window."""
    second = signal[:, 2:] - 2.0 * signal[:, 1:-1] + signal[:, :-2]
    noise = np.partition(np.abs(second), ROWS // 2 - 1, axis=1)[:, ROWS // 2 - 1]
    noise *= MEDIAN_TO_SD / np.sqrt(6.0)
    centred = time_s - time_s.mean(axis=1, keepdims=True)
    slope = (centred * signal).sum(axis=1) / (centred * centred).sum(axis=1)
    quarter = ROWS // 4
    rise = celsius[:, -quarter:].mean(axis=1) - celsius[:, :quarter].mean(axis=1)
    span = time_s[:, -quarter:].mean(axis=1) - time_s[:, :quarter].mean(axis=1)
    return ChannelWindows(
        mean=signal.mean(axis=1),
        low=signal.min(axis=1),
        high=signal.max(axis=1),
        noise=noise,
        slope=slope,
        changes=changed.sum(axis=1),
        joined=(joined != 0.0).any(axis=1),
        present=~(np.isnan(signal[:, -1]) & np.isnan(target_c[:, -1]) & np.isnan(power[:, -1])),
        celsius=celsius.mean(axis=1),
        celsius_slope=rise / span,
        target_c=target_c.mean(axis=1),
        power=power.mean(axis=1),
    )
