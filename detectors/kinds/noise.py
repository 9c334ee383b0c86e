"""noise-rise: noise well above this channel's own.

Quantity: sd of sample noise in Ω (K where only degrees are reported), from the trimmed
third differences of a window of 32 rows, so that neither a few odd samples nor heat's
slopes and bends count. The logarithm of noise over the channel's own goes into a CUSUM
whose slack is half of a doubling; its limit makes one false alarm in 30 days, from the
channel's own spread of windows, widened by their measured autocorrelation.

Least fault that is found: twice the own noise, and more than half a step (one code, or
the host's rounding), for a few windows. Heat-ups and cool-downs faster than 0.1 K/s are
neither judged nor learned from; nor are windows in which the reading stood, unless its steps are so
coarse (0.25 K) that they hide a sound chain's noise.

What the chart takes for a rise must be no heat: its loud windows must be white
(`chance.whiteness`), and above what misdated readings make of the heat that moves.

Unheated, heated and printing have their own noise each, learned from every window at first and by
looks of eight once it is known; a new state is judged by the likest one until then. Blind until a
channel's own noise is known: 3 windows; to noise of less than three times that of an unheated
channel, with 0.07 K that a heater's switch may add, where it has been there since it was heated; to
noise that is slower than white, or smaller than what stirred heat moves between readings.
"""

import math
from collections import defaultdict, deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import numpy as np

from detectors.chance.charts import SECONDS_IN_30_DAYS, Cusum, Ewma, limit_for
from detectors.chance.whiteness import SPARSE_S, Look, is_electrical, look
from detectors.detector import Say, WindowDetector
from detectors.heat.ripple import SWITCHED_K
from detectors.reports import Cleared, Sighting
from detectors.table.closed import ClosedWindow, ClosedWindows
from detectors.table.gates import CODES
from detectors.table.plan import ChannelPlan
from detectors.table.windows import ROWS
from shared.events import NotEvaluated
from shared.when import spelt
from shared.words import Gate, Kind

LEAST_WINDOWS = 3
SETTLED = 50
"""Windows after which the own noise is known well."""
LOOK = 8
"""Windows that teach together from then on; before, each one does."""
LEARNING_WEIGHT = 1.0 / SETTLED
"""Own noise follows slow changes over so many windows."""
LEAST_STEPS = 0.6
"""A quiet reading that flips between two steps has an sd of half a step: noise below this
tells nothing."""
SLACK = 0.5 * math.log(2.0)
MOST_AT_ONCE = math.log(5.0)
"""One window counts no more than this: no alarm from a single one."""
LEAST_LIMIT = 1.4
LOUD = math.log(1.8)
LOUD_WHEN_NEW = math.log(3.0)
NEW_WINDOWS = 24
"""A first print may be this much noisier than rest, since flow and fan stir real heat, while
its own noise is learned."""
QUIET = math.log(1.4)
QUIET_WINDOWS = 3
LEAST_SPREAD, MOST_SPREAD, USUAL_SPREAD = 0.2, 1.0, 0.25
"""Sd of a window's log noise: 0.25 for independent normal samples (computed)."""
FAST_C_S = 0.1
MOST_WAITING = 6
LOUD_WINDOWS = 8
"""Latest loud windows that are held against heat."""
REVIEW_WINDOWS = 64
COARSE_K = 0.25
"""Noise of a sound chain is some hundredths to a tenth of a kelvin (common practice)."""
HELD = 0.5
SELDOM_S = 30.0
"""Of readings this far apart air itself may be as uneven as any noise."""
_NEXT = {
    Gate.PRINTING: (Gate.HOLDING, Gate.COLD),
    Gate.HOLDING: (Gate.PRINTING, Gate.COLD),
    Gate.COLD: (Gate.HOLDING, Gate.PRINTING),
}
"""States by which a new one may be judged, the likest first."""
FRESHER = 4.0
TOLD_TWICE = math.log(2.0)
"""Noise of readings that are each told twice looks half as large (computed). It is asked where
so many more rows of a window are fresh."""
TINY = 1e-300
GROWTH = 1.3
"""An alarm's figures are brought up to date when noise grew by this."""


@dataclass
class _Loud:
    """A loud window of a run, looked at when the chart asks."""

    closed: ClosedWindows
    index: int

    @cached_property
    def look(self) -> Look:
        window = self.closed[self.index]
        return look(window.channel.signal_rows[self.index].tolist(), window.rough)


