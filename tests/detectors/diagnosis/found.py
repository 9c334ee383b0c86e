"""Events by hand, as detectors give them, for tests of the diagnosis."""

from detectors.diagnosis import Answer, diagnose
from shared.chain import Chain
from shared.events import Event, RankedCause
from shared.kinds import KINDS
from shared.words import Gate, Kind, Severity

PLUGGED = Chain(wires=3)
FLYING = Chain(wires=3, bus="flying", bus_m=0.4)
TWO_WIRES = Chain(wires=2, lead_awg=30, lead_m=1.2)
LARGE_FILTER = Chain(wires=3, capacitance_nf=470.0)


def event(
    kind: Kind,
    *,
    channel: str = "nozzle",
    start_s: float = 100.0,
    end_s: float | None = 110.0,
    count: int = 1,
    gate: Gate | None = Gate.HOLDING,
    tied_to: str | None = None,
    severity: Severity | None = None,
    text: str = "",
    absorbed_by: int | None = None,
    value: float = 0.0,
    **facts: float | str,
) -> Event:
    """An event of the kind's usual severity."""
    return Event(
        id=0,
        kind=kind,
        channel=channel,
        start_s=start_s,
        end_s=end_s,
        severity=severity or KINDS[kind].severity,
        count=count,
        value=value,
        unit="Ω",
        text=text or kind.value,
        tied_to=tied_to,
        gate=gate,
        facts=facts,
        absorbed_by=absorbed_by,
    )


def ranked(
    *events: Event,
    chain: Chain | None = PLUGGED,
    answers: tuple[Answer, ...] = (),
    channel: str = "nozzle",
) -> list[RankedCause]:
    """Causes of one channel, beside a healthy bed."""
    chains = {"bed": PLUGGED}
    if chain is not None:
        chains["nozzle"] = chain
    return [cause for cause in diagnose(list(events), chains, answers) if cause.channel == channel]
