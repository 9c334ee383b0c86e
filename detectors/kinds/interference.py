"""interference: noise or faults that depend on what the machine does.

Quantity: events in the state that they are tied to. Events are reported faults of
a channel, or rows whose noise stands out of its floor: a rise and a fall on end, each
beyond 3.5 times what the floor allows, which heat seldom makes: twelve, and three a
minute in the state, are the least. `chance.ties` holds them
against the time spent in each state; p < 0.001 (bursts of noise: 0.0001) after correction
for all questions, at least five events in the state, and twice the rate elsewhere.

Noise that is larger throughout motion is also found without bursts: the noise of moving and
still stretches beside each other is compared, at least twice as large (`chance.contrast`).
Noise that was there from one edge of a heater to the next, if but once, is tied by `kinds.edges`.
Either must be electrical: heat that flow and fan stir depends on motion as well, but is not
white (`chance.whiteness`).

`tied_to` names the state: `motion` (moving against still), `motion.speed_mm_s`,
`motion.x_mm`, `motion.y_mm` or `motion.z_mm` (beyond a place), `CHANNEL.power` (level of a
heater without faults of its own, or its switching), or a fan by its key, such as
`fan.speed`. Facts: `events`, `all_events`, `share` of the time, `p`, `ratio`.

Looks back ten minutes before the first event and an hour at most; for faults tied to height,
which takes hours, over seventeen hours in motion (`kinds.heights`). Blind where neither
motion, fan nor power is reported, and to a state that never changed; within one print to
height, since height and time then grow alike: faults must come again after a low stretch.
"""

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from detectors.book import EventBook
from detectors.chance.contrast import Contrast, MotionContrast
from detectors.chance.ties import GROWTH, LEAST_TO_ASK, MOTION, Tie, strongest_tie
from detectors.chance.whiteness import SPARSE_S, WHITE, Look, is_electrical, look, whiteness
from detectors.detector import Rule
from detectors.kinds.heights import Heights
from detectors.reports import Cleared, Report, Sighting
from detectors.table.closed import ClosedWindow, ClosedWindows, Together, WindowsAt
from detectors.table.windows import ROWS, Windows
from shared.events import Event, NotEvaluated
from shared.kinds import KINDS
from shared.updates import Floats
from shared.words import EVERY_CHANNEL, Gate, Kind

BEFORE_S = 600.0
MOST_WINDOWS = 1024
"""So many are looked back over at most, that a flood of updates fills no memory: more than two
hours at 4 Hz, half a minute at a thousand a second."""
AT_MOST_S = 3600.0
TROUBLED_FROM = 3
"""A channel with this many events has its power moved by them: nothing is tied to it."""
NOISE = "noise"
FAULTY = "faults"
LEAST_BURSTS, LEAST_BURSTS_PER_MIN = 12, 3.0
"""Rarer bursts are no noise to speak of: flow and fan stir real heat now and then."""
BURSTS_SIGNIFICANT = 1e-4
"""Healthy noise has bursts too, and is asked up to 15 times an hour as they grow by a quarter:
one false alarm in 30 days a channel at worst. Faults, which are rare in health, need less."""
STIRRED = 3.0
"""Between rare readings stirred heat is taken to be so much wider than a channel's own noise."""
OUT_OF_FLOOR = 3.5
RISE = 1.002
"""How fast the quietest floor is forgotten, a window."""
RANGE_FLOORS = 8.0
"""A window whose range is wider than this is looked at row by row."""
LEAST_STEPS = 0.6
MOSTLY = 0.5
OVER_S = 300.0
"""The event ends this long after the last."""
_STARTING = Gate.STARTING


@dataclass(slots=True)
class _Stream:
    """Events of one sort on one channel, and the time in which they could come."""

    chunks: deque[tuple[Windows, int]]
    events_s: list[float] = field(default_factory=list)
    asked: int = 0
    tie: Tie | None = None


