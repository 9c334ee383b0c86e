"""mains-beat: a steady tone in a reading, such as hum folded down by sampling.

Quantity: amplitude in Ω (K where only degrees are reported), with `hz` and `period_s` in
the facts. Sampling folds 50 Hz or 60 Hz to some frequency below half the rate of updates;
which one it was can't be told back.

Two stretches are looked at: a short one of at least 60 s and 128 rows for tones of 1.5 times
the noise, and 16 windows for weaker ones, down to half the noise. Cheap figures of each
window decide whether a stretch is worth a periodogram (`chance.tones`): one frequency that
leads in most windows, or means that go up and down more than noise lets them. A tone counts
with a chance of a false alarm below 1e-7 a look (one in 30 days is about 1e-5), and at 0.7 of a
step or more, in two stretches that agree in frequency and, within a factor of two, in size, with
at most one between them.

A swing that heat can make is left alone, and so are its harmonics (`heat.ripple`): what the told
power does at this frequency, with the fastest rise, of which a controller's answer to hum makes a
part (below 0.036 Hz at 0.03 of power a kelvin hum can be heat whatever its size); what readings
of changing age make of a slope; and up to 0.1 K what a switch may make that turns every few
seconds, if the tone was there as long as the heater was hot; and where motion is not told, what
flow may take. A tone that stays the same for six
stretches while the loop is linear is none of them. Heaters that report no power are judged above
0.3 Hz only. While printing, flow and fan stir real heat below 0.4 Hz: there no tone counts that
motion or fan has too and keeps step with (`heat.stirred`), for which four stretches of three
periods each are needed.

Blind below half the noise; nineteen in twenty are found from once the noise on in 512 rows, and
from 2.5 times near four periods in a stretch, where noise may rise toward it (white noise;
`tests/detectors/chance/test_tones.py`); to hum at the carriage's own rhythm; to hum that folds to
nothing or slower than four periods in the stretch (16 s in the short one, 25 s in any); to what is
faster than half the rate at which a channel, told in turns or in bursts, is told; while
heating or cooling; and until two stretches have passed.
"""

import math
from collections import deque
from collections.abc import Sequence
from itertools import islice, pairwise

import numpy as np

from detectors.chance.tones import Tone, phasor_at, tones_in
from detectors.detector import Say
from detectors.heat.balance import FLOWS_C
from detectors.heat.heatmodel import HeatModel
from detectors.heat.ripple import able, aged, is_linear, switched
from detectors.heat.stirred import is_stirred
from detectors.reports import Cleared, Sighting
from detectors.table.closed import ClosedWindow, ClosedWindows, power_rows, signal_rows, time_rows
from detectors.table.gates import marked
from detectors.table.plan import ChannelPlan
from detectors.table.windows import ROWS
from shared.events import NotEvaluated
from shared.updates import Floats
from shared.words import Gate, Kind

SHORT_ROWS, SHORT_S = 128, 60.0
LONG = 16
STEPPED = 48
"""Windows in which a tone is held against what moves."""
LEADS = 0.30
"""Share of a window's variance in one frequency that counts as leading (white noise: 0.22)."""
LEADING_PART, MOSTLY_LEADING_PART = 0.375, 0.7
RESTLESS = 0.12
"""Mean square of changes between window means, over noise squared (white noise: 0.0625)."""
BENT = 2.25
"""Mean square of second differences of quarter means, over noise squared (white noise: 0.75)."""
BAND_BINS = 2.5
BESIDE_CELLS = 24.0
CHANCE = 1e-7
WEAK, STRONG = 0.5, 1.5
"""Least amplitude in parts of the noise, in long stretches and in short ones."""
LEAST_STEPS = 0.7
"""A slow slope told in steps is a sawtooth: a tone of 1/π steps, and noise beside."""
SAME_CELLS, SAME_SIZE = 1.5, 2.0
"""Two stretches agree within so many cells (1/duration) in frequency, and so many times in size."""
STEADY, STEADY_CELLS, STEADY_SIZE = 6, 0.5, 1.25
"""So many stretches on end must agree so well for a tone that heat could have made: where noise
drives a loop, the sizes of six are as even one time in 4,000 (Rayleigh's, simulated)."""
DEFAULT_RISE_C_S = 5.0
HEAT_FACTOR, KNOWN_FACTOR = 1.5, 1.3
"""A swing that a loop makes by itself has half a turn of lag, which takes a part of it: so
this covers heaters of 10 K/s."""
UNPOWERED_HZ = 0.3
SWITCHED_PART = 0.5
"""A switch's turns are as wide before: no less than half, with what noise adds."""
PRINTING_HZ = 0.4
FASTEST_AIR_HZ = 0.04
_CALM = marked(Gate.HOLDING, Gate.PRINTING, Gate.COLD)
SWINGS = 0.8
"""While printing: mean square of changes between window means, over noise squared. A tone of
once the noise whose period lies between two windows and 25 s gives 0.8 or more (computed)."""


