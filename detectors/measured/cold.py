"""cold: everything at room temperature should read the same; what is off, and by what?

The machine must have stood for hours. A channel is taken as at rest when no heat is
asked for, no power flows and its reading has settled. The arithmetic is
`shared.coldcheck`'s.
"""

from detectors.measured.bench import Bench
from detectors.measured.form import CheckFinding, Measured, Progress
from detectors.measured.plateau import Plateau, Settled
from shared.chain import Chain
from shared.chainstate import LEADS
from shared.coldcheck import ChannelCold, ColdCheck, ColdReading, cold_check
from shared.leads import path_ohm

WARM_C = 40.0
"""Above this a channel is not at room temperature."""
NO_POWER = 0.005


class Cold(Measured):
    """Waits until every channel has settled without heat, then compares them."""

    title = "compare all sensors cold"
    check = "measure-lead-ohms"
    caution = "Touch nothing: heaters off, and the machine left alone until all of it is cold."

    def __init__(self, channel: str, bench: Bench, chains: dict[str, Chain]) -> None:
        super().__init__(channel, bench)
        self._plateaus = {name: Plateau(chain) for name, chain in chains.items()}
        self._why: dict[str, str] = {}

    def take(self) -> None:
        for windows in self.bench.windows:
            for name, plateau in self._plateaus.items():
                window = windows.get(name)
                if window is None:
                    continue
                if window.target_c > 0.0 or window.power_high > NO_POWER:
                    plateau.clear()
                    self._why[name] = "its heater is on"
                    continue
                self._why[name] = "still settling"
                plateau.take(window, self.bench.in_ohms(name, window.mean))
        self.bench.windows.clear()
        self.bench.breaks.clear()

    def progress(self) -> Progress:
        settled = self._settled()
        rows = []
        for name in self._plateaus:
            rest = settled.get(name)
            if rest is None:
                rows.append(f"{name}: {self._why.get(name, 'no reading yet')}")
            else:
                told = f"{rest.celsius:.2f} °C" if rest.celsius == rest.celsius else "no element"
                rows.append(f"{name}: {rest.ohm:.3f} Ω ± {2 * rest.standard_ohm:.3f}, {told}")
        if len(self._plateaus) < 2:
            do = "Nothing to compare: the facts of one sensor alone are known."
        elif len(settled) < len(self._plateaus):
            do = "Heaters off, hours since the last heat, door and fans as they are: wait."
        else:
            do = "All have settled."
        return Progress(
            do=do,
            rows=tuple(rows),
            ohms=self.bench.ohms(self.channel),
            finding=self._finding(settled),
        )

    def _settled(self) -> dict[str, Settled]:
        found = {}
        for name, plateau in self._plateaus.items():
            rest = plateau.settled
            if rest is not None and not rest.celsius > WARM_C:
                found[name] = rest
            elif rest is not None:
                self._why[name] = f"{rest.celsius:.0f} °C: not cold yet"
        return found

    def _finding(self, settled: dict[str, Settled]) -> CheckFinding | None:
        if len(settled) < 2 or len(settled) < len(self._plateaus):
            return None
        readings = [
            ColdReading(name, self.bench.chain(name), rest.ohm, rest.standard_ohm)
            for name, rest in settled.items()
        ]
        return self._told(cold_check(readings))

    def _told(self, found: ColdCheck) -> CheckFinding:
        mine = next((one for one in found.channels if one.channel == self.channel), None)
        facts: dict[str, float | str] = {}
        for one in found.channels:
            facts[f"{one.channel}: excess_ohm"] = round(
                one.implied_leads_ohm.value - one.expected_leads_ohm, 4
            )
        off = [one for one in found.channels if one.is_off]
        if not off:
            return CheckFinding("All agree within what their parts allow.", (), facts)
        odd = f" {found.odd_one} is the odd one." if found.odd_one else ""
        open_ones = "".join(f" Open: {words}." for words in found.could_not_tell)
        words = " ".join(_off_words(one) for one in off)
        is_mine = mine is not None and mine.is_off and found.odd_one in (None, self.channel)
        knows = self.bench.chain(self.channel).knows(*LEADS)
        answers = (self.answer(self._outcome(mine)),) if mine and is_mine and knows else ()
        return CheckFinding(f"{words}{odd}{open_ones}", answers, facts)

    def _outcome(self, mine: ChannelCold) -> str:
        """Whether leads of the known length and gauge have the ohms that it reads too much."""
        low, high = mine.implied_leads_ohm.interval
        both_ways = 2.0 * path_ohm(self.bench.chain(self.channel))
        return "explains-it" if low <= both_ways <= high else "too-little"


def _off_words(one: ChannelCold) -> str:
    excess = one.implied_leads_ohm.value - one.expected_leads_ohm
    low, high = one.implied_leads_ohm.interval
    low, high = low - one.expected_leads_ohm, high - one.expected_leads_ohm
    what = {
        "offset": "resistance in its leads or contacts",
        "gain": "its reference or element",
        "both": "leads and reference",
    }.get(one.prefers, "leads or reference, one temperature can't tell")
    return (
        f"{one.channel} reads {excess:+.2f} Ω ({low:+.2f} to {high:+.2f}) beside the rest: {what}."
    )