class InterferenceRule(Rule):
    """Gathers events a channel and asks what they are tied to."""

    def __init__(self) -> None:
        self._ring: deque[tuple[Windows, int]] = deque(maxlen=MOST_WINDOWS)
        self._streams: dict[tuple[str, str], _Stream] = {}
        self._seen: dict[tuple[str, Kind], tuple[int, int]] = {}
        self._up: dict[str, float] = {}
        self._contrasts: dict[str, MotionContrast] = {}
        self._heights = Heights()
        self._told_s: dict[str, float] = {}
        """The last fault of each channel that was told to be tied to height."""
        self._has_context = False
        self._row = 0
        self._floors: dict[str, float] = {}
        self._at: tuple[Together, int]
        self._ahead: Together | None = None
        self._stand_out: dict[int, list[tuple[str, float]]] = {}
        """Of the windows that are being shown."""

    def taken(
        self, report: Report, event: Event | None, context: Mapping[str, float], book: EventBook
    ) -> None:
        if not isinstance(report, Sighting) or event is None:
            return
        if not KINDS[report.kind].is_of_rows:
            return
        key, mark = (report.channel, report.kind), (event.id, event.count)
        if self._seen.get(key) == mark:
            return
        self._seen[key] = mark
        self._stream(report.channel, FAULTY).events_s.append(report.start_s)
        self._heights.fault(report.channel, report.start_s)

    def _stream(self, channel: str, sort: str) -> _Stream:
        stream = self._streams.get((channel, sort))
        if stream is None:
            stream = self._streams[channel, sort] = _Stream(self._ring.copy())
        return stream

    def window(self, windows: WindowsAt, book: EventBook) -> None:
        together, index = self._at = windows.together, windows.index
        if together is not self._ahead:
            self._stand_out = self._standing_out(together)
            self._ahead = together
        chunk = (together.windows, index)
        end_s, self._row = windows.end_s, windows.last_row
        self._has_context = self._has_context or bool(together.windows.context)
        for stream in self._streams.values():
            stream.chunks.append(chunk)
        self._ring.append(chunk)
        self._heights.window(*chunk)
        while len(self._ring) > 1 and _start_s(self._ring[0]) < end_s - BEFORE_S:
            self._ring.popleft()
        for name, floor in self._stand_out.get(index, ()):
            self._look(name, windows[name], floor)
        moving, still = together.of(_counts)[index]
        if moving or still:
            for name in windows:
                self._compare(name, together, index, book)
        if self._streams or self._up:
            self._review(end_s, book)

    def _standing_out(self, together: Together) -> dict[int, list[tuple[str, float]]]:
        """Windows whose range stands out of its floor: channels, and their floors, by window."""
        found: dict[int, list[tuple[str, float]]] = {}
        for name, run in together.channels.items():
            channel, floors = run.channel, self._lowest(name, run)
            out = channel.high - channel.low > RANGE_FLOORS * np.array(floors)
            for index in np.flatnonzero(out & channel.present & ~channel.joined).tolist():
                found.setdefault(index, []).append((name, floors[index]))
        return found

    def _lowest(self, name: str, run: ClosedWindows) -> list[float]:
        """The quietest floor of late: noise that lasts would teach its own."""
        lowest = self._floors.get(name, math.nan)
        found = []
        for floor in run.floor_before[:-1]:
            most = lowest * RISE
            lowest = most if floor > most else floor
            found.append(lowest)
        self._floors[name] = lowest
        return found

    def _gate(self, name: str) -> Gate | None:
        """What a channel does at the window that was shown last."""
        together, index = self._at
        run = together.channels.get(name)
        return None if run is None else run.gates[index]

    def _compare(self, name: str, together: Together, index: int, book: EventBook) -> None:
        """Hold noise in motion against noise at rest."""
        run = together.channels[name]
        gate = run.gates[index]
        if gate is _STARTING or run.column("joined")[index]:
            return
        sizes = run.column("third_moving")[index], run.column("third_still")[index]
        if sizes[0] != sizes[0] or sizes[1] != sizes[1]:
            return
        contrast = self._contrasts.get(name)
        if contrast is None:
            contrast = self._contrasts[name] = MotionContrast()
        times, step = together.times, run.column("step")[index]
        counts, end_s = together.of(_counts)[index], times.end_s[index]
        if not contrast.add(times.start_s[index], end_s, sizes, counts, step):
            return
        if name in self._up:
            if contrast.last_is_loud:
                self._up[name] = end_s
            return
        found = contrast.judge()
        if found is not None and is_electrical(self._looks_in_motion(name)):
            self._up[name] = end_s
            book.sight(self._contrasted(name, found), gate)

    def _looks_in_motion(self, name: str) -> list[Look]:
        """Of the latest windows in which a carriage moves, mostly."""
        return [
            look(channel.signal_rows[index].tolist(), float(channel.rough[index]))
            for windows, index in self._ring
            if windows.moving[index] > MOSTLY
            and (channel := windows.channels.get(name)) is not None
            and channel.rough[index] == channel.rough[index]
        ]

    def _look(self, name: str, window: ClosedWindow, floor: float) -> None:
        """Note the rows of a window whose noise stands out."""
        if window.gate is _STARTING:
            return
        signal = window.channel.signal_rows[window.index]
        if window.end_s - window.start_s > SPARSE_S * ROWS:
            # From one such reading to the next flow and fan stir heat as fast as noise goes.
            floor *= STIRRED
        # Times only rise, so that misdated readings of heat turn round no oftener than it does.
        out = _bursts(signal, max(floor, LEAST_STEPS * window.step))
        if not out.any():
            return
        if whiteness([look(signal.tolist(), window.rough, clip=False)]) < WHITE:
            return
        time_s = window.windows.time_rows[window.index][1:-1][out]
        self._stream(name, NOISE).events_s += time_s.tolist()

    def _review(self, end_s: float, book: EventBook) -> None:
        for (channel, sort), stream in sorted(self._streams.items()):
            while len(stream.chunks) > 1 and _start_s(stream.chunks[0]) < end_s - AT_MOST_S:
                stream.chunks.popleft()
            oldest_s = _start_s(stream.chunks[0])
            if stream.events_s and stream.events_s[0] < oldest_s:
                stream.events_s = [at_s for at_s in stream.events_s if at_s >= oldest_s]
                stream.asked = min(stream.asked, len(stream.events_s))
            if not stream.events_s:
                del self._streams[channel, sort]
                continue
            count = len(stream.events_s)
            least = LEAST_BURSTS if sort == NOISE else LEAST_TO_ASK
            if count >= least and count >= GROWTH * stream.asked:
                stream.asked = count
                self._ask(channel, sort, stream, book)
        self._ask_heights(book)
        for channel in sorted(self._up):
            self._end_if_over(channel, end_s, book)

    def _ask(self, channel: str, sort: str, stream: _Stream, book: EventBook) -> None:
        time_s, columns = _columns(stream.chunks)
        if not columns:
            return
        troubled = {
            name
            for (name, _), other in self._streams.items()
            if len(other.events_s) >= TROUBLED_FROM
        }
        tie = strongest_tie(time_s, columns, stream.events_s, {channel, *troubled})
        if tie is None or (sort == NOISE and not _is_plain(tie)):
            return
        event = book.newest(channel, Kind.INTERFERENCE)
        if channel not in self._up:
            event = None
        if event is not None and sort == NOISE and event.facts.get("of") == FAULTY:
            # Faults make bursts too, and say more.
            return
        if event is not None and event.tied_to != tie.key:
            # The first answer stands unless the new one is much surer.
            if tie.p > 1e-3 * float(event.facts.get("p", 1.0)):
                return
            at_s = stream.events_s[-1]
            book.clear(Cleared(self._row, at_s, channel, Kind.INTERFERENCE, at_s))
        self._up[channel] = stream.events_s[-1]
        book.sight(self._sighting(channel, sort, stream, tie), self._gate(channel))

    def _ask_heights(self, book: EventBook) -> None:
        """Say what is tied to height and was not yet told to be tied to anything."""
        for channel, tie, times_s in self._heights.ties():
            told_s = self._told_s.get(channel, -math.inf)
            new_s = [at_s for at_s in times_s if at_s > told_s]
            if channel in self._up or not new_s:
                continue
            self._told_s[channel] = self._up[channel] = new_s[-1]
            stream = _Stream(deque(), new_s)
            book.sight(self._sighting(channel, FAULTY, stream, tie), self._gate(channel))

    def _sighting(self, channel: str, sort: str, stream: _Stream, tie: Tie) -> Sighting:
        return Sighting(
            row=self._row,
            at_s=stream.events_s[-1],
            channel=channel,
            kind=Kind.INTERFERENCE,
            start_s=stream.events_s[0],
            end_s=None,
            value=float(tie.events),
            unit="events",
            text=f"{tie.events} of {tie.all_events} {'faults' if sort == 'faults' else 'bursts'} "
            f"come {tie.words}, {tie.share:.0%} of the time",
            tied_to=tie.key,
            facts={
                "events": float(tie.events),
                "all_events": float(tie.all_events),
                "share": tie.share,
                "exposure_s": tie.time_s,
                "all_exposure_s": tie.all_time_s,
                "rate_per_min": tie.rate_per_min,
                "ratio": tie.ratio,
                "p": tie.p,
                "of": sort,
            },
        )

    def _contrasted(self, channel: str, found: Contrast) -> Sighting:
        return Sighting(
            row=self._row,
            at_s=found.end_s,
            channel=channel,
            kind=Kind.INTERFERENCE,
            start_s=found.start_s,
            end_s=None,
            value=found.ratio,
            unit="times",
            text=f"noise is {found.ratio:.1f} times as large while the carriage moves as in the "
            f"pauses between, in {found.groups} comparisons",
            tied_to=MOTION,
            facts={
                "ratio": found.ratio,
                "groups": float(found.groups),
                "errors": found.errors,
                "of": NOISE,
            },
        )

    def _end_if_over(self, channel: str, end_s: float, book: EventBook) -> None:
        last_s = max(
            (
                stream.events_s[-1]
                for (name, _), stream in self._streams.items()
                if name == channel and stream.events_s
            ),
            default=self._up[channel],
        )
        last_s = max(last_s, self._up[channel])
        if end_s - last_s >= OVER_S:
            del self._up[channel]
            book.clear(Cleared(self._row, end_s, channel, Kind.INTERFERENCE, last_s))

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._has_context:
            return []
        why = "neither motion nor a fan is reported, so noise can't be tied to them"
        return [NotEvaluated(kind=Kind.INTERFERENCE, channel=EVERY_CHANNEL, why=why)]


