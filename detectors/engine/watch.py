"""The watch: updates in, events out, live or over whole nights.

    batch → host detectors ┐
          → rows → row detectors ├→ reports in log order → book and rules → events
          → windows → window detectors ┘

A short batch goes row by row on plain floats, a long one in blocks; the events are
the same either way (a property test cuts logs at random places).
"""

import math
from collections.abc import Iterable, Mapping

import numpy as np

from detectors.chain.chainwatch import ChainWatch
from detectors.detector import Rule, Say
from detectors.engine.bookkeeper import Bookkeeper
from detectors.engine.catalogue import rules
from detectors.engine.channelwatch import ChannelWatch
from detectors.engine.hostwatch import HostWatch
from detectors.health import channel_health
from detectors.reports import Report
from detectors.table.closed import Together
from detectors.table.frame import Filler
from detectors.table.gates import GateKeeper, busiest
from detectors.table.learned import LearnedColumns, Learner
from detectors.table.windower import Windower
from detectors.table.windows import Windows, times_of
from shared.chain import Chain
from shared.chainstate import ChainState
from shared.events import Event, NotEvaluated
from shared.health import ChannelHealth
from shared.updates import Batch, Update, updates_of
from shared.words import Gate

BLOCK_ROWS = 16_384
"""Longer batches are cut: what one block needs of a channel stays in a cache."""
SINGLY_UP_TO = 8
"""Batches up to this many updates go row by row."""


class Watch:
    """Detectors, rules and the event book over one log.

    `chains` gives the chain facts by channel; what they lack is worked out from the log, or
    not told. `listeners` are further rules, which
    see every report and window after the watch's own; theirs to keep and to ask.
    """

    def __init__(
        self, chains: Mapping[str, Chain] | None = None, listeners: Iterable[Rule] = ()
    ) -> None:
        facts = dict(chains or {})
        self._filler = Filler(facts)
        self._windower = Windower()
        self._gates = GateKeeper()
        self._learner = Learner()
        self._host = HostWatch()
        self._channels: dict[str, ChannelWatch] = {}
        self._chainwatch = ChainWatch(self._filler.held)
        self._chain_states: tuple[object, tuple[ChainState, ...]] = (None, ())
        self._keeper = Bookkeeper([*rules(facts), *listeners], self._chainwatch, self._gate_at)
        self._book = self._keeper.book
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
        self._host.finish(self._keeper.say)
        for _, channel in sorted(self._channels.items()):
            channel.finish(self._keeper.say)
        self._keeper.finish(self._now_s)
        return self._book.take_changes()

    def health(self) -> tuple[ChannelHealth, ...]:
        """Each channel now, in the host's order: its values, and whether to believe them."""
        return tuple(
            channel_health(
                name, held, channel.gate, self._book.events, self._host.state, self._now_s
            )
            for name, held in self._filler.held.items()
            if (channel := self._channels.get(name)) is not None
        )

    def not_evaluated(self) -> tuple[NotEvaluated, ...]:
        """What detectors and rules could not judge, and why."""
        found: list[NotEvaluated] = []
        for _, channel in sorted(self._channels.items()):
            found += channel.not_evaluated()
        return (*found, *self._host.not_evaluated(), *self._keeper.not_evaluated())

    def chain_states(self) -> tuple[ChainState, ...]:
        """What each sensor chain shows up to now, for channels with codes, Ω or chain facts."""
        events, has_uptime = self._book.events, self._host.has_uptime
        sent = [(held.plan.has_code, held.plan.has_ohms) for held in self._filler.held.values()]
        stamp = self._chainwatch.windows, sent, has_uptime, list(events)
        if self._chain_states[0] != stamp:
            found = self._chainwatch.states(events, has_uptime)
            self._chain_states = stamp, found
        return self._chain_states[1]

    # -- one update, and a block of them --

    def _one(self, update: Update) -> None:
        say = self._keeper.say
        self._host.values(self._filler.rows, update, say)
        row = self._filler.row(update)
        self._now_s = update.time_s
        if row is None:
            self._host.passed(self._filler.rows, update.time_s, say)
            self._keeper.settle(None, None, self._now_s)
            return
        self._host.heard(row.row, row.time_s, say)
        for name in sorted(row.channels):
            self._channel(name).step_row(row, row.channels[name], say)
        windows = self._windower.add_row(row)
        closed = None if windows is None else self._close(windows, say)
        self._keeper.settle(row, closed, self._now_s)

    def _block(self, batch: Batch) -> None:
        say = self._keeper.say
        first_row = self._filler.rows
        frame, heard = self._filler.frame(batch)
        self._host.block(batch, first_row, heard, say)
        windows = self._windower.add_frame(frame)
        later: list[Report] = []
        closed = self._close(windows, later.append)
        for name in sorted(frame.channels):
            self._channel(name).step_frame(frame, windows, say)
        for report in later:
            say(report)
        if len(batch):
            self._now_s = float(batch.time_s[-1])
        self._keeper.settle(frame, closed, self._now_s)

    def _close(self, windows: Windows, say: Say) -> Together:
        """Show closed windows to each channel; those of all channels."""
        times, names = times_of(windows), list(windows.channels)
        codes = self._gates.gates(windows.figures, times, self._host.at(times.last_row))
        by_name = dict(zip(names, codes, strict=True))
        runs = {
            name: self._channel(name).close(windows, times, by_name[name], say)
            for name in sorted(names)
        }
        seconds, floors = windows.end_s - windows.start_s, [runs[name].floors for name in names]
        if names:
            spacing_s = windows.spacing_s()
            learned = self._learner.learn(windows.figures, seconds, spacing_s, np.stack(floors))
            for name, table in zip(names, learned, strict=True):
                self._channel(name).learn(LearnedColumns(table))
        return Together(windows, times, codes, runs)

    def _gate_at(self, name: str, row: int) -> Gate:
        """What a channel was doing at a row; what the machine was, where none is meant."""
        channel = self._channels.get(name)
        if channel is not None:
            return channel.gate_at(row)
        return busiest(each.gate_at(row) for each in self._channels.values())

    def _channel(self, name: str) -> ChannelWatch:
        channel = self._channels.get(name)
        if channel is None:
            channel = self._channels[name] = ChannelWatch(
                self._filler.plan(name), self._host.state_at
            )
        return channel
