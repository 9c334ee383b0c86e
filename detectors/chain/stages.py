"""The live check of each stage of a chain, from its measurements and from events.

A stage is off when something that was found belongs to it, ok when its check was made and
found nothing, and not told when there was nothing to check it by.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import msgspec

from shared.chain import Chain
from shared.chainstate import LEADS, Finding, Stage, StageState, spread
from shared.coldcheck import ChannelCold, mixed_up
from shared.events import Event
from shared.kinds import KINDS
from shared.leads import path_ohm, share_read
from shared.noise import NoiseCheck
from shared.words import Kind, Severity

SHOWS_OTHERWISE_K = 0.5
"""Difference between the host's degrees and those by the facts that is no rounding."""

LEADS_K = 4.0
"""What leads that nobody told may make of a hot Pt100: 1.4 Ω."""

LOOK_ALIKE = (
    (Stage.CONTROLLER, Stage.LEADS),
    (Stage.CONTROLLER, Stage.FILTER),
    (Stage.BUS, Stage.LEADS),
    (Stage.BUS, Stage.FILTER),
    (Stage.BUS, Stage.ELEMENT),
    (Stage.LEADS, Stage.FILTER),
    (Stage.LEADS, Stage.ELEMENT),
)
"""Stages whose faults show in another too: flipped bits look like open leads and spikes,
breaking leads like noise. The first is off, unless the second has `MANY` times its findings:
a single flipped bit among hundreds of spikes is one of them. The other is not told."""
MANY = 10
_OPEN_OR_SHORT = ("open", "short")
"""Flags that speak of the wiring; the others speak of the inputs."""


@dataclass(frozen=True, slots=True)
class StageSeen:
    """What the stages are judged by."""

    chain: Chain
    noise: NoiseCheck
    cold: ChannelCold | None
    is_odd: bool
    """Whether this channel is the one that the cold check calls off."""
    untold: str
    """What the cold check left open."""
    shows: tuple[float, float] | None
    """°C that the host shows, and by the facts."""
    shows_off_k: float
    """How far it shows more than the element has by what is fitted, leads taken off, K."""
    changed: tuple[float, float] | None
    """When the host began to reckon otherwise, and by which factor."""
    readings: int
    """How many codes were seen."""
    has_uptime: bool


def stages(seen: StageSeen, events: Sequence[Event]) -> tuple[StageState, ...]:
    """Every stage from element to host; `events` are those of the channel and of all."""
    by_stage, hidden = _placed(events)
    checks = {
        Stage.ELEMENT: _element(seen),
        Stage.LEADS: _leads(seen),
        Stage.FILTER: _filter(seen),
        Stage.CONVERTER: _converter(seen),
        Stage.BUS: _bus(seen),
        Stage.CONTROLLER: _controller(seen),
        Stage.HOST: _host(seen),
    }
    for stage, why in hidden.items():
        if checks[stage][0] is not Finding.OFF:
            checks[stage] = Finding.NOT_TOLD, why
    return tuple(
        StageState(stage, *_with_event(checks[stage], by_stage.get(stage))) for stage in Stage
    )


Checked = tuple[Finding, str]


def _placed(events: Sequence[Event]) -> tuple[dict[Stage, Event], dict[Stage, str]]:
    """The most frequent finding of each stage, and why the findings of others say nothing."""
    most: dict[Stage, Event] = {}
    counts: dict[Stage, int] = {}
    for event in events:
        stage = _stage_of(event)
        stands = event.absorbed_by is None and event.severity is not Severity.NOTICE
        if stage is not None and stands:
            if stage not in most or event.count >= most[stage].count:
                most[stage] = event
            counts[stage] = counts.get(stage, 0) + event.count
    hidden: dict[Stage, str] = {}
    for first, second in LOOK_ALIKE:
        if first in most and second in most:
            off, other = first, second
            if counts[second] >= MANY * counts[first]:
                off, other = second, first
            hidden[other] = f"{most[other].kind}, which the {off} would show too"
            del most[other]
    return most, hidden


def _stage_of(event: Event) -> Stage | None:
    if event.kind is Kind.CONVERTER_FLAG:
        flags = str(event.facts.get("flags", event.text))
        return Stage.LEADS if any(word in flags for word in _OPEN_OR_SHORT) else Stage.FILTER
    return KINDS[event.kind].shows_at


def _with_event(checked: Checked, event: Event | None) -> Checked:
    finding, why = checked
    if event is None:
        return checked
    times = f" ×{event.count}" if event.count > 1 else ""
    told = f"{event.kind}{times}: {event.text}"
    return Finding.OFF, told if finding is not Finding.OFF else f"{why}; {told}"


def _by_cold(seen: StageSeen) -> Checked | None:
    """What the cold check says of element, leads and converter alike, if anything."""
    if seen.cold is None or (seen.cold.is_off and not seen.is_odd):
        return Finding.NOT_TOLD, seen.untold
    if not seen.cold.is_off:
        return Finding.OK, f"agrees with the others at {seen.cold.others_c:.1f} °C at rest"
    return None