def _bursts(signal: Floats, noise: float) -> NDArray[np.bool_]:
    """Rows between the first and the last that stand out of noise of this sd, shape (n - 2,)."""
    limit = OUT_OF_FLOOR * math.sqrt(2.0) * noise
    change = np.diff(signal)
    out: NDArray[np.bool_] = np.minimum(np.abs(change[1:]), np.abs(change[:-1])) > limit
    return out & (change[1:] * change[:-1] < 0.0)


def _is_plain(tie: Tie) -> bool:
    """Whether bursts of noise are tied so surely, and come so often, that it means something."""
    return tie.p <= BURSTS_SIGNIFICANT and tie.rate_per_min >= LEAST_BURSTS_PER_MIN


def _counts(together: Together) -> list[tuple[float, float]]:
    """Third differences, moving and still, of each window."""
    windows = together.windows
    return list(zip(windows.thirds_moving.tolist(), windows.thirds_still.tolist(), strict=True))


def _start_s(chunk: tuple[Windows, int]) -> float:
    return float(chunk[0].start_s[chunk[1]])


def _columns(chunks: deque[tuple[Windows, int]]) -> tuple[Floats, dict[str, Floats]]:
    """Times and motion, fan and power keys of the rows behind the chunks."""
    time_s = np.concatenate([windows.time_rows[index] for windows, index in chunks])
    last = chunks[-1][0]
    keys = [*last.context_rows]
    gap = np.full(chunks[-1][0].time_rows.shape[1], np.nan)
    columns = {
        key: np.concatenate(
            [
                windows.context_rows[key][index] if key in windows.context_rows else gap
                for windows, index in chunks
            ]
        )
        for key in keys
    }
    for name in last.channels:
        power = np.concatenate(
            [
                windows.channels[name].power_rows[index] if name in windows.channels else gap
                for windows, index in chunks
            ]
        )
        if not np.isnan(power).all():
            columns[f"{name}.power"] = power
    return time_s, {key: columns[key] for key in sorted(columns)}
