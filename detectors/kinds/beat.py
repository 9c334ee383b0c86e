"""mains-beat: a steady tone in a reading, such as hum folded down by sampling.

Quantity: amplitude in Ω (K where only degrees are reported), with `hz` and `period_s` in
the facts. Sampling folds 50 Hz or 60 Hz to some frequency below half the rate of updates;
which one it was can't be told back.

Two cheap looks at each window decide whether 16 windows are worth a periodogram: one
frequency that leads in many windows, or window means that differ more than noise lets
them. A tone counts with a chance of a false alarm below 1e-7 a look (one in 30 days is
about 1e-5), an amplitude of half the noise and half a step, in two stretches of 16 windows
that agree in frequency.

A swing that heat can make is left alone: the tone of the power at the same frequency,
times the fastest rise (learned, or 5 K/s at full power), bounds what heat can do; the
reading must swing twice that. Heaters that report no power are judged above 0.3 Hz only.

Blind below half the noise, to hum that folds to nothing or slower than four periods in 16
windows or 25 s, below 0.4 Hz while printing, while heating or cooling, and until two
stretches have passed.
"""

import math
from collections import deque
from itertools import pairwise

import numpy as np

from detectors.detector import ClosedWindow, Say
from detectors.heatmodel import HeatModel
from detectors.plan import ChannelPlan
from detectors.reports import Cleared, Sighting
from detectors.tones import Tone, strongest_tone, tone_at
from shared.events import NotEvaluated
from shared.updates import Floats
from shared.words import Gate, Kind

STRETCH = 16
LEADS = 0.30
"""Share of a window's variance in one frequency that counts as leading (white noise: 0.22)."""
LEADING_WINDOWS = 6
RESTLESS = 0.12
"""Mean square of changes between window means, over noise squared (white noise: 0.0625)."""
BAND_BINS = 2.5
BESIDE_CELLS = 24.0
CHANCE = 1e-7
LEAST_NOISE_PART = 0.5
LEAST_STEPS = 0.5
SAME_CELLS = 1.5
DEFAULT_RISE_C_S = 5.0
HEAT_FACTOR = 2.0
UNPOWERED_HZ = 0.3
PRINTING_HZ = 0.4
"""Flow and fan stir real heat below this while printing."""
FASTEST_AIR_HZ = 0.04
_CALM = (Gate.HOLDING, Gate.PRINTING, Gate.COLD)


class BeatDetector:
    """Gathers stretches of 16 calm windows and looks for one tone in them."""

    def __init__(self, plan: ChannelPlan, model: HeatModel) -> None:
        self._plan = plan
        self._model = model
        self._windows: deque[ClosedWindow] = deque(maxlen=STRETCH)
        self._count = 0
        self._before: tuple[Tone, float] | None = None
        self._is_up = False
        self._up_band: tuple[float, float] | None = None
        self._misses = 0
        self._last_s = math.nan
        self._looked = False

    def step(self, window: ClosedWindow, say: Say) -> None:
        if window.joined or window.gate not in _CALM or window.rough != window.rough:
            self._windows.clear()
            self._count = 0
            return
        self._windows.append(window)
        self._count += 1
        if self._count < STRETCH:
            return
        self._count = 0
        self._looked = True
        band = self._band() or self._up_band
        tone = None if band is None else self._tone(band)
        if tone is None:
            self._before = None
            self._miss(say)
            return
        self._found(tone, say)

    def _band(self) -> tuple[float, float] | None:
        """Frequencies worth a closer look, from figures that are there anyway; Hz."""
        windows = self._windows
        window_hz = 1.0 / max(windows[-1].end_s - windows[-1].start_s, 1e-9)
        bins = [window.tone_bin for window in windows if window.tone > LEADS]
        prints = any(window.gate is Gate.PRINTING for window in windows)
        if len(bins) >= LEADING_WINDOWS:
            middle = sorted(bins)[len(bins) // 2]
            if prints and middle * window_hz < PRINTING_HZ:
                return None
            if sum(abs(found - middle) <= 1.0 for found in bins) >= LEADING_WINDOWS:
                return (middle - BAND_BINS) * window_hz, (middle + BAND_BINS) * window_hz
        if prints:
            return None
        changes = rough = 0.0
        for before, after in pairwise(windows):
            changes += (after.mean - before.mean) ** 2
            rough += after.rough * after.rough
        return (0.0, BAND_BINS * window_hz) if changes > RESTLESS * rough else None

    def _tone(self, band: tuple[float, float]) -> Tone | None:
        windows = self._windows
        time_s = np.concatenate([w.windows.time_rows[w.index] for w in windows])
        values = np.concatenate([w.channel.signal_rows[w.index] for w in windows])
        if not np.isfinite(values).all() or np.any(np.diff(time_s) <= 0.0):
            return None
        tone = strongest_tone(time_s, values, *band)
        if tone is None or tone.chance > CHANCE or tone.hz < FASTEST_AIR_HZ:
            return None
        step = min((w.step for w in windows if w.step > 0.0), default=0.0)
        if tone.amplitude < max(LEAST_NOISE_PART * tone.residual, LEAST_STEPS * step):
            return None
        power = np.concatenate([w.channel.power_rows[w.index] for w in windows])
        return None if self._is_heat(tone, time_s, power) else tone

    def _is_heat(self, tone: Tone, time_s: Floats, power: Floats) -> bool:
        """Whether the heater could have made this swing."""
        if not np.isfinite(power).all():
            is_heated = self._windows[-1].target_c > 0.0
            return is_heated and tone.hz < UNPOWERED_HZ
        swing, _ = tone_at(time_s - time_s.mean(), power, tone.hz)
        model = self._model
        fastest = model.gain.high if model.is_known else DEFAULT_RISE_C_S
        able_k = fastest * swing / (2.0 * math.pi * tone.hz)
        amplitude_k = tone.amplitude / self._plan.per_kelvin(self._plan.has_signal_in_ohms)
        return amplitude_k < HEAT_FACTOR * able_k

    def _found(self, tone: Tone, say: Say) -> None:
        first, last = self._windows[0], self._windows[-1]
        before, self._before = self._before, (tone, first.start_s)
        self._misses = 0
        self._last_s = last.end_s
        if self._is_up or before is None:
            return
        cell = 1.0 / (last.end_s - first.start_s)
        if abs(before[0].hz - tone.hz) > SAME_CELLS * cell:
            return
        self._is_up = True
        self._up_band = tone.hz - BESIDE_CELLS * cell, tone.hz + BESIDE_CELLS * cell
        say(self._sighting(tone, before[1], last))

    def _miss(self, say: Say) -> None:
        self._misses += 1
        if self._is_up and self._misses >= 2:
            self._is_up = False
            self._up_band = None
            last = self._windows[-1]
            say(Cleared(last.last_row, last.end_s, self._plan.name, Kind.MAINS_BEAT, self._last_s))

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

    def finish(self, say: Say) -> None:
        """Nothing is held back."""

    def not_evaluated(self) -> list[NotEvaluated]:
        if self._looked:
            return []
        why = f"it never stood calm for the {STRETCH} windows that a look for a tone takes"
        return [NotEvaluated(kind=Kind.MAINS_BEAT, channel=self._plan.name, why=why)]
