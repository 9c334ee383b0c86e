"""two-point: two known resistances part an offset (leads) from a gain (reference, R0).

Either the element in a stirred ice bath and in boiling water, corrected for altitude,
or two precision resistors in its place. Each point is taken by itself once the reading
has settled near it. The arithmetic is `shared.twopoint`'s.
"""

from detectors.diagnosis.answers import Answer
from detectors.diagnosis.checks import MAINS, OFF
from detectors.measured.bench import Bench
from detectors.measured.form import CheckFinding, Choice, Measured, Progress
from detectors.measured.plateau import Plateau, Settled
from shared.twopoint import Estimate, Point, TwoPoint, bath_points, boiling_c, two_point_check

NEAR_ICE_C, NEAR_BOILING_C = 6.0, 12.0
"""How far from the bath's temperature a plateau is still taken for it, K."""
NEAR_PART = 0.2
"""How far from the resistor's value, in parts of it."""
RESISTOR_TOLERANCE = 0.001
HIGHEST_M = 9000.0


class TwoPointCheck(Measured):
    """1: baths, 2: resistors. A typed number is the altitude, or the next resistor."""

    title = "two known points"
    check = "fixed-resistor"
    caution = (
        f"{OFF} No water near the machine: baths only with the board beside it on a supply "
        f"without mains inside, and a sensor made for water; it scalds. {MAINS}"
    )

    def __init__(self, channel: str, bench: Bench) -> None:
        super().__init__(channel, bench)
        self._chain = bench.chain(channel)
        self._plateau = Plateau(self._chain)
        self._by_baths: bool | None = None
        self._altitude_m: float | None = None
        self._known: list[float] = []
        self._seen: list[Settled] = []

    def mark(self, number: int) -> None:
        if number in (1, 2):
            self._by_baths = number == 1
            self._known.clear()
            self._seen.clear()
            self._plateau.clear()

    def tell(self, number: float) -> None:
        if self._by_baths and -500.0 <= number <= HIGHEST_M:
            self._altitude_m = number
        elif self._by_baths is False and number > 0.0 and len(self._known) == len(self._seen) < 2:
            self._known.append(number)
            self._plateau.clear()

    def take(self) -> None:
        for windows in self.bench.windows:
            window = windows.get(self.channel)
            if window is not None:
                self._plateau.take(window, self.bench.in_ohms(self.channel, window.mean))
                self._look()
        self.bench.windows.clear()
        self.bench.breaks.clear()

    def _look(self) -> None:
        rest, place = self._plateau.settled, len(self._seen)
        if rest is None or place == 2 or self._by_baths is None:
            return
        if self._by_baths:
            aim_c = 0.0 if place == 0 else boiling_c(self._altitude_m or 0.0)
            near = NEAR_ICE_C if place == 0 else NEAR_BOILING_C
            fits = self._altitude_m is not None and abs(rest.celsius - aim_c) <= near
        else:
            fits = place < len(self._known)
            fits = fits and abs(rest.ohm / self._known[place] - 1.0) <= NEAR_PART
        if fits:
            self._seen.append(rest)
            self._plateau.clear()

    def progress(self) -> Progress:
        return Progress(
            do=self._do(),
            choices=(
                Choice(1, "ice bath and boiling water", "", self._by_baths is True),
                Choice(2, "two precision resistors", "", self._by_baths is False),
            ),
            rows=tuple(
                f"point {number}: {one.ohm:.3f} Ω ± {2 * one.standard_ohm:.3f}"
                for number, one in enumerate(self._seen, 1)
            ),
            asks=self._asks(),
            ohms=self.bench.ohms(self.channel),
            finding=self._finding(),
        )

    def _asks(self) -> str:
        if self._by_baths and self._altitude_m is None:
            return "altitude above the sea, m"
        if self._by_baths is False and len(self._known) == len(self._seen) < 2:
            return f"resistor {len(self._seen) + 1}, Ω"
        return ""

    def _do(self) -> str:
        place = len(self._seen)
        if self._by_baths is None:
            return "Choose 1 or 2."
        if self._asks():
            return f"Type the {self._asks()}."
        if place == 2:
            return "Both points are taken."
        if not self._by_baths:
            return f"Join {self._known[place]:g} Ω at the end of the leads and wait."
        if place == 0:
            return "Sensor into crushed ice with a little water, stirred; wait until it settles."
        at_c = boiling_c(self._altitude_m or 0.0)
        return f"Sensor into boiling water ({at_c:.1f} °C here), off the bottom; wait."

    def _finding(self) -> CheckFinding | None:
        if len(self._seen) < 2:
            return None
        first, second = self._seen
        if self._by_baths:
            standard = max(first.standard_ohm, second.standard_ohm)
            points = bath_points(
                self._chain, first.ohm, second.ohm, standard, self._altitude_m or 0.0
            )
        else:
            one, other = (
                Point(known, rest.ohm, max(rest.standard_ohm, 0.5 * RESISTOR_TOLERANCE * known))
                for known, rest in zip(self._known, self._seen, strict=True)
            )
            points = (one, other)
        return self._told(two_point_check(self._chain, points, element_in=bool(self._by_baths)))

    def _told(self, found: TwoPoint) -> CheckFinding:
        split = found.split
        offset, gain = split.offset_ohm, split.gain
        facts: dict[str, float | str] = {"finding": split.prefers}
        text = {
            "offset": "An offset: resistance in leads or contacts.",
            "gain": "A gain: the reference, or what the host takes it for.",
            "both": "An offset and a gain.",
            "neither": "Right at both points.",
        }.get(split.prefers, "Off, but the points cannot tell offset from gain.")
        if offset is not None and gain is not None:
            facts |= {"offset_ohm": round(offset.value, 4), "gain": round(gain.value, 6)}
            text += f" Offset {_with(offset, 1.0, 'Ω')}, gain {_with(gain, 100.0, '%')}."
        text += "".join(f" Open: {words}." for words in found.could_not_tell)
        return CheckFinding(text, self._answers(found), facts)

    def _answers(self, found: TwoPoint) -> tuple[Answer, ...]:
        """Resistors answer for the board; baths tell leads alone, the rest has no one check."""
        prefers = found.split.prefers
        if self._by_baths is False:
            outcome = {"gain": "scaled", "both": "scaled", "neither": "right", "offset": "right"}
            return (self.answer(outcome[prefers]),) if prefers in outcome else ()
        if prefers == "offset" and found.path_ohm is not None:
            low, high = found.path_ohm.interval
            is_theirs = low <= found.expected_path_ohm <= high
            outcome_name = "explains-it" if is_theirs else "too-little"
            return (self.answer(outcome_name, "measure-lead-ohms"),)
        return ()


def _with(one: Estimate, scale: float, unit: str) -> str:
    return f"{scale * one.value:+.3f} ± {scale * 2.0 * one.standard:.3f} {unit}"