def _element(seen: StageSeen) -> Checked:
    return _by_cold(seen) or (Finding.NOT_TOLD, "something else is off at rest, which hides it")


def _leads(seen: StageSeen) -> Checked:
    told = _by_cold(seen)
    if told is not None or seen.cold is None:
        return told or (Finding.NOT_TOLD, seen.untold)
    cold = seen.cold
    if cold.prefers in ("offset", "both"):
        adds = f"leads add {spread(cold.implied_leads_ohm)} Ω"
        if not seen.chain.knows(*LEADS):
            return Finding.NOT_TOLD, f"{adds}; what this cable has is not told"
        by_facts = f"{cold.expected_leads_ohm:.2f} by the facts"
        return Finding.OFF, f"{adds}, {by_facts}{_as_strapped(seen.chain, cold)}"
    if cold.prefers == "gain":
        return Finding.NOT_TOLD, "the gain error hides what the leads add"
    return Finding.NOT_TOLD, seen.untold


def _as_strapped(chain: Chain, cold: ChannelCold) -> str:
    """Another wire count on the board that would read the same."""
    low, high = cold.implied_leads_ohm.interval
    for count in (2, 3, 4):
        share, _ = share_read(msgspec.structs.replace(chain, strapped_for=count))
        ohm = share * path_ohm(chain)
        if count != chain.strapped and math.isfinite(ohm) and low <= ohm <= high:
            return f"; a board set for {count} wires would add {ohm:.2f} Ω"
    return ""


def _filter(seen: StageSeen) -> Checked:
    noise = seen.noise
    if noise.finding == "cannot tell":
        return Finding.NOT_TOLD, noise.could_not_tell
    told = f"noise {noise.ratio:.2f} times what is expected while all is quiet"
    return (Finding.OFF if noise.finding == "louder" else Finding.OK), told


def _converter(seen: StageSeen) -> Checked:
    told = _by_cold(seen)
    if told is not None or seen.cold is None:
        return told or (Finding.NOT_TOLD, seen.untold)
    if seen.cold.prefers in ("gain", "both"):
        gain = f"reads {spread(seen.cold.implied_gain, 100.0)} % of the resistance off"
        return Finding.OFF, f"{gain}: reference, its setting, or R0{_as_set(seen)}"
    if seen.cold.prefers == "offset":
        return Finding.NOT_TOLD, "the leads' error hides a small gain error"
    return Finding.NOT_TOLD, seen.untold


def _as_set(seen: StageSeen) -> str:
    """A mix-up of standard references that would read the same, if there is one."""
    if seen.cold is None or not seen.chain.knows("reference_ohm"):
        return ""
    mixed = mixed_up(seen.chain, seen.cold.implied_gain)
    return f"; {mixed} would read the same" if mixed else ""


def _bus(seen: StageSeen) -> Checked:
    if not seen.readings:
        return Finding.NOT_TOLD, "no code is sent, so flipped bits cannot be told"
    return Finding.OK, f"no flipped bit and no stillness in {seen.readings} rows of the log"


def _controller(seen: StageSeen) -> Checked:
    if not seen.has_uptime:
        return Finding.NOT_TOLD, "no uptime is sent, so restarts cannot be told"
    return Finding.OK, "no fault that begins with a restart, no joint jump"


def _host(seen: StageSeen) -> Checked:
    if seen.changed is not None:
        at_s, factor = seen.changed
        percent = 100.0 * (factor - 1.0)
        told = f"from {at_s:.0f} s on it shows other degrees for the same code ({percent:+.1f} % Ω)"
        return Finding.OFF, f"{told}: its reference, R0 or curve was changed"
    if not seen.chain.knows("reference_ohm", "bits", "r0_ohm"):
        return Finding.NOT_TOLD, "reference, bits and R0 to hold its degrees against"
    if seen.shows is None:
        return Finding.NOT_TOLD, "no quiet moment with code or Ω beside degrees"
    shows, given = seen.shows
    if abs(shows - given) <= SHOWS_OTHERWISE_K or abs(seen.shows_off_k) <= SHOWS_OTHERWISE_K:
        return Finding.OK, f"shows {shows:.1f} °C, as these facts give; link and updates kept"
    if math.isnan(seen.shows_off_k):
        return Finding.NOT_TOLD, "too few quiet moments with code or Ω beside degrees"
    told = f"shows {shows:.1f} °C where these facts give {given:.1f}"
    if not seen.chain.knows(*LEADS) and 0.0 < given - shows <= LEADS_K:
        return Finding.NOT_TOLD, f"{told}: it may take leads off, which were not told"
    return Finding.OFF, f"{told}: curve, R0 or reference are set otherwise"
