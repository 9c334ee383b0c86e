"""Is this reading true now, and since when: drawn from a channel's events."""

from collections.abc import Collection, Iterable, Sequence

import msgspec

from detectors.table.frame import Held
from shared.events import Event
from shared.health import ChannelHealth, Trust
from shared.kinds import KINDS, Tells
from shared.words import EVERY_CHANNEL, Gate, HostState, Severity

DOUBT_S = 60.0
"""A reading stays doubtful this long after its last fault."""


def channel_health(
    channel: str,
    held: Held,
    gate: Gate,
    events: Sequence[Event],
    state: str,
    now_s: float,
) -> ChannelHealth:
    """One channel's health at `now_s`. An absorbed event counts through its absorber."""
    trust, since_s, why = trust_of(channel, events, state, now_s)
    return ChannelHealth(
        channel=channel,
        trust=trust,
        since_s=since_s,
        why=why,
        gate=gate,
        temperature_c=_number(held.celsius),
        target_c=_number(held.target_c),
        power=_number(held.power),
        code=_number(held.code),
        resistance_ohm=_number(
            held.code * held.ohm_per_code if held.ohm_per_code else held.resistance_ohm
        ),
        last_update_s=_number(held.fresh_s),
    )


def trust_of(
    channel: str, events: Sequence[Event], state: str, now_s: float
) -> tuple[Trust, float, str]:
    """Whether a channel's reading is to be believed at `now_s`, since when, and why not."""
    true_since = 0.0
    worst: Event | None = None
    for event in events:
        if event.channel not in (channel, EVERY_CHANNEL) or event.absorbed_by is not None:
            continue
        tells = KINDS[event.kind].tells
        if tells is Tells.HIDES and event.is_active:
            return Trust.UNKNOWN, event.start_s, event.text
        if tells is not Tells.AGAINST:
            continue
        if event.end_s is not None and now_s - event.end_s > DOUBT_S:
            true_since = max(true_since, event.end_s)
        elif worst is None or _weight(event) >= _weight(worst):
            worst = event
    if state == HostState.GONE:
        return Trust.UNKNOWN, now_s, "the link is down"
    if worst is None:
        return Trust.TRUE, true_since, ""
    is_false = worst.is_active and worst.severity is Severity.FAILURE
    return (Trust.FALSE if is_false else Trust.DOUBTFUL), worst.start_s, worst.text


def trust_beside(
    channel: str,
    events: Sequence[Event],
    shelved: Collection[int],
    state: str,
    now_s: float,
) -> tuple[Trust, float, str]:
    """As `trust_of`, but faults that a person has shelved (ids) do not lead.

    They never make a reading true either: where they are all that is wrong, it is `shelved`.
    """
    found = trust_of(channel, events, state, now_s)
    if found[0] is Trust.TRUE or not shelved:
        return found
    others = [event for event in events if event.id not in shelved]
    rest = trust_of(channel, others, state, now_s)
    if rest[0] is Trust.TRUE:
        return Trust.SHELVED, found[1], f"shelved: {found[2]}"
    return rest


def healths_beside(
    healths: Iterable[ChannelHealth],
    events: Sequence[Event],
    shelved: Collection[int],
    state: str,
    now_s: float,
) -> tuple[ChannelHealth, ...]:
    """Each channel with the trust that what is not shelved (ids) leaves it."""
    if not shelved:
        return tuple(healths)
    found = []
    for health in healths:
        trust, since_s, why = trust_beside(health.channel, events, shelved, state, now_s)
        found.append(msgspec.structs.replace(health, trust=trust, since_s=since_s, why=why))
    return tuple(found)


def _weight(event: Event) -> tuple[bool, int]:
    return event.is_active, event.severity.rank


def _number(value: float) -> float | None:
    return value if value == value else None
