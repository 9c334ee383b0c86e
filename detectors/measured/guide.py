"""Which checks can be measured, and for which answers of the catalogue."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from detectors.measured.bench import Bench
from detectors.measured.busy import QuietBusy
from detectors.measured.cold import Cold
from detectors.measured.form import Measured
from detectors.measured.resistor import FixedResistor
from detectors.measured.swap import Swap
from detectors.measured.twopoint import TwoPointCheck
from detectors.measured.wiggle import Wiggle
from shared.chain import UNTOLD, Chain


@dataclass(frozen=True, slots=True)
class Case:
    """What a measured check is made for."""

    channel: str
    channels: Sequence[str]
    """All sensors, in the host's order."""
    chains: Mapping[str, Chain]
    usual_per_h: float | None = None
    """How often the fault came, where it is known."""

    @property
    def others(self) -> list[str]:
        """Other sensors that could be exchanged with this one: those with chain facts first."""
        known = [name for name in self.channels if name in self.chains]
        rest = [name for name in self.channels if name not in self.chains]
        return [name for name in (*known, *rest) if name != self.channel]


@dataclass(frozen=True, slots=True)
class Guided:
    """One measured check: its words, the catalogue's checks that it helps with, its maker."""

    name: str
    kind: type[Measured]
    serves: tuple[str, ...]
    make: Callable[[Case, Bench], Measured]
    needs_channels: int = 1

    @property
    def title(self) -> str:
        return self.kind.title

    @property
    def caution(self) -> str:
        return self.kind.caution


def _cold(case: Case, bench: Bench) -> Measured:
    names = [name for name in case.channels if name in case.chains] or [case.channel]
    return Cold(case.channel, bench, {name: case.chains.get(name, UNTOLD) for name in names})


GUIDED = (
    Guided("wiggle", Wiggle, (Wiggle.check,), lambda case, bench: Wiggle(case.channel, bench)),
    Guided("cold", Cold, (Cold.check, "check-strap"), _cold),
    Guided(
        "resistor",
        FixedResistor,
        (FixedResistor.check,),
        lambda case, bench: FixedResistor(case.channel, bench, case.usual_per_h),
    ),
    Guided(
        "two-point",
        TwoPointCheck,
        ("check-host-reference", "check-host-element"),
        lambda case, bench: TwoPointCheck(case.channel, bench),
    ),
    Guided(
        "busy",
        QuietBusy,
        (QuietBusy.check, "loads-off-on"),
        lambda case, bench: QuietBusy(case.channel, bench),
    ),
    Guided(
        "swap",
        Swap,
        (Swap.check,),
        lambda case, bench: Swap(case.channel, bench, case.others[0]),
        needs_channels=2,
    ),
)


def guided(check: str) -> Guided | None:
    """The measured check that answers a check of the catalogue; None where there is none."""
    return next((one for one in GUIDED if check in one.serves), None)