@dataclass(slots=True)
class _Own:
    """A channel's own noise in one state: at rest, or while printing.

    What is judged by it is held against one size for a look of windows; from these it learns then.
    """

    count: int = 0
    size: float = 0.0
    """Logarithm of the own noise."""
    square: float = USUAL_SPREAD**2
    lagged: float = 0.0
    """Means of the squares of what windows lay above it, and of products of neighbours."""
    fresh: float = float(ROWS)
    """Rows of a window that changed."""
    waited: int = 0
    held: int = 0
    """Windows on end in which the reading mostly stood, unlike before."""
    chart: Cusum = field(default_factory=lambda: Cusum(SLACK, LEAST_LIMIT))
    loud: deque[_Loud] = field(default_factory=lambda: deque(maxlen=LOUD_WINDOWS))
    """Those that raised the chart since it stood at 0."""
    is_new: bool = False
    """Whether it began as the other state's noise and has seen few windows."""
    _unreviewed: int = 0
    _before: float = 0.0
    _look: list[float] = field(default_factory=list)
    _fresh: float = 0.0

    def begin_as(self, other: "_Own") -> None:
        """Take the other state's noise for a first guess, and allow for a difference."""
        self.size, self.square, self.fresh = other.size, other.square, other.fresh
        self.count, self.is_new = LEAST_WINDOWS, True
        self.chart.slack = 0.5 * LOUD_WHEN_NEW

    def goes_on_from(self, last: "_Own") -> None:
        """What may be a rise goes on from one state to the next."""
        self.chart.high, last.chart.high = last.chart.high, 0.0
        self.loud = last.loud.copy()

    def begin(self, size: float, fresh: float) -> None:
        """Take one of the first windows; of two that differ much, the quieter is right."""
        self.fresh = fresh
        above = size - self.size
        if self.count and above > LOUD_WHEN_NEW and self.waited < MOST_WAITING:
            self.waited += 1
            return
        if self.count == 0 or above < -LOUD_WHEN_NEW:
            self.count, self.size = 1, size
            return
        self.count += 1
        self.size += above / self.count

    def take(self, above: float, fresh: float, window_s: float) -> None:
        """Take a window that lies so far above the own noise; a whole look of them teaches."""
        if above > LOUD_WHEN_NEW and self.waited < MOST_WAITING:
            # Perhaps the beginning of an alarm: wait and see.
            self.waited += 1
            return
        self.waited = 0
        most = LOUD_WHEN_NEW if self.is_new else SLACK
        self._look.append(min(max(above, -2.0 * SLACK), most))
        self._fresh += fresh
        if len(self._look) >= (LOOK if self.count >= SETTLED else 1):
            self._learn(window_s)

    def _learn(self, window_s: float) -> None:
        look, before, self._look = self._look, self._before, []
        windows, self._before = len(look), look[-1]
        self.count += windows
        weight = windows * LEARNING_WEIGHT
        self.size += max(weight, windows / self.count) * math.fsum(look) / windows
        self.fresh += weight * (self._fresh / windows - self.fresh)
        self._fresh = 0.0
        square = math.fsum(one * one for one in look) / windows
        lagged = math.fsum(one * two for one, two in pairwise([before, *look])) / windows
        self.square += weight * (square - self.square)
        self.lagged += weight * (lagged - self.lagged)
        if self.is_new and self.count > NEW_WINDOWS:
            self.is_new = False
            self.chart.slack = SLACK
            self.chart.reset()
        self._unreviewed += windows
        if self._unreviewed >= REVIEW_WINDOWS:
            self._unreviewed = 0
            self._review(window_s)

    def is_held(self, fresh: float) -> bool:
        """Whether a window in which so many rows changed is hardly the channel's: a reading that
        stands shows no noise. If it goes on so, it is another rhythm."""
        stands = self.fresh >= 0.5 * ROWS and fresh < HELD * self.fresh
        self.held = self.held + 1 if stands else 0
        return 0 < self.held <= MOST_WAITING

    def fresher(self, window: ClosedWindow) -> float:
        """What it explains that more of a window's readings are fresh than were; a logarithm."""
        more = window.changes - self.fresh
        if more < FRESHER or math.exp(self.size) < window.step:
            # Where noise is less than a step, louder noise is what makes them fresh.
            return 0.0
        return TOLD_TWICE * min(more / (0.5 * ROWS), 1.0)

    def relearn(self, explained: float, fresh: float) -> None:
        """The host's rhythm changed, and with it what noise looks like."""
        self.size += explained
        self.fresh = fresh
        self._restart()

    def quieter(self) -> None:
        """The noise stays below what was learned: follow it down."""
        self.size -= SLACK
        self._restart()

    def _restart(self) -> None:
        """The own noise is another one from here on."""
        self.chart.reset()
        self._look, self._fresh = [], 0.0

    def _review(self, window_s: float) -> None:
        """Set the chart's limit from the measured spread and autocorrelation."""
        variance = self.square
        memory = min(max(self.lagged / variance, 0.0), 0.9) if variance > 0.0 else 0.0
        spread = math.sqrt(variance * (1.0 + memory) / (1.0 - memory))
        spread = min(max(spread, LEAST_SPREAD), MOST_SPREAD)
        slack = self.chart.slack
        run = SECONDS_IN_30_DAYS / max(window_s, 1.0)
        self.chart.limit = max(LEAST_LIMIT, spread * limit_for(slack / spread, run))


