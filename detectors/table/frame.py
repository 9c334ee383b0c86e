"""Updates as full rows: what each channel says at each moment the host was heard.

A host may send everything or only changes; a key that is not in an update still
holds its last value. Detectors therefore see *rows*: moments at which the host said
anything about the machine, with every key filled in. A row is the same whether the
host repeated a value or not, and however updates were grouped. Where the host says that there is
no value (`shared.absent`), none is held: NaN until one comes.

A `Frame` is a run of rows as arrays; a `Row` is one of them as plain floats. `Filler`
makes either and keeps the one small state that both need.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from detectors.table.plan import FROM_OHMS, ChannelPlan
from shared.absent import number_key
from shared.chain import Chain
from shared.updates import Batch, Floats, Update
from shared.words import SENSOR_QUANTITIES, channel_of, quantity_of

WINDOW_ROWS = 32
"""Rows are counted in windows of so many, from the start of the log."""
MIN_SPACING_S = 0.02
"""Updates closer than this are parts of one, not a cadence."""
SPACING_MARGIN = 1.25
"""How much later than its usual spacing a value may come and still be on time (jitter)."""

MOTION_KEYS = tuple(
    f"motion.{name}" for name in ("x_mm", "y_mm", "z_mm", "speed_mm_s", "feed_mm_s")
)


_Rows = NDArray[np.intp]


@dataclass(slots=True)
class ChannelColumns:
    """One channel's rows. Arrays of shape (n,).

    signal     working signal: Ω where a code or a resistance is known, else °C; NaN before any
    in_ohms    whether the signal is in Ω
    spacing_s  time in which the signal's last change can have happened (see `Filler`)
    changed    whether the signal differs from the row before
    joined     whether the signal has no comparable predecessor (first, other source or scale)
    fresh      whether the host sent a sensor quantity in this row, changed or not
    sent_s     when it last did, this row included
    power_peak highest power in this row's window so far; NaN where power is not known
    """

    plan: ChannelPlan
    signal: Floats
    in_ohms: NDArray[np.bool_]
    spacing_s: Floats
    changed: NDArray[np.bool_]
    joined: NDArray[np.bool_]
    celsius: Floats
    target_c: Floats
    power: Floats
    code: Floats
    fresh: NDArray[np.bool_]
    sent_s: Floats
    power_peak: Floats


@dataclass(slots=True)
class Frame:
    """A run of rows. `first_row` counts all rows since the start of the log."""

    first_row: int
    time_s: Floats
    channels: dict[str, ChannelColumns]
    context: dict[str, Floats]
    """Held values of motion and fan keys; NaN before the first."""

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(slots=True)
class Sample:
    """One channel at one row, as plain floats; fields as in `ChannelColumns`."""

    signal: float = math.nan
    in_ohms: bool = False
    spacing_s: float = math.nan
    changed: bool = False
    joined: bool = False
    celsius: float = math.nan
    target_c: float = math.nan
    power: float = math.nan
    code: float = math.nan
    fresh: bool = False
    sent_s: float = math.nan
    power_peak: float = math.nan


def ohm_per_code(plan: ChannelPlan, sample: Sample) -> float:
    """Ω of one code by the scale of this row; NaN while unknown."""
    if not plan.scale.is_told and sample.in_ohms and sample.code > 0.0:
        return sample.signal / sample.code
    return plan.scale.ohm_per_code


@dataclass(slots=True)
class Row:
    """One row as plain floats."""

    row: int
    time_s: float
    channels: dict[str, Sample]
    context: dict[str, float]


@dataclass(slots=True)
class Held:
    """Last values of one channel."""

    plan: ChannelPlan
    celsius: float = math.nan
    target_c: float = math.nan
    power: float = math.nan
    code: float = math.nan
    resistance_ohm: float = math.nan
    signal: float = math.nan
    source: int = 0
    ohm_per_code: float = 0.0
    """Of the signal where it is from a code, else 0."""
    fresh_s: float = math.nan
    """When a sensor quantity of this channel was last sent."""
    power_peak: float = math.nan
    period_s: float = math.inf
    """Smallest spacing at which this channel's sensor quantities were sent."""


def is_heard(update_keys: "Mapping[str, object] | set[str]") -> bool:
    """Whether an update says anything about the machine itself (not only about the link)."""
    return any(_is_reading(key) for key in update_keys)


def _is_reading(key: str) -> bool:
    """Whether a key is of the machine, not of the link or what the host says of its faults."""
    return not key.startswith("host.") and not key.endswith(".reported")