_Spot = tuple[ClosedWindows, int]
"""One window of a run."""


class _Stretches:
    """Follows one tone from stretch to stretch of one length."""

    def __init__(self) -> None:
        self.is_up = False
        self.band: tuple[float, float] | None = None
        """Where to look for a tone that is up, Hz."""
        self._before: list[tuple[Tone, float]] = []
        """The last tones that agree, and since when each was there."""
        self._misses = 0

    @property
    def is_awake(self) -> bool:
        """Whether a stretch without a tone would change anything."""
        return self.is_up or bool(self._before)

    def found(self, tone: Tone, start_s: float, end_s: float, *, is_sure: bool) -> float | None:
        """Take a stretch with a tone; since when, where it is now up for the first time.

        One that heat might have made must stay the same for longer.
        """
        cell = 1.0 / (end_s - start_s)
        if self._misses and not is_sure:
            self._before.clear()
        self._misses = 0
        if not _agree([*self._before[-1:], (tone, start_s)], SAME_CELLS * cell, SAME_SIZE):
            self._before.clear()
        self._before = [*self._before, (tone, start_s)][-STEADY:]
        if self.is_up or len(self._before) < (2 if is_sure else STEADY):
            return None
        if not is_sure and not _agree(self._before, STEADY_CELLS * cell, STEADY_SIZE):
            return None
        self.is_up = True
        self.band = tone.hz - BESIDE_CELLS * cell, tone.hz + BESIDE_CELLS * cell
        return self._before[-2 if is_sure else 0][1]

    def missed(self) -> bool:
        """Take a stretch without; whether a tone that was up is now over."""
        self._misses += 1
        if self._misses < 2:
            return False
        self._before.clear()
        if not self.is_up:
            return False
        self.is_up = False
        self.band = None
        return True


