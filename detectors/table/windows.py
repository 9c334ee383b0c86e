"""Statistics of 32 rows at a time, the same whether rows came singly or in blocks.

Windows are counted in rows from the start of the log, so their borders do not depend
on how updates were grouped; each is reduced once, when its last row has come, by one
NumPy code for one window or for hundreds.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from detectors.table.frame import WINDOW_ROWS
from shared.updates import Floats

ROWS = WINDOW_ROWS
"""Rows in a window: 8 s at 4 Hz, 32 s at 1 Hz."""
QUARTERS = 4
QUARTER = ROWS // QUARTERS
MEDIAN_TO_SD = 1.4826
"""Median absolute deviation to standard deviation, for normal noise."""
THIRDS = ROWS - 3
KEPT_DIFFERENCES = 22
"""Of 29 third differences the 22 smallest count: one odd sample spoils four of them."""
KEPT_TO_SD = 1.0 / (0.543 * 20.0**0.5)
"""Mean of the kept ones to sd of one sample: a third difference has √20 times the noise of a
sample, and the kept of 29 a mean size of 0.543 sd (computed on normal noise)."""
MOST_THIRD = 10.0
"""A third difference counts no more than so many median ones: single odd samples."""
TOGETHER, MOST_BURSTS = 0.25, 0.6
"""Rows that follow by less than this part of the mean spacing were sent together; and if so few
of all rows are not, they come in bursts."""
TONE_BINS = slice(2, ROWS // 2)
"""Frequencies looked at for a tone, in periods a window: one is taken for drift of heat."""


@dataclass(slots=True)
class ChannelWindows:
    """Statistics of one channel, arrays of shape (m,) for m windows.

    mean, low, high   of the signal (Ω or °C); NaN where the window has a gap in it
    noise             sd of sample noise from second differences: heat's slope cancels
    slope             least-squares slope of the signal per second
    present           whether the channel had said anything by the window's end
    changes           rows whose value differs from the row before
    values            how many different values there are
    rough     sd of sample noise from trimmed third differences: heat's bends cancel too
    step      least change between rows, 0 where there is none
    apart     variance of the differences between neighbouring rows: an even slope falls out
    middle_c  median of °C
    bend      mean square of second differences of quarter means: waves of some seconds
    tone      share of the window's variance in its strongest frequency, 0–1
    tone_bin  that frequency, in periods a window
    third_moving, third_still  sums of the sizes of third differences of four rows of a state
    signal_rows, power_rows   the rows themselves, shape (m, 32), for closer looks
    celsius, target_c, power   means
    power_high   highest power
    power_jump   largest change of power between neighbouring rows
    celsius_slope     °C/s, from the first and last quarter
    """

    mean: Floats
    low: Floats
    high: Floats
    noise: Floats
    slope: Floats
    changes: NDArray[np.int64]
    values: NDArray[np.int64]
    repeats: NDArray[np.int64]
    joined: NDArray[np.bool_]
    present: NDArray[np.bool_]
    celsius: Floats
    celsius_slope: Floats
    target_c: Floats
    power: Floats
    power_high: Floats
    power_jump: Floats
    rough: Floats
    step: Floats
    apart: Floats
    middle_c: Floats
    bend: Floats
    tone: Floats
    tone_bin: Floats
    third_moving: Floats
    third_still: Floats
    signal_rows: Floats
    power_rows: Floats

    def take(self, at: NDArray[np.intp] | int) -> "ChannelWindows":
        """Some along the first axis, by position."""
        return ChannelWindows(*(getattr(self, name)[at] for name in _FIGURES))

    def of(self, windows: slice) -> "ChannelWindows":
        """Some of the windows of all channels."""
        return ChannelWindows(*(getattr(self, name)[:, windows] for name in _FIGURES))

    @classmethod
    def on_end(cls, parts: Sequence["ChannelWindows"]) -> "ChannelWindows":
        """Several, one after another along the first axis."""
        if len(parts) == 1:
            return parts[0]
        return cls(*(np.concatenate([getattr(one, name) for one in parts]) for name in _FIGURES))


_FIGURES = tuple(each.name for each in fields(ChannelWindows))


@dataclass(slots=True)
class Windows:
    """m closed windows. `first` counts windows since the start of the log."""

    first: int
    start_s: Floats
    end_s: Floats
    figures: ChannelWindows
    """Of all channels: arrays of shape (channels, m), in the order of `channels`."""
    channels: dict[str, ChannelWindows]
    """The same by name."""
    context: dict[str, Floats]
    """Means of motion and fan keys."""
    moving: Floats
    """Share of rows with the carriage moving; NaN where motion is not reported."""
    thirds_moving: Floats
    thirds_still: Floats
    """Third differences whose four rows are all of that state."""
    time_rows: Floats
    context_rows: dict[str, Floats]
    """Times, motion and fan keys of the rows themselves, shape (m, 32)."""

    def __len__(self) -> int:
        return len(self.start_s)

    def spacing_s(self) -> Floats:
        """Usual time from row to row, shape (m,); where rows come in bursts, from one to the next:
        when each was read between them is not told."""
        seconds, gaps = self.end_s - self.start_s, np.diff(self.time_rows, axis=1)
        mean = seconds / gaps.shape[1]
        apart = (gaps >= TOGETHER * mean[:, None]).sum(axis=1)
        are_bursts = apart < MOST_BURSTS * gaps.shape[1]
        found: Floats = np.where(are_bursts, seconds / np.maximum(apart, 1), mean)
        return found


CHANNEL_COLUMNS = ("signal", "changed", "joined", "celsius", "target_c", "power", "fresh")
"""Columns of a channel that its windows are made of; `nozzle/signal` and so on by name."""


def windows_of(
    arrays: Mapping[str, Floats], names: Sequence[str], first: int, count: int
) -> Windows:
    """The windows of (count · ROWS) rows of these channels, as `table.windower` names columns.

    `first` is how many windows came before them.
    """
    shaped = {name: column.reshape(count, ROWS) for name, column in arrays.items()}
    time_s = shaped.setdefault("time_s", np.empty((count, ROWS)))
    states = _states(shaped, count)
    clock = _Clock(time_s)
    # Of few windows all channels are reduced at once; of many, each while it is in the cache.
    groups = [names] if count == 1 else [[name] for name in names]
    reduced = []
    for group in groups or [[]]:
        columns = (_stacked(shaped, group, column) for column in CHANNEL_COLUMNS)
        reduced.append(_channel_windows(clock, *columns, states=states))
    figures = ChannelWindows.on_end(reduced)
    channels = {name: figures.take(k) for k, name in enumerate(names)}
    context_rows = {name[1:]: column for name, column in shaped.items() if name[0] == "/"}
    context = {key: column.mean(axis=1) for key, column in context_rows.items()}
    moves = _moves(shaped, count)
    moving = np.full(count, np.nan) if moves is None else moves[0].mean(axis=1)
    return Windows(
        first,
        time_s[:, 0],
        time_s[:, -1],
        figures,
        channels,
        context,
        moving,
        _count_of(states[0], count),
        _count_of(states[1], count),
        time_s,
        context_rows,
    )


def _stacked(shaped: Mapping[str, Floats], names: Sequence[str], column: str) -> Floats:
    """One column of some channels, shape (channels, m, ROWS)."""
    if len(names) == 1:
        return shaped[f"{names[0]}/{column}"][None]
    found = [shaped[f"{name}/{column}"] for name in names]
    return np.stack(found) if found else np.empty((0, *shaped["time_s"].shape))


class _Clock:
    """What the times of windows give to every channel: times of shape (m, ROWS)."""

    def __init__(self, time_s: Floats) -> None:
        self.centred: Floats = time_s - time_s.mean(axis=1, keepdims=True)
        self.spread: Floats = _known((self.centred * self.centred).sum(axis=1))
        late, early = _mean(time_s[:, -QUARTER:]), _mean(time_s[:, :QUARTER])
        self.span_s: Floats = _known(late - early)


def _known(spread: Floats) -> Floats:
    """Not-a-number where rows share one time, as after a jam: no slope can be told there."""
    found: Floats = np.where(spread > 0.0, spread, np.nan)
    return found


def _channel_windows(
    clock: _Clock,
    signal: Floats,
    changed: Floats,
    joined: Floats,
    celsius: Floats,
    target_c: Floats,
    power: Floats,
    fresh: Floats,
    *,
    states: "_States",
) -> ChannelWindows:
    """Reduce arrays of shape (…, m, ROWS) to one value a window."""
    second = signal[..., 2:] - 2.0 * signal[..., 1:-1] + signal[..., :-2]
    # Sorting such short rows is faster than to part them.
    noise = np.sort(np.abs(second), axis=-1)[..., ROWS // 2 - 1] * (MEDIAN_TO_SD / np.sqrt(6.0))
    centred = clock.centred
    slope = (centred * signal).sum(axis=-1) / clock.spread
    rise = _mean(celsius[..., -QUARTER:]) - _mean(celsius[..., :QUARTER])
    ways = signal[..., 1:] - signal[..., :-1]
    odd = ways - _mean(ways)[..., None]
    first = np.abs(ways)
    step = np.where(first > 0.0, first, np.inf).min(axis=-1)
    third = np.abs(second[..., 1:] - second[..., :-1])
    third_ordered = np.sort(third, axis=-1)
    kept = np.ascontiguousarray(third_ordered[..., :KEPT_DIFFERENCES])
    most = MOST_THIRD * third_ordered[..., THIRDS // 2, None] if states[0] is not None else None
    ordered = np.sort(signal, axis=-1)
    high = ordered[..., -1]
    in_degrees = np.array_equal(signal, celsius)
    mean = _mean(signal)
    parts = _mean(signal.reshape(*signal.shape[:-1], QUARTERS, QUARTER))
    bends = parts[..., 2:] - 2.0 * parts[..., 1:-1] + parts[..., :-2]
    # Minima and maxima of not-a-number take long, and many channels have no power.
    has_power = not np.isnan(power).all()
    tone, tone_bin = _tones(centred, signal - mean[..., None], slope)
    return ChannelWindows(
        mean=mean,
        # What is missing is sorted last.
        low=np.where(np.isnan(high), high, ordered[..., 0]),
        high=high.copy(),
        noise=noise,
        slope=slope,
        changes=_count(changed),
        values=1 + np.add.reduce(ordered[..., 1:] != ordered[..., :-1], axis=-1),
        repeats=_count(fresh * (1.0 - changed)),
        joined=(joined != 0.0).any(axis=-1),
        present=~(
            np.isnan(signal[..., -1]) & np.isnan(target_c[..., -1]) & np.isnan(power[..., -1])
        ),
        celsius=mean if in_degrees else _mean(celsius),
        celsius_slope=rise / clock.span_s,
        target_c=_mean(target_c),
        power=_mean(power),
        power_high=power.max(axis=-1) if has_power else power[..., -1],
        power_jump=np.abs(power[..., 1:] - power[..., :-1]).max(axis=-1)
        if has_power
        else power[..., -1],
        rough=_mean(kept) * KEPT_TO_SD,
        step=np.where(np.isinf(step), 0.0, step),
        apart=_mean(odd * odd),
        middle_c=_middle(ordered if in_degrees else np.sort(celsius, axis=-1)),
        bend=_mean(bends * bends),
        tone=tone,
        tone_bin=tone_bin,
        third_moving=_sum_of(third, states[0], most),
        third_still=_sum_of(third, states[1], most),
        signal_rows=signal,
        power_rows=power,
    )


_States = tuple[Floats | None, Floats | None]


def _states(shaped: dict[str, Floats], count: int) -> _States:
    """1 where all four rows of a third difference move, and where all stand; shape (m, 29)."""
    rows = _moves(shaped, count)
    if rows is None:
        return None, None
    moves, known = rows
    found = []
    for state in (moves & known, ~moves & known):
        four = state[:, 3:] & state[:, 2:-1] & state[:, 1:-2] & state[:, :-3]
        found.append(four.astype(np.float64))
    return found[0], found[1]


def _moves(
    shaped: dict[str, Floats], count: int
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]] | None:
    """Rows in which the carriage moves, by its speed or else its place, and where that is known."""
    speed = shaped.get("/motion.speed_mm_s")
    if speed is not None:
        return speed > 0.0, ~np.isnan(speed)
    places = [shaped[key] for key in ("/motion.x_mm", "/motion.y_mm") if key in shaped]
    if not places:
        return None
    steps = np.zeros((count, ROWS))
    for place in places:
        steps[:, 1:] += np.abs(place[:, 1:] - place[:, :-1])
    steps[:, 0] = steps[:, 1]
    return steps > 0.0, ~np.isnan(steps)


def _mean(values: Floats) -> Floats:
    """Mean over the last axis; what `mean` itself does, without its many questions."""
    found: Floats = np.add.reduce(values, axis=-1) / values.shape[-1]
    return found


def _count_of(state: Floats | None, count: int) -> Floats:
    if state is None:
        return np.zeros(count)
    found: Floats = state.sum(axis=1)
    return found


def _sum_of(third: Floats, state: Floats | None, most: Floats | None) -> Floats:
    """Sum of third differences of a state, each at most `most`; 0 where there is none."""
    if state is None or most is None:
        return np.zeros(third.shape[:-1])
    found: Floats = (np.minimum(third, most) * state).sum(axis=-1)
    return found


def _count(rows: Floats) -> NDArray[np.int64]:
    """Sum of each row of (…, ROWS) of zeros and ones; 0 where one is missing."""
    counts = np.add.reduce(rows, axis=-1)
    counts[counts != counts] = 0.0
    found: NDArray[np.int64] = counts.astype(np.int64)
    return found


def _middle(ordered: Floats) -> Floats:
    """Median of each row of (…, ROWS), which are in order."""
    middle: Floats = 0.5 * (ordered[..., ROWS // 2 - 1] + ordered[..., ROWS // 2])
    return middle


def _tones(centred: Floats, level: Floats, slope: Floats) -> tuple[Floats, Floats]:
    """Share of variance in the strongest frequency, and that frequency, of each window.

    A cheap look that takes rows for evenly spaced; `chance.tones` decides.
    """
    flat = level - slope[..., None] * centred
    spectrum = np.fft.rfft(flat, axis=-1)[..., TONE_BINS]
    power = spectrum.real * spectrum.real + spectrum.imag * spectrum.imag
    total = power.sum(axis=-1)
    share = power.max(axis=-1, initial=0.0) / np.where(total > 0.0, total, 1.0)
    best = np.argmax(power, axis=-1) if power.size else np.zeros(power.shape[:-1])
    return share, best + float(TONE_BINS.start)


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
