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
class Setup:
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
    make: Callable[[Setup, Bench], Measured]
    needs_channels: int = 1

    @property
    def title(self) -> str:
        return self.kind.title

    @property
    def caution(self) -> str:
        return self.kind.caution


def _cold(setup: Setup, bench: Bench) -> Measured:
    names = [name for name in setup.channels if name in setup.chains] or [setup.channel]
    return Cold(setup.channel, bench, {name: setup.chains.get(name, UNTOLD) for name in names})


GUIDED = (
    Guided("wiggle", Wiggle, (Wiggle.check,), lambda setup, bench: Wiggle(setup.channel, bench)),
    Guided("cold", Cold, (Cold.check, "check-strap"), _cold),
    Guided(
        "resistor",
        FixedResistor,
        (FixedResistor.check,),
        lambda setup, bench: FixedResistor(setup.channel, bench, setup.usual_per_h),
    ),
    Guided(
        "two-point",
        TwoPointCheck,
        ("check-host-reference", "check-host-element"),
        lambda setup, bench: TwoPointCheck(setup.channel, bench),
    ),
    Guided(
        "busy",
        QuietBusy,
        (QuietBusy.check, "loads-off-on"),
        lambda setup, bench: QuietBusy(setup.channel, bench),
    ),
    Guided(
        "swap",
        Swap,
        (Swap.check,),
        lambda setup, bench: Swap(setup.channel, bench, setup.others[0]),
        needs_channels=2,
    ),
)


def guided(check: str) -> Guided | None:
    """The measured check that answers a check of the catalogue; None where there is none."""
    return next((one for one in GUIDED if check in one.serves), None)