class BeatDetector:
    """Gathers stretches of calm windows and looks for one tone in them."""

    def __init__(self, plan: ChannelPlan, model: HeatModel) -> None:
        self._plan = plan
        self._model = model
        self._spots: deque[_Spot] = deque(maxlen=STEPPED)
        """The last calm windows."""
        self._count = 0
        self._closed: ClosedWindows | None = None
        self._calm: list[bool] = []
        """Of the run that is being stepped through."""
        self._short, self._long = _Stretches(), _Stretches()
        self._last_s = math.nan
        self._looked = False
        self._switched: Tone | None = None
        """A tone that may be the turns of the heater's own switch."""

    def step(self, closed: ClosedWindows, index: int, say: Say) -> None:
        """Take one window of a run."""
        if closed is not self._closed:
            self._closed, self._calm = closed, _calm(closed)
        if not self._calm[index]:
            self._spots.clear()
            self._count = 0
            return
        self._spots.append((closed, index))
        self._count += 1
        few = SHORT_ROWS // ROWS
        if self._count % few == 0:
            if _seconds(self._last(few)) < SHORT_S - 1.0:
                few *= 2
            if self._count % few == 0:
                self._looked = True
                self._look(self._last(few), self._short, say, strong=True)
        if self._count == LONG:
            self._count = 0
            self._look(self._last(LONG), self._long, say, strong=False)

    def _last(self, count: int) -> list[_Spot]:
        spots = self._spots
        return [spots[at] for at in range(-min(count, len(spots)), 0)]

    def _look(self, spots: Sequence[_Spot], at: _Stretches, say: Say, *, strong: bool) -> None:
        band = _strong_band(spots) if strong else _weak_band(spots)
        band = band or at.band
        if band is None and not at.is_awake:
            return
        windows = [closed[index] for closed, index in spots]
        tone, is_sure = (
            (None, False) if band is None else self._tone(windows, band, at, strong=strong)
        )
        last = windows[-1]
        if tone is None:
            if at.missed() and not (self._short.is_up or self._long.is_up):
                name = self._plan.name
                say(Cleared(last.last_row, last.end_s, name, Kind.MAINS_BEAT, self._last_s))
            return
        was_up = self._short.is_up or self._long.is_up
        since_s = at.found(tone, windows[0].start_s, last.end_s, is_sure=is_sure)
        self._last_s = last.end_s
        if since_s is not None and not was_up:
            say(self._sighting(tone, since_s, last))

    def _tone(
        self,
        windows: Sequence[ClosedWindow],
        band: tuple[float, float],
        at: _Stretches,
        *,
        strong: bool,
    ) -> tuple[Tone | None, bool]:
        """The likeliest tone that is no heat, and whether that is sure."""
        time_s, values = time_rows(windows), signal_rows(windows)
        if not np.isfinite(values).all() or np.any(np.diff(time_s) <= 0.0):
            return None, False
        step = min((w.step for w in windows if w.step > 0.0), default=0.0)
        power = power_rows(windows)
        span_s = float(time_s[-1] - time_s[0])
        cell = 1.0 / span_s
        # What is told in turns, or when it changes, shows nothing faster than it is told.
        told_hz = sum(window.changes + window.repeats for window in windows) / span_s
        band = band[0], min(band[1], 0.5 * told_hz)
        heat: list[Tone] = []
        doubtful: Tone | None = None
        for tone in tones_in(time_s, values, *band):
            if tone.chance > CHANCE:
                break
            least = max((STRONG if strong else WEAK) * tone.noise, LEAST_STEPS * step)
            if tone.hz < FASTEST_AIR_HZ or tone.amplitude < least:
                continue
            if any(_is_harmonic(tone, slow, cell) for slow in heat):
                continue
            if self._is_heat(tone, time_s, values, power, windows[-1]):
                heat.append(tone)
                if doubtful or not is_linear(time_s, values, power, tone):
                    continue
                doubtful = None if self._may_be_stirred(windows, time_s, tone) else tone
            elif tone.amplitude < aged(time_s, values):
                continue
            elif not at.is_up and self._may_be_switched(windows, tone, told_hz):
                self._switched = tone
            elif not self._may_be_stirred(windows, time_s, tone):
                return tone, True
        return doubtful, False

    def _may_be_stirred(self, windows: Sequence[ClosedWindow], time_s: Floats, tone: Tone) -> bool:
        prints = any(window.gate is Gate.PRINTING for window in windows)
        if not prints or tone.hz >= PRINTING_HZ:
            return False
        before = [closed[index] for closed, index in self._spots]
        return is_stirred(windows, before, time_s, tone)

    def _is_heat(
        self, tone: Tone, time_s: Floats, values: Floats, power: Floats, last: ClosedWindow
    ) -> bool:
        """Whether the heater could have made this swing."""
        if not np.isfinite(power).all():
            return last.target_c > 0.0 and tone.hz < UNPOWERED_HZ
        may_flow = math.isnan(last.moving) and last.middle_c > FLOWS_C
        most_k = able(time_s, values, power, tone, self._fastest(), may_flow=may_flow)
        return self._kelvin(tone) < most_k

    def _fastest(self) -> float:
        """What full power gives at most, K/s."""
        model = self._model
        return KNOWN_FACTOR * model.gain.high if model.is_known else HEAT_FACTOR * DEFAULT_RISE_C_S

    def _kelvin(self, tone: Tone) -> float:
        return tone.amplitude / self._plan.per_kelvin(self._plan.has_signal_in_ohms)

    def _may_be_switched(self, windows: Sequence[ClosedWindow], tone: Tone, told_hz: float) -> bool:
        """Whether it may be the turns of a switch: small, and there for as long as it is hot."""
        last = windows[-1]
        is_hot = last.power > 0.0 or last.target_c > 0.0
        if not is_hot or self._kelvin(tone) > switched(tone.hz, told_hz, self._fastest()):
            return False
        if len(self._spots) < 2 * len(windows):
            return True
        earlier = [closed[index] for closed, index in islice(self._spots, len(windows))]
        time_s, values = time_rows(earlier), signal_rows(earlier)
        if not np.isfinite(values).all():
            return True
        was = abs(phasor_at(time_s - time_s.mean(), values, tone.hz))
        return was > SWITCHED_PART * tone.amplitude

    def _sighting(self, tone: Tone, start_s: float, last: ClosedWindow) -> Sighting:
        plan = self._plan
        in_ohms = plan.has_signal_in_ohms
        kelvin = tone.amplitude / plan.per_kelvin(in_ohms)
        shown = f"{tone.amplitude:.3f} Ω ({kelvin:.2f} K)" if in_ohms else f"{kelvin:.2f} K"
        return Sighting(
            row=last.last_row,
            at_s=last.end_s,
            channel=plan.name,
            kind=Kind.MAINS_BEAT,
            start_s=start_s,
            end_s=None,
            value=tone.amplitude,
            unit="Ω" if in_ohms else "K",
            text=f"a steady tone of {shown}, one period in {1.0 / tone.hz:.3g} s",
            facts={
                "hz": tone.hz,
                "period_s": 1.0 / tone.hz,
                "amplitude_c": kelvin,
                "chance": tone.chance,
            },
        )

    def not_evaluated(self) -> list[NotEvaluated]:
        if not self._looked:
            why = "it never stood calm for the minutes that a look for a tone takes"
        elif (tone := self._switched) and not (self._short.is_up or self._long.is_up):
            why = (
                f"a tone of {self._kelvin(tone):.2f} K, one period in {1.0 / tone.hz:.3g} s, may "
                "be the heater's own switching: hum stays while the heater is off for a minute"
            )
        else:
            return []
        return [NotEvaluated(kind=Kind.MAINS_BEAT, channel=self._plan.name, why=why)]