@dataclass(slots=True)
class Filler:
    """Turns updates or batches into rows and holds what was said last.

    `spacing_s` of a row is the time in which its signal's change can have happened:
    since the channel was last sent, but no longer than its usual spacing, since a host
    that sends only changes would have sent an earlier change.
    """

    chains: Mapping[str, Chain]
    held: dict[str, Held] = field(default_factory=dict)
    context: dict[str, float] = field(default_factory=dict)
    rows: int = 0
    last_s: float = math.nan

    def plan(self, channel: str) -> ChannelPlan:
        return self.held[channel].plan

    def _hold(self, channel: str) -> Held:
        held = self.held.get(channel)
        if held is None:
            held = self.held[channel] = Held(ChannelPlan(channel, self.chains.get(channel)))
        return held

    # -- one update, plain floats --

    def row(self, update: Update) -> Row | None:
        """Fill one update; None when it says nothing about the machine."""
        if not is_heard(update.values):
            return None
        time_s = update.time_s
        fresh: set[str] = set()
        for key, value in update.values.items():
            if isinstance(value, str):
                number = number_key(key)
                if number is None or number in update.values:
                    continue
                key, value = number, math.nan
            quantity = quantity_of(key)
            if quantity in SENSOR_QUANTITIES or quantity in ("target_c", "power"):
                channel = channel_of(key)
                held = self._hold(channel)
                if quantity == "temperature_c":
                    held.celsius = value
                elif quantity == "code":
                    held.code = value
                    held.plan.has_code = held.plan.has_code or value == value
                elif quantity == "resistance_ohm":
                    held.resistance_ohm = value
                    held.plan.has_ohms = held.plan.has_ohms or value == value
                elif quantity == "target_c":
                    held.target_c = value
                    continue
                else:
                    held.power = value
                    continue
                if value == value:
                    fresh.add(channel)
            elif key in MOTION_KEYS or quantity == "speed":
                self.context[key] = value
        row_spacing = time_s - self.last_s
        channels = {
            name: self._sample(held, name in fresh, time_s, row_spacing)
            for name, held in self.held.items()
        }
        self.last_s = time_s
        self.rows += 1
        return Row(self.rows - 1, time_s, channels, self.context)

    def _sample(self, held: Held, fresh: bool, time_s: float, row_spacing: float) -> Sample:
        source, signal, ohm_per_code = held.plan.signal(
            held.code, held.resistance_ohm, held.celsius
        )
        joined = source != held.source or ohm_per_code != held.ohm_per_code
        since = time_s - held.fresh_s
        if fresh and since >= MIN_SPACING_S and since < held.period_s:
            held.period_s = since
        usual = max(SPACING_MARGIN * held.period_s, row_spacing)
        spacing = since if since < usual else usual
        changed = not joined and signal != held.signal and signal == signal
        is_first = self.rows % WINDOW_ROWS == 0
        if is_first or (held.power == held.power and not held.power <= held.power_peak):
            held.power_peak = held.power
        sample = Sample(
            signal,
            source >= FROM_OHMS,
            spacing,
            changed,
            joined,
            held.celsius,
            held.target_c,
            held.power,
            held.code,
            fresh,
            time_s if fresh else held.fresh_s,
            held.power_peak,
        )
        held.signal = signal
        held.source = source
        held.ohm_per_code = ohm_per_code
        if fresh:
            held.fresh_s = time_s
        return sample

    # -- a batch, arrays --

    def frame(self, batch: Batch) -> tuple[Frame, NDArray[np.intp]]:
        """Fill a batch; also the batch's row number of each row of the frame."""
        heard = np.zeros(len(batch), dtype=bool)
        for key, column in batch.numbers.items():
            if _is_reading(key):
                heard |= ~np.isnan(column)
        for key, pairs in batch.texts.items():
            if _is_reading(key):
                heard[[row for row, _ in pairs]] = True
        rows = np.flatnonzero(heard)
        time_s = batch.time_s[rows]
        row_spacing = np.diff(time_s, prepend=self.last_s)
        numbers = {key: column[rows] for key, column in batch.numbers.items()}
        ended = _ended(batch, rows, numbers)
        for key in numbers:
            quantity = quantity_of(key)
            if quantity in SENSOR_QUANTITIES or quantity in ("target_c", "power"):
                self._hold(channel_of(key))
            elif (key in MOTION_KEYS or quantity == "speed") and key not in self.context:
                self.context[key] = math.nan
        channels = {
            name: self._columns(name, held, numbers, ended, time_s, row_spacing)
            for name, held in self.held.items()
        }
        context = {}
        for key, last in self.context.items():
            filled = _fill(numbers.get(key), last, len(rows), ended.get(key))
            context[key] = filled
            if len(filled):
                self.context[key] = float(filled[-1])
        frame = Frame(self.rows, time_s, channels, context)
        if len(rows):
            self.rows += len(rows)
            self.last_s = float(time_s[-1])
        return frame, rows

    def _columns(
        self,
        name: str,
        held: Held,
        numbers: Mapping[str, Floats],
        ended: Mapping[str, _Rows],
        time_s: Floats,
        row_spacing: Floats,
    ) -> ChannelColumns:
        n = len(time_s)

        def filled(quantity: str, last: float) -> Floats:
            key = f"{name}.{quantity}"
            return _fill(numbers.get(key), last, n, ended.get(key))

        fresh = np.zeros(n, dtype=bool)
        for quantity in SENSOR_QUANTITIES:
            column = numbers.get(f"{name}.{quantity}")
            if column is not None:
                fresh |= ~np.isnan(column)
        celsius = filled("temperature_c", held.celsius)
        code = filled("code", held.code)
        resistance = filled("resistance_ohm", held.resistance_ohm)
        target = filled("target_c", held.target_c)
        power = filled("power", held.power)
        source, signal, ohm_per_code = held.plan.signals(code, resistance, celsius)
        joined = np.diff(source, prepend=held.source) != 0
        joined |= np.diff(ohm_per_code, prepend=held.ohm_per_code) != 0.0
        before = np.concatenate(([held.signal], signal[:-1])) if n else signal
        changed = ~joined & (signal != before) & ~np.isnan(signal)
        sent_s = _fill(np.where(fresh, time_s, np.nan), held.fresh_s, n)
        sent_before = np.concatenate(([held.fresh_s], sent_s[:-1])) if n else sent_s
        since = time_s - sent_before
        gap = np.where(fresh & (since >= MIN_SPACING_S), since, np.inf)
        period = np.minimum(np.fmin.accumulate(gap), held.period_s) if n else gap
        usual = np.fmax(row_spacing, SPACING_MARGIN * period)
        peak = _peaks(power, held.power_peak, self.rows % WINDOW_ROWS)
        spacing = np.where(since < usual, since, usual)
        if n:
            held.celsius, held.code = float(celsius[-1]), float(code[-1])
            held.resistance_ohm = float(resistance[-1])
            held.target_c, held.power = float(target[-1]), float(power[-1])
            held.signal, held.source = float(signal[-1]), int(source[-1])
            held.ohm_per_code = float(ohm_per_code[-1])
            held.fresh_s, held.period_s = float(sent_s[-1]), float(period[-1])
            held.power_peak = float(peak[-1])
            held.plan.has_code = held.plan.has_code or not np.isnan(code).all()
            held.plan.has_ohms = held.plan.has_ohms or not np.isnan(resistance).all()
        return ChannelColumns(
            held.plan,
            signal,
            source >= FROM_OHMS,
            spacing,
            changed,
            joined,
            celsius,
            target,
            power,
            code,
            fresh,
            sent_s,
            peak,
        )


