"""wiggle: the cable is moved section by section; which one breaks?

Breaks a section and the seconds for which it was moved; a section is named where it
broke more often than all the rest of the time by the exact conditional test, corrected
for the number of sections. Breaks within a second of the last one are one shake, and
the second after a change of section belongs to neither.
"""

from dataclasses import dataclass

from detectors.chance.rates import binomial_upper, rate_interval
from detectors.diagnosis.checks import CATALOGUE
from detectors.measured.bench import Bench
from detectors.measured.form import CheckFinding, Choice, Measured, Progress

APART_S = 1.0
HAND_OVER_S = 1.0
LEAST_S = 20.0
"""Each section is moved at least this long before none of them is said to break."""
STILL_S = 10.0
"""And left alone before, to see that it stays steady by itself."""
SIGNIFICANT = 0.01
LEVEL = 0.95
AT_AN_END, IN_THE_CABLE, NO_BREAK = "breaks-at-an-end", "breaks-in-the-cable", "no-break"


@dataclass(slots=True)
class Section:
    """Part of the cable; `outcome` is the catalogue's, where this part breaks."""

    words: str
    outcome: str
    seconds: float = 0.0
    breaks: int = 0
    shakes: int = 0
    """Breaks at least a second apart."""

    @property
    def rate_per_min(self) -> float:
        return 60.0 * self.shakes / self.seconds if self.seconds else 0.0

    @property
    def interval_per_min(self) -> tuple[float, float]:
        low, high = rate_interval(self.shakes, max(self.seconds, 1e-9), LEVEL)
        return 60.0 * low, 60.0 * high


class Wiggle(Measured):
    """Counts breaks a section. Mark 0 is hands off; 1 and up are the sections."""

    title = "wiggle the cable"
    check = "wiggle-cable"
    caution = CATALOGUE[check].caution

    def __init__(self, channel: str, bench: Bench) -> None:
        super().__init__(channel, bench)
        self.sections = [
            Section("hands off", ""),
            Section("connector at the board or host", AT_AN_END),
            Section("middle of the cable", IN_THE_CABLE),
            Section("strain relief", IN_THE_CABLE),
            Section("heater block, terminals", AT_AN_END),
        ]
        self._now = 0
        self._from_s = float("nan")
        self._last_s = float("nan")
        self._broke_s = float("-inf")

    def mark(self, number: int) -> None:
        if 0 <= number < len(self.sections) and number != self._now:
            self._now = number
            self._from_s = self.bench.now_s + HAND_OVER_S
            self._last_s = self._from_s

    def take(self) -> None:
        now_s, section = self.bench.now_s, self.sections[self._now]
        if self._from_s != self._from_s:
            self._from_s = self._last_s = now_s
        # A break that lasts is time in which no further one can be seen.
        section.seconds += max(now_s - self._last_s, 0.0)
        self._last_s = max(now_s, self._last_s)
        for one in self.bench.breaks:
            if one.channel != self.channel:
                continue
            self.breaks += 1
            if one.at_s < self._from_s:
                continue
            section.breaks += 1
            section.shakes += one.at_s - self._broke_s >= APART_S
            self._broke_s = one.at_s
        self.bench.breaks.clear()
        self.bench.windows.clear()

    def progress(self) -> Progress:
        choices = tuple(
            Choice(number, section.words, self._tally(section), number == self._now)
            for number, section in enumerate(self.sections)
        )
        return Progress(
            do=self._do(),
            choices=choices,
            ohms=self.bench.ohms(self.channel),
            breaks=self.breaks,
            finding=self._finding(),
        )

    def _do(self) -> str:
        still, *moved = self.sections
        if self._now == 0 and still.seconds < STILL_S:
            return f"Leave the cable alone for {STILL_S:.0f} s; all cold, heaters and motors off."
        short = [f"{number}" for number, one in enumerate(moved, 1) if one.seconds < LEAST_S]
        if not short:
            return "Done; more seconds make it surer. Press a section's number to move it again."
        return (
            f"Press a section's number, then bend and twist it for {LEAST_S:.0f} s. "
            f"Still to do: {', '.join(short)}."
        )

    @staticmethod
    def _tally(section: Section) -> str:
        if not section.seconds:
            return ""
        low, high = section.interval_per_min
        return (
            f"{section.breaks} in {section.seconds:.0f} s: {section.rate_per_min:.2g} a minute "
            f"({low:.2g} to {high:.2g})"
        )

    def _finding(self) -> CheckFinding | None:
        moved = self.sections[1:]
        seconds = sum(one.seconds for one in moved)
        shakes = sum(one.shakes for one in self.sections)
        facts = self._facts()
        worst, p = self._worst()
        if worst is not None and p < SIGNIFICANT:
            low, high = worst.interval_per_min
            text = (
                f"It breaks at: {worst.words}. {worst.breaks} in {worst.seconds:.0f} s, "
                f"{worst.rate_per_min:.2g} a minute ({low:.2g} to {high:.2g}, 95 %), "
                f"against {shakes - worst.shakes} in {self._rest_s(worst):.0f} s elsewhere."
            )
            return CheckFinding(text, (self.answer(worst.outcome),), facts)
        if not all(one.seconds >= LEAST_S for one in moved):
            return None
        if shakes:
            text = f"{shakes} breaks, but no section stands out: go on, the likeliest first."
            return CheckFinding(text, (), facts, is_sure=False)
        bound = rate_interval(0, seconds, 2.0 * LEVEL - 1.0)[1]
        text = f"None in {seconds:.0f} s of moving: fewer than {60.0 * bound:.2g} a minute (95 %)."
        return CheckFinding(text, (self.answer(NO_BREAK),), facts)

    def _worst(self) -> tuple[Section | None, float]:
        """The section least likely by chance, and that chance times the number of sections."""
        n = sum(one.shakes for one in self.sections)
        total_s = sum(one.seconds for one in self.sections)
        moved = [one for one in self.sections[1:] if one.shakes and one.seconds < total_s]
        if not moved:
            return None, 1.0
        chances = {
            number: binomial_upper(one.shakes, n, one.seconds / total_s)
            for number, one in enumerate(moved)
        }
        best = min(chances, key=lambda number: chances[number])
        return moved[best], chances[best] * (len(self.sections) - 1)

    def _rest_s(self, section: Section) -> float:
        return sum(one.seconds for one in self.sections) - section.seconds

    def _facts(self) -> dict[str, float | str]:
        facts: dict[str, float | str] = {}
        for section in self.sections:
            if section.seconds:
                facts[f"{section.words}: seconds"] = round(section.seconds, 1)
                facts[f"{section.words}: breaks"] = float(section.breaks)
        return facts