def _agree(tones: Sequence[tuple[Tone, float]], within_hz: float, times: float) -> bool:
    """Whether tones are one, by frequency and size."""
    hertz, sizes = [tone.hz for tone, _ in tones], [tone.amplitude for tone, _ in tones]
    return max(hertz) - min(hertz) <= within_hz and max(sizes) < times * min(sizes)


def _is_harmonic(tone: Tone, slow: Tone, cell: float) -> bool:
    """Whether a weaker tone belongs to the wave of a slower one."""
    times = round(tone.hz / slow.hz)
    is_near = abs(tone.hz - times * slow.hz) < SAME_CELLS * cell
    return times >= 2 and is_near and tone.amplitude < slow.amplitude / times


def _calm(closed: ClosedWindows) -> list[bool]:
    """Windows in which a tone may be looked for."""
    channel = closed.channel
    calm = ~channel.joined & ~np.isnan(channel.rough) & _CALM[closed.codes]
    found: list[bool] = calm.tolist()
    return found


def _seconds(spots: Sequence[_Spot]) -> float:
    (first, at_first), (last, at_last) = spots[0], spots[-1]
    return last.times.end_s[at_last] - first.times.start_s[at_first]


def _figures(spots: Sequence[_Spot], name: str) -> list[float]:
    return [closed.column(name)[index] for closed, index in spots]


def _leading_bins(spots: Sequence[_Spot]) -> list[float]:
    tones, bins = _figures(spots, "tone"), _figures(spots, "tone_bin")
    return [bin_ for bin_, tone in zip(bins, tones, strict=True) if tone > LEADS]


def _strong_band(spots: Sequence[_Spot]) -> tuple[float, float] | None:
    """Everything, where nearly all windows show a wave."""
    bins = _leading_bins(spots)
    if len(bins) >= MOSTLY_LEADING_PART * len(spots):
        middle = sorted(bins)[len(bins) // 2]
        alike = sum(abs(found - middle) <= 1.0 for found in bins)
        if alike >= MOSTLY_LEADING_PART * len(spots):
            return 0.0, math.inf
    bend = math.fsum(_figures(spots, "bend"))
    rough = math.fsum(size * size for size in _figures(spots, "rough"))
    return (0.0, math.inf) if bend > BENT * rough else None


def _weak_band(spots: Sequence[_Spot]) -> tuple[float, float] | None:
    """Frequencies worth a closer look, from figures that are there anyway; Hz."""
    window_hz = 1.0 / max(_seconds(spots[-1:]), 1e-9)
    bins = _leading_bins(spots)
    least = LEADING_PART * len(spots)
    if len(bins) >= least:
        middle = sorted(bins)[len(bins) // 2]
        if sum(abs(found - middle) <= 1.0 for found in bins) >= least:
            return (middle - BAND_BINS) * window_hz, (middle + BAND_BINS) * window_hz
    means, noises = _figures(spots, "mean"), _figures(spots, "rough")
    changes = rough = 0.0
    for (before, after), noise in zip(pairwise(means), noises[1:], strict=True):
        changes += (after - before) ** 2
        rough += noise * noise
    prints = any(closed.gates[index] is Gate.PRINTING for closed, index in spots)
    least = SWINGS if prints else RESTLESS
    return (0.0, BAND_BINS * window_hz) if changes > least * rough else None
