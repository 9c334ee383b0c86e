"""fixed resistor: a precise resistor in place of the sensor. Does the fault stay?

The resistor is recognised when the reading settles near its value. From then on its
offset, noise and departures are measured: what persists sits on the board's side, what
is gone sat in sensor and cable. A fault that comes r times an hour must stay away for
3/r hours before it is said to be gone (95 %).
"""

import math

from detectors.chance.rates import rate_interval
from detectors.diagnosis.checks import CATALOGUE
from detectors.measured.bench import Bench
from detectors.measured.form import CheckFinding, Measured, Progress
from detectors.measured.plateau import Plateau, Settled
from shared.noise import expected_noise_ohm

LEAST_S = 60.0
TOLERANCE = 0.001
"""Of the resistor, relative, unless another is typed: 0.1 %."""
NEAR_PART = 0.25
WRONG_PART = 0.005
"""A board that reads this far off reads wrong by some per cent: parts are better than that."""
LOUD = 3.0
"""Times the converter's own noise."""
OVER_S = 10.0
"""An input that is open for so long: the resistor was taken off again."""


class FixedResistor(Measured):
    """A typed number is the resistor's value, Ω. `usual_per_h`: how often the fault came."""

    title = "a fixed resistor instead"
    check = "fixed-resistor"
    caution = CATALOGUE[check].caution

    def __init__(self, channel: str, bench: Bench, usual_per_h: float | None = None) -> None:
        super().__init__(channel, bench)
        self._chain = bench.chain(channel)
        self._plateau = Plateau(self._chain)
        self._known_ohm: float | None = None
        self._rest: Settled | None = None
        self._since_s = math.nan
        self._noises: list[float] = []
        self._open_s = math.nan
        self._usual_per_h = usual_per_h

    def tell(self, number: float) -> None:
        if number > 0.0:
            self._known_ohm = number
            self._restart()

    def _restart(self) -> None:
        self._rest, self._since_s, self.breaks = None, math.nan, 0
        self._noises.clear()
        self._plateau.clear()

    @property
    def seconds(self) -> float:
        return self.bench.now_s - self._since_s if self._rest is not None else 0.0

    def take(self) -> None:
        for windows in self.bench.windows:
            window = windows.get(self.channel)
            if window is None or self._known_ohm is None:
                continue
            self._plateau.take(window, self.bench.in_ohms(self.channel, window.mean))
            rest = self._plateau.settled
            if rest is not None and abs(rest.ohm / self._known_ohm - 1.0) <= NEAR_PART:
                if self._rest is None:
                    self._since_s = window.end_s
                self._rest = rest
            if self._rest is not None and not window.joined:
                above = self.bench.in_ohms(self.channel, window.mean + window.noise)
                self._noises.append(above - self.bench.in_ohms(self.channel, window.mean))
        if self._rest is not None:
            self.breaks += sum(one.channel == self.channel for one in self.bench.breaks)
        self.bench.breaks.clear()
        self.bench.windows.clear()
        self._mind_open()

    def _mind_open(self) -> None:
        if not self.bench.is_open(self.channel):
            self._open_s = math.nan
        elif self._open_s != self._open_s:
            self._open_s = self.bench.now_s
        elif self.bench.now_s - self._open_s > OVER_S and self._rest is not None:
            self._restart()

    def progress(self) -> Progress:
        rows: tuple[str, ...] = ()
        if self._rest is not None:
            rows = (
                f"{self._rest.ohm:.3f} Ω ± {2 * self._rest.standard_ohm:.3f}, "
                f"noise {1000.0 * self._noise:.0f} mΩ",
                f"{self.breaks} faults in {self.seconds:.0f} s",
            )
        return Progress(
            do=self._do(),
            rows=rows,
            asks="" if self._known_ohm is not None else "the resistor, Ω",
            ohms=self.bench.ohms(self.channel),
            breaks=self.breaks,
            finding=self._finding(),
        )

    def _do(self) -> str:
        if self._known_ohm is None:
            return "Type the resistor's value, Ω: near the element's, 0.1 % or better."
        if self._rest is None:
            return (
                f"Join {self._known_ohm:g} Ω at the board in place of the sensor, the plug pulled; "
                "then switch on. Heat nothing."
            )
        if self.seconds < self._needed_s:
            return f"Let it run: {self._needed_s - self.seconds:.0f} s to go. Heat nothing."
        return "Done; longer makes it surer."

    @property
    def _noise(self) -> float:
        return sorted(self._noises)[len(self._noises) // 2] if self._noises else 0.0

    @property
    def _needed_s(self) -> float:
        """How long none must come before it is gone for sure."""
        if not self._usual_per_h:
            return LEAST_S
        return max(LEAST_S, 3600.0 * -math.log(0.05) / self._usual_per_h)

    def _finding(self) -> CheckFinding | None:
        rest, known = self._rest, self._known_ohm
        if rest is None or known is None or self.seconds < LEAST_S:
            return None
        off, reach = rest.ohm - known, math.hypot(2.0 * rest.standard_ohm, TOLERANCE * known)
        ratio = self._noise / expected_noise_ohm(self._chain)
        low, high = (3600.0 * rate for rate in rate_interval(self.breaks, self.seconds))
        facts: dict[str, float | str] = {
            "offset_ohm": round(off, 4),
            "noise_ratio": round(ratio, 2),
            "faults": float(self.breaks),
            "seconds": round(self.seconds, 1),
        }
        size = f"Offset {off:+.3f} Ω ± {reach:.3f}, noise {ratio:.1f} times the converter's own."
        if self.breaks:
            text = f"{self.breaks} faults in {self.seconds:.0f} s ({low:.2g} to {high:.2g} an hour)"
            return CheckFinding(
                f"The fault is still there: {text}. Board, supply or bus. {size}",
                (self.answer("faulty"),),
                facts,
            )
        if ratio > LOUD:
            text = f"Too loud with a resistor as well: board, supply or bus. {size}"
            return CheckFinding(text, (self.answer("faulty"),), facts)
        if abs(off) - reach > WRONG_PART * known:
            text = f"It reads {100.0 * off / known:+.2f} % of the resistor. {size}"
            return CheckFinding(text, (self.answer("scaled"),), facts)
        if self.seconds < self._needed_s:
            text = f"Right so far; too early to call the fault gone. {size}"
            return CheckFinding(text, (), facts, is_sure=False)
        text = f"Right and steady for {self.seconds:.0f} s: sensor or cable. {size}"
        return CheckFinding(text, (self.answer("right"),), facts)
