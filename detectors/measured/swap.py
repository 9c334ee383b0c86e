"""swap: two sensors exchanged at their boards. Does the fault go with the cable?

Before the exchange the fault shows on this channel. After it, the fault shows either on
the other channel (it went with sensor and cable) or still on this one (it stayed with
the board). Both run for the same time, so under "no preference" each fault is a coin
thrown: exact binomial test, one-sided at 95 %. That both inputs were open in between is
seen in the data.
"""

from detectors.chance.rates import binomial_upper, rate_interval
from detectors.diagnosis.checks import CATALOGUE
from detectors.measured.bench import Bench
from detectors.measured.form import CheckFinding, Choice, Measured, Progress

SIGNIFICANT = 0.05
APART_S = 1.0
GONE_S = 5.0
"""No update, or an open input, for so long: something was unplugged."""
BEFORE, AFTER = 1, 2


class Swap(Measured):
    """1: as it was; 2: exchanged. A sensor of each channel; counts for each."""

    title = "exchange two sensors"
    check = "swap-inputs"
    caution = CATALOGUE[check].caution

    def __init__(self, channel: str, bench: Bench, other: str) -> None:
        super().__init__(channel, bench)
        self.other = other
        self._now = BEFORE
        self._seconds = {BEFORE: 0.0, AFTER: 0.0}
        self._faults = {BEFORE: [0, 0], AFTER: [0, 0]}
        self._last_s = float("nan")
        self._fault_s = [float("-inf"), float("-inf")]
        self._open_s = [0.0, 0.0]
        self._was_off = False
        """Whether both inputs were open, or the host was gone, since the check began."""

    def mark(self, number: int) -> None:
        if number in (BEFORE, AFTER) and number != self._now:
            self._now = number
            self._last_s = self.bench.now_s
            self._seconds[number] = 0.0
            self._faults[number] = [0, 0]

    def take(self) -> None:
        now_s = self.bench.now_s
        step_s = now_s - self._last_s if self._last_s == self._last_s else 0.0
        self._last_s = now_s
        names = (self.channel, self.other)
        is_open = [self.bench.is_open(name) for name in names]
        for place in (0, 1):
            self._open_s[place] = self._open_s[place] + step_s if is_open[place] else 0.0
        if step_s > GONE_S or all(seconds > GONE_S for seconds in self._open_s):
            self._was_off = True
        elif not any(seconds > GONE_S for seconds in self._open_s):
            self._seconds[self._now] += step_s
            self._count(names)
        self.bench.breaks.clear()
        self.bench.windows.clear()

    def _count(self, names: tuple[str, str]) -> None:
        for one in self.bench.breaks:
            if one.channel not in names:
                continue
            place = names.index(one.channel)
            if one.at_s - self._fault_s[place] >= APART_S:
                self._faults[self._now][place] += 1
                self.breaks += 1
            self._fault_s[place] = one.at_s

    def progress(self) -> Progress:
        return Progress(
            do=self._do(),
            choices=(
                Choice(BEFORE, "as it was", self._tally(BEFORE), self._now == BEFORE),
                Choice(AFTER, "exchanged", self._tally(AFTER), self._now == AFTER),
            ),
            ohms=self.bench.ohms(self.channel),
            breaks=self.breaks,
            finding=self._finding(),
        )

    def _tally(self, phase: int) -> str:
        mine, others = self._faults[phase]
        seconds = self._seconds[phase]
        if not seconds:
            return ""
        return f"{self.channel} {mine}, {self.other} {others} in {seconds:.0f} s"

    def _do(self) -> str:
        if self._now == BEFORE:
            few = sum(self._faults[BEFORE]) < 5
            wait = "Let it run until the fault has come five times or so. " if few else ""
            return (
                f"{wait}Then pull the plug, exchange the sensors of {self.channel} and "
                f"{self.other} at the boards, switch on and press 2."
            )
        seen = "" if self._was_off else "The data show no moment with both unplugged: exchanged? "
        return f"{seen}Let it run the same way as before. Heat nothing."

    def _finding(self) -> CheckFinding | None:
        mine, others = self._faults[AFTER]
        n = mine + others
        if self._now != AFTER or not self._seconds[AFTER]:
            return None
        facts: dict[str, float | str] = {
            f"{self.channel}: faults after": float(mine),
            f"{self.other}: faults after": float(others),
            "seconds after": round(self._seconds[AFTER], 1),
        }
        before = sum(self._faults[BEFORE])
        if not n:
            rate = before / max(self._seconds[BEFORE], 1e-9)
            bound = rate_interval(0, self._seconds[AFTER], 0.9)[1]
            left_s = 3.0 / rate - self._seconds[AFTER] if before else 0.0
            if left_s > 0.0:
                return None
            text = (
                f"On neither since the exchange (fewer than {3600.0 * bound:.2g} an hour): "
                "plugging itself may have cured it."
            )
            return CheckFinding(text, (), facts)
        for count, outcome, words in (
            (mine, "stays-with-the-board", f"stays on {self.channel}: the board's side"),
            (others, "goes-with-the-cable", f"went to {self.other}: sensor or cable"),
        ):
            p = binomial_upper(count, n, 0.5)
            if p < SIGNIFICANT:
                text = f"The fault {words} ({count} of {n}, p {p:.2g})."
                return CheckFinding(text, (self.answer(outcome),), facts)
        text = f"{mine} on {self.channel}, {others} on {self.other}: too few to tell."
        return CheckFinding(text, (), facts, is_sure=False)