def _peaks(values: Floats, last: float, at: int) -> Floats:
    """Highest value since the row's window began; `last` is that of the row before, row `at`."""
    n = len(values)
    padded = np.full(-(-(at + n) // WINDOW_ROWS) * WINDOW_ROWS, np.nan)
    padded[at : at + n] = values
    if at:
        padded[at - 1] = last
    peaks = np.fmax.accumulate(padded.reshape(-1, WINDOW_ROWS), axis=1)
    found: Floats = peaks.ravel()[at : at + n]
    return found


def _ended(batch: Batch, rows: NDArray[np.intp], numbers: dict[str, Floats]) -> dict[str, _Rows]:
    """Rows of the frame from which on a number's key has none, where the host says so.

    `numbers` gets a column for each such key.
    """
    ended = {}
    for key, pairs in batch.texts.items():
        number = number_key(key)
        if number is None:
            continue
        column = numbers.setdefault(number, np.full(len(rows), np.nan))
        at = np.searchsorted(rows, [row for row, _ in pairs])
        ended[number] = at[np.isnan(column[at])]
    return ended


def _fill(column: Floats | None, last: float, n: int, ended: _Rows | None = None) -> Floats:
    """Carry the last value forward over NaN, but not over `ended`; `last` holds before."""
    if column is None:
        return np.full(n, last)
    missing = np.isnan(column)
    if not missing.any():
        return column
    index = np.where(missing, -1, np.arange(n))
    if ended is not None:
        index[ended] = ended
    index = np.maximum.accumulate(index)
    return np.where(index < 0, last, column[np.maximum(index, 0)])
