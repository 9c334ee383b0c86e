"""quiet/busy: noise with motors off, holding, moving, heater on, fan on.

Moving, heater and fan are recognised from the data; whether still motors hold or are
off is for the person to say. A window counts for a state only if the whole of it, and
the window before, was in that state alone. Each busy state is compared with the quietest
one there is: noise by `welch`, faults by the exact conditional test.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from detectors.chance.rates import compare_rates
from detectors.diagnosis.answers import Answer
from detectors.diagnosis.checks import CATALOGUE
from detectors.measured.bench import Bench
from detectors.measured.form import CheckFinding, Choice, Measured, Progress
from detectors.measured.welch import NoiseRatio, compare_noise
from detectors.table.closed import ClosedWindow

LEAST_S = 60.0
"""Time of a state before it is compared; three minutes are better."""
LEAST_WINDOWS = 5
POWERED = 0.02
LOUDER = 1.25
"""A smaller ratio is no fault, however sure."""
SIGNIFICANT = 0.01


class Load(StrEnum):
    """What the machine does, one thing at a time."""

    OFF = "motors off"
    HOLDING = "motors holding"
    MOVING = "moving"
    HEATER = "heater on"
    FAN = "fan on"


@dataclass(slots=True)
class _State:
    seconds: float = 0.0
    noises: list[float] = field(default_factory=list)
    faults: int = 0

    @property
    def is_enough(self) -> bool:
        return self.seconds >= LEAST_S and len(self.noises) >= LEAST_WINDOWS


@dataclass(frozen=True, slots=True)
class BusyPair:
    """One state against the quietest."""

    load: Load
    base: Load
    noise: NoiseRatio
    faults_p: float
    more_faults: bool

    @property
    def is_louder(self) -> bool:
        noisy = self.noise.p < SIGNIFICANT and self.noise.ratio > LOUDER
        return noisy or (self.more_faults and self.faults_p < SIGNIFICANT)


class QuietBusy(Measured):
    """Marks 1 and 2 say whether still motors are off or hold; the rest is seen."""

    title = "quiet against busy"
    check = "motors-off-on"
    caution = CATALOGUE["loads-off-on"].caution

    def __init__(self, channel: str, bench: Bench) -> None:
        super().__init__(channel, bench)
        self._states = {load: _State() for load in Load}
        self._still: Load | None = None
        self._marked_s = -math.inf
        self._before: Load | None = None
        self._faults_s: list[float] = []
        """Those that no closed window has taken yet."""

    def mark(self, number: int) -> None:
        if number in (1, 2):
            self._still = Load.OFF if number == 1 else Load.HOLDING
            now_s = self.bench.now_s
            self._marked_s = now_s if now_s == now_s else -math.inf

    def take(self) -> None:
        mine = [one.at_s for one in self.bench.breaks if one.channel == self.channel]
        self.bench.breaks.clear()
        self.breaks += len(mine)
        self._faults_s += mine
        for windows in self.bench.windows:
            window = windows.get(self.channel)
            if window is not None and not window.joined:
                self._window(window, windows)
                self._faults_s = [at_s for at_s in self._faults_s if at_s > window.end_s]
        self.bench.windows.clear()

    def _window(self, window: ClosedWindow, windows: Mapping[str, ClosedWindow]) -> None:
        load = self._load(window, windows)
        before, self._before = self._before, load
        if load is None or load is not before:
            return
        state = self._states[load]
        state.seconds += window.end_s - window.start_s
        state.faults += sum(window.start_s <= at_s <= window.end_s for at_s in self._faults_s)
        noise = self._noise(window)
        if noise > 0.0:
            state.noises.append(noise)

    def _load(self, window: ClosedWindow, windows: Mapping[str, ClosedWindow]) -> Load | None:
        """What the machine did in the whole window; None for more than one thing, or unknown."""
        powered = any(one.power_high > POWERED for one in windows.values())
        fan_keys = [key for key in window.context if key.endswith(".speed")]
        fan = any(window.context[key] > 0.0 for key in fan_keys)
        moving = window.moving
        loads = [
            load
            for load, on in (
                (Load.MOVING, moving > 0.0),
                (Load.HEATER, powered),
                (Load.FAN, fan),
            )
            if on
        ]
        if len(loads) > 1 or (loads == [Load.MOVING] and moving < 0.75):
            return None
        if loads:
            return loads[0]
        return self._still if window.start_s >= self._marked_s else None

    def _noise(self, window: ClosedWindow) -> float:
        """Noise from second differences, bursts included; at least that of rounding."""
        rows = window.channel.signal_rows[window.index]
        second = np.diff(rows, n=2)
        noise = math.sqrt(float(np.mean(second * second)) / 6.0)
        return max(noise, 0.29 * window.step)

    def progress(self) -> Progress:
        rows = tuple(
            f"{load:<15}{state.seconds:4.0f} s  {self._told(load, state)}"
            for load, state in self._states.items()
        )
        now = f"Now: {self._before}. " if self._before is not None else ""
        return Progress(
            do=now + self._do(),
            choices=(
                Choice(1, "still, motors off", "", self._still is Load.OFF),
                Choice(2, "still, motors holding", "", self._still is Load.HOLDING),
            ),
            rows=rows,
            ohms=self.bench.ohms(self.channel),
            breaks=self.breaks,
            finding=self._finding(),
        )

    def _do(self) -> str:
        left = [str(load) for load, state in self._states.items() if not state.is_enough]
        if not left:
            return "All states are measured; more time makes it surer."
        return (
            "Switch one thing at a time, three minutes each, and say 1 or 2 while all stands "
            f"still. Left: {', '.join(left)}."
        )

    def _told(self, load: Load, state: _State) -> str:
        if not state.noises:
            return ""
        words = f"noise {_middle(state.noises):.2g}, {state.faults} faults"
        pair = next((one for one in self.pairs() if one.load is load), None)
        if pair is None:
            return words
        noise = pair.noise
        louder = ", louder" if pair.is_louder else ""
        return (
            f"{words}; {noise.ratio:.2f} ({noise.low:.2f} to {noise.high:.2f}) times "
            f"{pair.base}, p {noise.p:.2g}{louder}"
        )

    def pairs(self) -> list[BusyPair]:
        """Each measured state against the quietest measured one: off, else holding."""
        base = next((one for one in (Load.OFF, Load.HOLDING) if self._states[one].is_enough), None)
        if base is None:
            return []
        found = []
        for load, state in self._states.items():
            quiet = self._states[base]
            if load is base or not state.is_enough:
                continue
            noise = compare_noise(quiet.noises, state.noises)
            if noise is None:
                continue
            faults = compare_rates(state.faults, state.seconds, quiet.faults, quiet.seconds)
            more = state.faults / state.seconds > quiet.faults / quiet.seconds
            found.append(BusyPair(load, base, noise, faults.p, more))
        return found

    def _finding(self) -> CheckFinding | None:
        pairs = {pair.load: pair for pair in self.pairs()}
        if Load.MOVING not in pairs:
            return None
        louder = [str(load) for load, pair in pairs.items() if pair.is_louder]
        facts: dict[str, float | str] = {
            f"{load}: noise ratio": round(pair.noise.ratio, 3) for load, pair in pairs.items()
        }
        base = next(iter(pairs.values())).base
        text = f"Louder than with {base}: {', '.join(louder)}." if louder else "No difference."
        return CheckFinding(text, tuple(self._answers(pairs)), facts)

    def _answers(self, pairs: Mapping[Load, BusyPair]) -> list[Answer]:
        moving, holding = pairs[Load.MOVING], pairs.get(Load.HOLDING)
        if holding is not None and holding.is_louder:
            found = [self.answer("holding-too")]
        elif moving.is_louder:
            found = [self.answer("moving-only")]
        else:
            found = [self.answer("no-difference")]
        loads = [pairs[load] for load in (Load.HEATER, Load.FAN) if load in pairs]
        if any(pair.is_louder for pair in loads):
            found.append(self.answer("one-channel-noisy", "loads-off-on"))
        elif len(loads) == 2 and not moving.is_louder:
            found.append(self.answer("no-difference", "loads-off-on"))
        return found


def _middle(values: list[float]) -> float:
    return sorted(values)[len(values) // 2]
