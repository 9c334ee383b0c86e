"""What a report is made of, and the words in which it says times and lengths."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from shared.chain import Chain
from shared.chainstate import ChainState
from shared.events import Event, NotEvaluated, RankedCause, Verdict
from shared.notes import TRIAL, Note
from shared.when import rate_words, spelt, utc
from shared.words import EVERY_CHANNEL, Act, Severity


@dataclass(frozen=True, slots=True)
class ReportFacts:
    """A judged log. Texts of a host are cleaned; they are escaped when the page is made."""

    title: str
    source: str
    """Name of the file, without its folder."""
    first_s: float
    """Log time at which it begins."""
    duration_s: float
    samples: int
    channels: tuple[str, ...]
    verdict: Verdict
    events: tuple[Event, ...]
    """Events that stand on their own, in the order in which they were raised."""
    causes: tuple[RankedCause, ...] = ()
    not_evaluated: tuple[NotEvaluated, ...] = ()
    assumed: tuple[str, ...] = ()
    chains: Mapping[str, Chain] = field(default_factory=dict)
    chain_states: tuple[ChainState, ...] = ()
    """What each chain showed while it was watched."""
    trial_lines: tuple[str, ...] = ()
    """What trials have shown, as lines: a heading for each kind of fault, its trials below."""
    notes: tuple[Note, ...] = ()
    meta: Mapping[str, Any] = field(default_factory=dict)

    @property
    def last_s(self) -> float:
        return self.first_s + self.duration_s

    @property
    def trials(self) -> tuple[Note, ...]:
        return tuple(note for note in self.notes if note.kind == TRIAL)

    @property
    def other_notes(self) -> tuple[Note, ...]:
        return tuple(note for note in self.notes if note.kind not in (TRIAL, *Act))

    @property
    def actions(self) -> tuple[tuple[Note, str], ...]:
        """What persons did with events, each with its wall time in UTC, if that is on record."""
        found = []
        for note in self.notes:
            wall_s = note.facts.get("wall_s")
            if note.kind in tuple(Act):
                found.append((note, utc(wall_s) if isinstance(wall_s, int | float) else ""))
        return tuple(found)


def place(channel: str) -> str:
    """A channel as a person reads it."""
    return "all channels" if channel == EVERY_CHANNEL else channel


def words(name: str) -> str:
    """An identifier of the contract as words: `contact-break` → contact break."""
    return name.replace("-", " ")


def lasting(event: Event) -> str:
    """How long an event lasted, or that it goes on."""
    if event.end_s is None:
        return "going on"
    return spelt(max(event.end_s - event.start_s, 0.0))


def counted(event: Event) -> str:
    """How many times, and how often where that can be said."""
    rate = event.per_hour()
    return f"{event.count}" if rate is None else f"{event.count}, {rate_words(rate)}"


def is_fault(event: Event) -> bool:
    return event.severity is not Severity.NOTICE


def blind_lines(blind: Iterable[NotEvaluated]) -> list[tuple[str, str, str]]:
    """Kind, channels and reason of what could not be judged, one for each kind and reason."""
    found: dict[tuple[str, str], list[str]] = {}
    for item in blind:
        found.setdefault((words(item.kind), item.why), []).append(place(item.channel))
    return [(kind, ", ".join(channels), why) for (kind, why), channels in found.items()]


@dataclass(frozen=True, slots=True)
class ChainCard:
    """One channel's chain: its facts, and what it showed."""

    channel: str
    is_told: bool
    facts: list[tuple[str, str]]
    measured: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    """Stages that are not as they should be, and why."""
    could_not_tell: tuple[str, ...] = ()


def chain_cards(report: ReportFacts) -> list[ChainCard]:
    """A card for each channel of which facts are given, or something was measured."""
    cards = {name: ChainCard(name, True, chain_facts(c)) for name, c in report.chains.items()}
    for state in report.chain_states:
        cards[state.channel] = ChainCard(
            state.channel,
            state.chain.told != (),
            chain_facts(state.chain, state.knows),
            state.lines,
            tuple(f"{each.stage}: {each.why}" for each in state.off),
            tuple(line for line in state.could_not_tell if not _is_said(line, state.lines)),
        )
    return list(cards.values())


def _is_said(line: str, measured: Iterable[str]) -> bool:
    """Whether what was measured says already that, and why, this could not be told."""
    what, _, why = line.partition(": ")
    return any(each.startswith(f"{what}:") and why in each for each in measured)


def chain_facts(chain: Chain, knows: Callable[[str], bool] | None = None) -> list[tuple[str, str]]:
    """A sensor chain in a few lines: part, and what is told or worked out of it."""
    facts = []
    for part, words in _facts(chain).items():
        told = ", ".join(text for key, text in words if (knows or chain.knows)(key))
        facts.append((part, told or "not told"))
    believed = _believed(chain)
    if believed:
        facts.append(("the host believes", ", ".join(believed)))
    return facts


def _facts(chain: Chain) -> dict[str, list[tuple[str, str]]]:
    """Facts in words by part, each with the key that tells it."""
    wires = f"{chain.wires} wires"
    if chain.strapped != chain.wires:
        wires += f" on a board set for {chain.strapped}"
    code = f"one code {1000 * chain.step_ohm:.3g} mΩ"
    return {
        "element": [
            ("r0_ohm", f"Pt{chain.r0_ohm:.4g}"),
            ("curve", chain.curve),
            ("tolerance", f"class {chain.tolerance}"),
            ("construction", chain.construction),
        ],
        "cable": [
            ("wires", wires),
            _lead(chain),
            ("lead_m", f"{chain.lead_m:g} m"),
            ("screened", "screened" if chain.screened else "no screen"),
            ("moving", "moves" if chain.moving else "does not move"),
        ],
        "filter": [("capacitance_nf", f"{chain.capacitance_nf:g} nF across the inputs")],
        "converter": [
            ("reference_ohm", f"{chain.reference_ohm:.5g} Ω reference"),
            ("reference_tolerance", f"± {100 * chain.reference_tolerance:g} %"),
            ("bits", f"{chain.bits} bits, {code}"),
        ],
        "bus": [_bus(chain)],
    }


def _lead(chain: Chain) -> tuple[str, str]:
    if chain.lead_mm2 is not None:
        return "lead_mm2", f"{chain.lead_mm2:g} mm²"
    if chain.lead_ohm_per_m is not None:
        return "lead_ohm_per_m", f"{chain.lead_ohm_per_m:g} Ω/m"
    if chain.lead_awg is not None:
        return "lead_awg", f"AWG {chain.lead_awg}"
    return "lead_m", "lead of unknown section"


def _bus(chain: Chain) -> tuple[str, str]:
    words = "plugged in" if chain.bus == "plugged" else f"flying leads, {chain.bus_m:g} m"
    return "bus", words


def _believed(chain: Chain) -> list[str]:
    believed = []
    if chain.host_r0_ohm is not None and chain.host_r0_ohm != chain.r0_ohm:
        believed.append(f"R0 {chain.host_r0_ohm:g} Ω")
    if chain.host_curve is not None and chain.host_curve != chain.curve:
        believed.append(f"curve {chain.host_curve}")
    if chain.host_reference_ohm not in (None, chain.reference_ohm):
        believed.append(f"reference {chain.host_reference_ohm:g} Ω")
    return believed
