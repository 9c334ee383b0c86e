"""The watch: updates in, events out, live or over whole nights.

    batch → host detectors ┐
          → rows → row detectors ├→ reports in log order → book and rules → events
          → windows → window detectors ┘

A short batch goes row by row on plain floats, a long one in blocks; the events are
the same either way (a property test cuts logs at random places).
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from detectors.book import EventBook
from detectors.catalogue import host_detectors, row_detectors, rules, window_detectors
from detectors.chainwatch import ChainWatch, Known
from detectors.closed import ClosedWindow, figures_of
from detectors.detector import Given, HostDetector, Moment, RowDetector, Rule, Say, WindowDetector
from detectors.floor import MIN_DEGREES, MIN_FRACTION, Floor
from detectors.frame import ChannelColumns, Filler, Frame, Row, Sample
from detectors.gates import GateKeeper
from detectors.health import channel_health
from detectors.hoststate import HostHistory
from detectors.kinds.reported import REPORTED
from detectors.kinds.rest import RestRule
from detectors.learned import Learned, Learner
from detectors.plan import ChannelPlan
from detectors.reports import Cleared, Report, Sighting
from detectors.windows import ROWS, Windower, Windows
from shared.chain import Chain
from shared.chainstate import ChainState
from shared.events import Event, NotEvaluated
from shared.health import ChannelHealth
from shared.updates import Batch, Floats, Update, updates_of
from shared.words import Gate, HostState, Kind, quantity_of

BLOCK_ROWS = 4096
SINGLY_UP_TO = 8
"""Batches up to this many updates go row by row."""
GAP_S = 1.5
"""Host detectors hear of gaps between rows longer than this."""


@dataclass(slots=True)
class _Channel:
    """Everything the watch keeps for one channel."""

    plan: ChannelPlan
    row_detectors: list[RowDetector]
    window_detectors: list[WindowDetector]
    floor: Floor
    learner: Learner
    gate: GateKeeper
    gates: list[tuple[int, Gate]]
    """Gate by the first row that it holds for."""
    before: Sample = field(default_factory=Sample)
    before_s: float = math.nan
    changed_row: int = 0
    changed_s: float = math.nan
    earlier: float = math.nan
    """Signal before its last change."""

    def enter(self, window: ClosedWindow, state: HostState, restarted_s: float) -> None:
        """Work out the gate of a window, and of the rows from the next one on."""
        # The median: a breaking contact must not look like a change of what the channel does.
        gate = self.gate.learn(
            window.end_s,
            window.middle_c,
            window.target_c,
            window.power,
            window.moving,
            state,
            restarted_s,
        )
        window.gate = gate
        if self.gates[-1][1] is not gate:
            self.gates.append((window.last_row + 1, gate))
            del self.gates[:-1024]

    def gate_at(self, row: int) -> Gate:
        for first, gate in reversed(self.gates):
            if first <= row:
                return gate
        return Gate.STARTING


class Watch:
    """Detectors, rules and the event book over one log.

    `chains` gives the chain facts by channel; channels without are taken as
    `shared.chain.ASSUMED` where they report a code. `listeners` are further rules, which
    see every report and window after the watch's own; theirs to keep and to ask.
    """

    def __init__(
        self, chains: Mapping[str, Chain] | None = None, listeners: Iterable[Rule] = ()
    ) -> None:
        self._chains = dict(chains or {})
        self._filler = Filler(self._chains)
        self._windower = Windower()
        self._host = HostHistory()
        self._channels: dict[str, _Channel] = {}
        self._host_detectors: list[HostDetector] = host_detectors()
        self._rules: list[Rule] = [*rules(self._chains), *listeners]
        self._rest = next(rule for rule in self._rules if isinstance(rule, RestRule))
        self._chainwatch = ChainWatch()
        self._chain_states: tuple[object, tuple[ChainState, ...]] = (None, ())
        self._book = EventBook()
        self._reports: list[Report] = []
        self._flags_moving: dict[str, list[int]] = {}
        self._heard_s = math.nan
        self._now_s = math.nan

    # -- what the outside asks --

    @property
    def events(self) -> list[Event]:
        """Every event so far by id, absorbed ones included."""
        return self._book.events

    @property
    def now_s(self) -> float:
        """Time of the last update; NaN before the first."""
        return self._now_s

    def assumed(self) -> list[str]:
        """Plain sentences on what was taken for granted."""
        return [
            f"{name}: no chain facts given; taken as Pt100, {channel.plan.chain.reference_ohm:g} Ω "
            f"reference, {channel.plan.chain.bits} bits"
            for name, channel in sorted(self._channels.items())
            if channel.plan.is_assumed and channel.plan.has_code
        ]

    def feed(self, batch: Batch) -> list[Event]:
        """Take a batch; the events that it raised or changed, as they now stand."""
        if len(batch) <= SINGLY_UP_TO:
            for update in updates_of(batch):
                self._one(update)
        else:
            for start in range(0, len(batch), BLOCK_ROWS):
                self._block(batch.cut(start, min(start + BLOCK_ROWS, len(batch))))
        return self._book.take_changes()

    def finish(self) -> list[Event]:
        """The log has ended; the events that this changed. What goes on keeps `end_s` None."""
        for host_detector in self._host_detectors:
            host_detector.finish(self._reports.append)
        for _, channel in sorted(self._channels.items()):
            for row_detector in channel.row_detectors:
                row_detector.finish(self._reports.append)
            for window_detector in channel.window_detectors:
                window_detector.finish(self._reports.append)
        self._settle(None, [])
        for rule in self._rules:
            rule.finish(self._book)
        return self._book.take_changes()

    def health(self) -> tuple[ChannelHealth, ...]:
        """Each channel now, in the host's order: its values, and whether to believe them."""
        return tuple(
            channel_health(
                name,
                held,
                channel.gate.value,
                self._book.events,
                self._host.state,
                self._now_s,
            )
            for name, held in self._filler.held.items()
            if (channel := self._channels.get(name)) is not None
        )

    def not_evaluated(self) -> tuple[NotEvaluated, ...]:
        """What detectors and rules could not judge, and why."""
        found: list[NotEvaluated] = []
        for _, channel in sorted(self._channels.items()):
            for row_detector in channel.row_detectors:
                found += row_detector.not_evaluated()
            for window_detector in channel.window_detectors:
                found += window_detector.not_evaluated()
        for host_detector in self._host_detectors:
            found += host_detector.not_evaluated()
        for rule in self._rules:
            found += rule.not_evaluated()
        return tuple(found)

    def chain_states(self) -> tuple[ChainState, ...]:
        """What each sensor chain shows up to now, for channels with codes, Ω or chain facts."""
        known = {
            name: Known(
                held.plan.chain,
                held.plan.is_assumed,
                held.plan.has_code,
                held.plan.has_ohms,
                held.period_s,
            )
            for name, held in self._filler.held.items()
        }
        has_uptime = self._host.last_uptime_s == self._host.last_uptime_s
        events = self._book.events
        stamp = self._chainwatch.windows, known, has_uptime, list(events)
        if self._chain_states[0] != stamp:
            found = self._chainwatch.states(known, events, has_uptime)
            self._chain_states = stamp, found
        return self._chain_states[1]

    # -- one update --

    def _one(self, update: Update) -> None:
        self._host_values(self._filler.rows, update)
        row = self._filler.row(update)
        self._now_s = update.time_s
        if row is None:
            for detector in self._host_detectors:
                detector.passed(
                    self._filler.rows, update.time_s, self._heard_s, self._reports.append
                )
            self._settle(None, [])
            return
        self._heard(row.row, row.time_s)
        for name in sorted(row.channels):
            self._step_row(self._channel(name), row, row.channels[name])
        windows = self._windower.add_row(row)
        closed = [] if windows is None else self._close(windows, self._reports.append)
        self._settle(row, closed)

    def _step_row(self, channel: _Channel, row: Row, sample: Sample) -> None:
        earlier, since_s = channel.earlier, channel.changed_s
        if sample.changed or sample.joined:
            channel.changed_row, channel.changed_s = row.row, row.time_s
            channel.earlier = math.nan if sample.joined else channel.before.signal
        moment = Moment(
            row.row,
            row.time_s,
            sample,
            channel.before,
            channel.before_s,
            earlier,
            since_s,
            channel.floor.value,
            row.row - channel.changed_row,
            channel.changed_s,
            channel.gate.value,
            row.context,
            channel.learner.now,
        )
        for detector in channel.row_detectors:
            detector.step(moment, self._reports.append)
        channel.before, channel.before_s = sample, row.time_s

    # -- a block --

    def _block(self, batch: Batch) -> None:
        first_row = self._filler.rows
        frame, heard = self._filler.frame(batch)
        self._host_block(batch, first_row, heard)
        windows = self._windower.add_frame(frame)
        for name in sorted(frame.channels):
            self._channel(name)
        floors = {name: [channel.floor.value] for name, channel in self._channels.items()}
        learned = {name: [channel.learner.now] for name, channel in self._channels.items()}
        later: list[Report] = []
        closed = self._close(windows, later.append, floors, learned)
        for name in sorted(frame.channels):
            self._step_block(
                self._channels[name], frame, windows, np.array(floors[name]), learned[name]
            )
        self._reports += later
        if len(batch):
            self._now_s = float(batch.time_s[-1])
        self._settle(frame, closed)

    def _step_block(
        self,
        channel: _Channel,
        frame: Frame,
        windows: Windows,
        floors: Floats,
        learned: list[Learned],
    ) -> None:
        columns = frame.channels[channel.plan.name]
        n = len(frame)
        if not n:
            return
        rows = np.arange(frame.first_row, frame.first_row + n)
        moved = columns.changed | columns.joined
        changed_row = np.maximum.accumulate(np.where(moved, rows, channel.changed_row))
        changed_at = np.where(
            changed_row < frame.first_row,
            channel.changed_s,
            frame.time_s[np.maximum(changed_row - frame.first_row, 0)],
        )
        window_of_row = np.clip(rows // ROWS - windows.first, 0, len(windows))
        given = Given(
            before=np.concatenate(([channel.before.signal], columns.signal[:-1])),
            floor=floors[window_of_row],
            run=rows - changed_row,
            held_since_s=changed_at,
            window=window_of_row,
            learned=learned,
        )
        suspect = np.zeros(n, dtype=bool)
        for detector in channel.row_detectors:
            suspect |= detector.suspects(columns, frame, given)
        self._step_suspects(channel, frame, columns, given, np.flatnonzero(suspect))
        channel.earlier, _ = _earlier(channel, frame, columns, given, n)
        channel.changed_row, channel.changed_s = int(changed_row[-1]), float(changed_at[-1])
        channel.before, channel.before_s = _sample(columns, n - 1), float(frame.time_s[-1])

    def _step_suspects(
        self,
        channel: _Channel,
        frame: Frame,
        columns: ChannelColumns,
        given: Given,
        suspects: NDArray[np.intp],
    ) -> None:
        """Step the suspect rows, and those after them until every detector is at rest."""
        detectors = channel.row_detectors
        n = len(frame)
        index = 0
        before_at, before = -1, channel.before
        while index < n:
            if not any(detector.busy for detector in detectors):
                after = int(np.searchsorted(suspects, index))
                if after == len(suspects):
                    return
                index = int(suspects[after])
            if before_at != index - 1:
                before = _sample(columns, index - 1)
            sample = _sample(columns, index)
            row = frame.first_row + index
            moment = Moment(
                row,
                float(frame.time_s[index]),
                sample,
                before,
                float(frame.time_s[index - 1]) if index else channel.before_s,
                *_earlier(channel, frame, columns, given, index),
                float(given.floor[index]),
                int(given.run[index]),
                float(given.held_since_s[index]),
                channel.gate_at(row),
                {key: float(values[index]) for key, values in frame.context.items()},
                given.learned[given.window[index]],
            )
            for detector in detectors:
                detector.step(moment, self._reports.append)
            before_at, before = index, sample
            index += 1

    # -- host words, flags, uptime, gaps --

    def _host_values(self, row: int, update: Update) -> None:
        say = self._reports.append
        for key in sorted(update.values):
            value = update.values[key]
            if isinstance(value, str):
                is_new = self._host.text(row, update.time_s, key, value)
                if not is_new and quantity_of(key) != REPORTED:
                    continue
                for detector in self._host_detectors:
                    detector.text(row, update.time_s, key, value, say)
            elif key == "controller.uptime_s" and self._host.uptime(row, update.time_s, value):
                for detector in self._host_detectors:
                    detector.uptime(row, update.time_s, value, say)

    def _heard(self, row: int, time_s: float) -> None:
        if not time_s - self._heard_s <= GAP_S:
            for detector in self._host_detectors:
                detector.heard(row, time_s, self._heard_s, self._reports.append)
        self._heard_s = time_s

    def _host_block(self, batch: Batch, first_row: int, heard: NDArray[np.intp]) -> None:
        """Show host detectors the updates of a block that hold anything for them."""
        wanted: set[int] = set()
        for key, pairs in batch.texts.items():
            if quantity_of(key) == REPORTED:
                wanted.update(index for index, _ in pairs)
            last = self._host.texts.get(key)
            for index, text in pairs:
                if text != last:
                    wanted.add(index)
                    last = text
        uptime = batch.numbers.get("controller.uptime_s")
        if uptime is not None:
            said = np.flatnonzero(~np.isnan(uptime))
            falls = np.diff(uptime[said], prepend=math.inf) < 0.0
            wanted.update(said[falls].tolist())
        is_heard = np.zeros(len(batch), dtype=bool)
        is_heard[heard] = True
        wanted.update(np.flatnonzero(~is_heard).tolist())
        time_heard = batch.time_s[heard]
        gaps = np.flatnonzero(~(np.diff(time_heard, prepend=self._heard_s) <= GAP_S))
        wanted.update(heard[gaps].tolist())
        for index in sorted(wanted):
            position = int(np.searchsorted(heard, index))
            row = first_row + position
            update = updates_of(batch.cut(index, index + 1))[0]
            if position:
                self._heard_s = float(time_heard[position - 1])
            if uptime is not None:
                before = int(np.searchsorted(said, index))
                if before:
                    self._host.last_uptime_s = float(uptime[said[before - 1]])
            self._host_values(row, update)
            if is_heard[index]:
                self._heard(row, update.time_s)
            else:
                for detector in self._host_detectors:
                    detector.passed(row, update.time_s, self._heard_s, self._reports.append)
        if len(heard):
            self._heard_s = float(time_heard[-1])
        if uptime is not None and len(said):
            self._host.last_uptime_s = float(uptime[said[-1]])

    # -- windows --

    def _close(
        self,
        windows: Windows,
        say: Say,
        floors: dict[str, list[float]] | None = None,
        learned: dict[str, list[Learned]] | None = None,
    ) -> list[dict[str, ClosedWindow]]:
        """Show closed windows to their detectors; learn floors and gates from them."""
        closed: list[dict[str, ClosedWindow]] = []
        names = sorted(windows.channels)
        figures = {name: figures_of(windows.channels[name]) for name in names}
        starts, ends = windows.start_s.tolist(), windows.end_s.tolist()
        moving = windows.moving.tolist()
        context_of = {key: values.tolist() for key, values in windows.context.items()}
        for index in range(len(windows)):
            number = windows.first + index
            last_row = (number + 1) * ROWS - 1
            context = {key: values[index] for key, values in context_of.items()}
            state, restarted_s = self._host.at(last_row)
            by_channel: dict[str, ClosedWindow] = {}
            for name in names:
                channel = self._channels[name]
                window = ClosedWindow(
                    *figures[name][index],
                    number,
                    last_row,
                    starts[index],
                    ends[index],
                    moving[index],
                    context,
                    channel.gate.value,
                    channel.floor.value,
                    windows,
                    index,
                    windows.channels[name],
                )
                if window.present:
                    by_channel[name] = window
                    channel.enter(window, state, restarted_s)
                    for detector in channel.window_detectors:
                        detector.step(window, say)
                    channel.floor.learn(window.noise, window.joined)
                    channel.learner.learn(window, channel.floor.value, ROWS)
                if floors is not None and learned is not None:
                    floors[name].append(channel.floor.value)
                    learned[name].append(channel.learner.now)
            closed.append(by_channel)
        return closed

    # -- reports into events --

    def _settle(self, rows: "Row | Frame | None", closed: list[dict[str, ClosedWindow]]) -> None:
        """Book the waiting reports and show windows to the rules, all in log order."""
        self._reports.sort(key=lambda report: report.row)
        waiting = iter(self._reports)
        report = next(waiting, None)
        for windows in closed:
            last_row = next(iter(windows.values())).last_row if windows else -1
            while report is not None and report.row <= last_row:
                self._book_report(report, rows)
                report = next(waiting, None)
            if windows:
                end_s = next(iter(windows.values())).end_s
                for rule in self._rules:
                    rule.advance(end_s, self._book)
                    rule.window(windows, self._book)
                self._chainwatch.window(windows, self._rest.resting)
        while report is not None:
            self._book_report(report, rows)
            report = next(waiting, None)
        self._reports.clear()
        if self._now_s == self._now_s:
            for rule in self._rules:
                rule.advance(self._now_s, self._book)

    def _book_report(self, report: Report, rows: "Row | Frame | None") -> None:
        context = _context(rows, report.row)
        for rule in self._rules:
            rule.advance(report.at_s, self._book)
        channel = self._channels.get(report.channel)
        event: Event | None = None
        if isinstance(report, Sighting):
            if report.kind is Kind.CONVERTER_FLAG:
                self._flag_motion(report, context)
            gate = channel.gate_at(report.row) if channel is not None else None
            event = self._book.sight(report, gate)
        elif isinstance(report, Cleared):
            event = self._book.clear(report)
        for rule in self._rules:
            rule.taken(report, event, context, self._book)

    def _flag_motion(self, report: Sighting, context: dict[str, float]) -> None:
        """Say in which share of a channel's flags the carriage moved: texts do not show it."""
        speed = context.get("motion.speed_mm_s", math.nan)
        if speed == speed:
            tally = self._flags_moving.setdefault(report.channel, [0, 0])
            tally[0] += 1
            tally[1] += speed > 0.0
            report.facts["moving"] = tally[1] / tally[0]

    def _channel(self, name: str) -> _Channel:
        channel = self._channels.get(name)
        if channel is None:
            plan = self._filler.plan(name)
            least = MIN_FRACTION * plan.ohm_per_code if name in self._chains else MIN_DEGREES
            channel = self._channels[name] = _Channel(
                plan,
                row_detectors(plan),
                window_detectors(plan),
                Floor(least),
                Learner(),
                GateKeeper(),
                [(0, Gate.STARTING)],
            )
        return channel


def _earlier(
    channel: _Channel, frame: Frame, columns: ChannelColumns, given: Given, index: int
) -> tuple[float, float]:
    """Signal before the last change that came before a row of a frame, and when that came."""
    if index == 0:
        return channel.earlier, channel.changed_s
    at = index - 1 - int(given.run[index - 1])
    since_s = float(given.held_since_s[index - 1])
    if at < 0:
        return channel.earlier, since_s
    moved = columns.changed[at] or columns.joined[at]
    if not moved:
        return channel.earlier, since_s
    return math.nan if columns.joined[at] else float(given.before[at]), since_s


def _sample(columns: ChannelColumns, index: int) -> Sample:
    return Sample(
        float(columns.signal[index]),
        bool(columns.in_ohms[index]),
        float(columns.spacing_s[index]),
        bool(columns.changed[index]),
        bool(columns.joined[index]),
        float(columns.celsius[index]),
        float(columns.target_c[index]),
        float(columns.power[index]),
        float(columns.code[index]),
        bool(columns.fresh[index]),
        float(columns.sent_s[index]),
        float(columns.power_peak[index]),
    )


def _context(rows: "Row | Frame | None", row: int) -> dict[str, float]:
    """Motion, fan, power and target keys at a row."""
    if rows is None:
        return {}
    if isinstance(rows, Row):
        context = dict(rows.context)
        for name, sample in rows.channels.items():
            context[f"{name}.power"] = sample.power
            context[f"{name}.target_c"] = sample.target_c
        return context
    index = min(max(row - rows.first_row, 0), len(rows) - 1)
    if index < 0:
        return {}
    context = {key: float(values[index]) for key, values in rows.context.items()}
    for name, columns in rows.channels.items():
        context[f"{name}.power"] = float(columns.power[index])
        context[f"{name}.target_c"] = float(columns.target_c[index])
    return context