class NoiseDetector(WindowDetector):
    """One CUSUM of log noise a state and channel."""

    def __init__(self, plan: ChannelPlan) -> None:
        self._plan = plan
        self._step = Ewma(LEARNING_WEIGHT, 0.0)
        self._owns = defaultdict[Gate, _Own](_Own)
        self._seldom_s = 0.0
        """Time between readings that were too far apart."""
        self._last = _Own()
        """That of the state before."""
        self._since_s = math.nan
        self._is_up = False
        self._said = 0.0
        self._quiet = 0
        self._loud_s = math.nan
        self._loud = 0
        self._moving = 0.0
        """Loud windows of the alarm, and what of them the carriage moved."""

    def run(self, closed: ClosedWindows, say: Say) -> None:
        start_s, end_s = closed.times.start_s, closed.times.end_s
        fresh, repeats = closed.column("changes"), closed.column("repeats")
        states = _states(closed)
        for index, size, tells in self._sizes(closed):
            told = fresh[index] + repeats[index]
            spacing_s = (end_s[index] - start_s[index]) / max(told - 1.0, 1.0)
            is_sparse = spacing_s > SPARSE_S
            if spacing_s > SELDOM_S:
                self._seldom_s = spacing_s
                continue
            own = self._own(states[index], is_sparse=is_sparse)
            if own is not self._last and not is_sparse:
                own.goes_on_from(self._last)
            self._last = own
            if own.count < LEAST_WINDOWS:
                own.begin(size, fresh[index])
                continue
            if own.is_held(fresh[index]):
                continue
            above = size - (own.size if own.size > tells else tells)
            if self._is_up:
                self._go_on(closed[index], above, say)
                continue
            chart = own.chart
            if chart.high == 0.0:
                self._since_s = start_s[index]
                own.loud.clear()
            signal = chart.update(above if above < MOST_AT_ONCE else MOST_AT_ONCE)
            if above > chart.slack:
                own.loud.append(_Loud(closed, index))
            if signal > 0 and self._rose(own, closed[index], above, is_sparse=is_sparse):
                chart.reset()
                self._raise(closed[index], above, say)
            elif signal < 0:
                own.quieter()
            else:
                own.take(above, fresh[index], end_s[index] - start_s[index])

    def _own(self, state: Gate, *, is_sparse: bool) -> _Own:
        """The own noise in a state; of a new one that of the others for a guess."""
        own = self._owns[state]
        others = [self._owns[each] for each in _NEXT[state] if each in self._owns]
        known = next((one for one in others if one.count >= LEAST_WINDOWS), None)
        # From one rare reading to the next a heater may do much: each state has its own.
        if own.count < LEAST_WINDOWS and known is not None and not is_sparse:
            own.begin_as(known)
            if known is self._owns.get(Gate.COLD):
                least = SWITCHED_K / math.sqrt(2.0)
                least *= self._plan.per_kelvin(self._plan.has_signal_in_ohms)
                own.size = math.log(math.hypot(math.exp(own.size), least))
        return own

    def _rose(self, own: _Own, window: ClosedWindow, above: float, *, is_sparse: bool) -> bool:
        """Whether what the chart takes for a rise is noise."""
        # It may go on for hours and be heat: the sum remembers no more than a rise needs.
        own.chart.high = min(own.chart.high, own.chart.limit + MOST_AT_ONCE)
        # Between rare readings heat may be as much noisier as in a first print, at any time.
        least = LOUD_WHEN_NEW if own.is_new or is_sparse else LOUD
        fresher = own.fresher(window)
        if fresher and above < least + fresher:
            own.relearn(fresher, window.changes)
            return False
        if above > least and is_electrical([one.look for one in own.loud]):
            return True
        self._since_s = window.start_s
        return False

    def _sizes(self, closed: ClosedWindows) -> Iterator[tuple[int, float, float]]:
        """Windows that are judged; logarithms of the noise of each, and of the least that tells."""
        channel, codes = closed.channel, closed.codes
        told = channel.present & ~channel.joined & ~np.isnan(channel.rough)
        is_slow = ~(np.abs(channel.celsius_slope) > FAST_C_S)
        told &= (codes != CODES[Gate.STARTING]) & (is_slow | (codes == CODES[Gate.PRINTING]))
        step, stands = self._step, (channel.changes == 0).tolist()
        steps, at = [], []
        for index in np.flatnonzero(told).tolist():
            if stands[index]:
                # Steps this coarse hide noise, and standing is usual; else the reading is stuck.
                if step.value < COARSE_K * self._plan.per_kelvin(self._plan.has_signal_in_ohms):
                    continue
            else:
                new = float(channel.step[index])
                step.value = step.update(new) if step.value else new
            at.append(index)
            # A divider's steps grow with heat, faster than their mean follows.
            steps.append(max(step.value, float(channel.step[index])))
        least = LEAST_STEPS * np.array(steps)
        sizes = np.maximum(channel.rough[at], least)
        # One value for a whole window, as at a rail: neither noise nor a step is known.
        known = sizes > 0.0
        logs = np.log(np.where(known, sizes, 1.0)).tolist()
        tells = np.log(np.maximum(least, TINY)).tolist()
        for index, size, least_log, is_known in zip(at, logs, tells, known.tolist(), strict=True):
            if is_known:
                yield index, size, least_log

    def _raise(self, window: ClosedWindow, above: float, say: Say) -> None:
        self._is_up = True
        self._said = above
        self._quiet = 0
        self._loud_s = window.end_s
        self._loud, self._moving = 1, window.moving
        say(self._sighting(window, above))

    def _go_on(self, window: ClosedWindow, above: float, say: Say) -> None:
        if above > QUIET:
            self._quiet = 0
            self._loud_s = window.end_s
            self._loud += 1
            self._moving += window.moving
            if above > self._said + math.log(GROWTH):
                self._said = above
                say(self._sighting(window, above))
            return
        self._quiet += 1
        if self._quiet < QUIET_WINDOWS:
            return
        self._is_up = False
        name = self._plan.name
        over = Cleared(window.last_row, window.end_s, name, Kind.NOISE_RISE, self._loud_s)
        over.facts = self._motion()
        say(over)

    def _motion(self) -> dict[str, float | str]:
        """Share of the alarm in which the carriage moved; nothing where that is not known."""
        share = self._moving / self._loud
        return {"moving": share} if share == share else {}

    def _sighting(self, window: ClosedWindow, above: float) -> Sighting:
        rough, ratio, plan = window.rough, math.exp(above), self._plan
        in_ohms = plan.has_signal_in_ohms
        kelvin = rough / plan.per_kelvin(in_ohms)
        shown = f"{rough:.3f} Ω ({kelvin:.2f} K)" if in_ohms else f"{kelvin:.2f} K"
        return Sighting(
            row=window.last_row,
            at_s=window.end_s,
            channel=plan.name,
            kind=Kind.NOISE_RISE,
            start_s=self._since_s,
            end_s=None,
            value=rough,
            unit="Ω" if in_ohms else "K",
            text=f"noise of {shown}, {ratio:.1f} times this channel's own",
            facts={"ratio": ratio, "noise_c": kelvin, "own": rough / ratio, **self._motion()},
        )

    def not_evaluated(self) -> list[NotEvaluated]:
        if any(own.count >= LEAST_WINDOWS for own in self._owns.values()):
            return []
        if self._seldom_s:
            why = f"one reading in {spelt(self._seldom_s)}: air does as much between two of them"
            return [NotEvaluated(kind=Kind.NOISE_RISE, channel=self._plan.name, why=why)]
        why = f"its own noise is not known yet; that takes {LEAST_WINDOWS} windows at rest"
        return [NotEvaluated(kind=Kind.NOISE_RISE, channel=self._plan.name, why=why)]


def _states(closed: ClosedWindows) -> list[Gate]:
    """What decides a channel's noise in each window: whether it is unheated, heated, or prints."""
    channel = closed.channel
    is_hot = (channel.target_c > 0.0) | (channel.power_high > 0.0)
    return [
        gate if gate is Gate.PRINTING else Gate.HOLDING if hot else Gate.COLD
        for gate, hot in zip(closed.gates, is_hot.tolist(), strict=True)
    ]
