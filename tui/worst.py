"""Which of several hosts is worst off, in an order that does not jump about."""

from collections.abc import Sequence
from typing import NamedTuple

from shared.events import Event
from shared.health import Trust
from shared.words import Kind, Severity
from tui.snapshot import LinkState, Snapshot
from tui.state import standing

HOLD_S = 10.0
"""A host that has become better keeps its place for so long: a flicker moves nobody twice."""
_NOTHING = -1
_LINK_TROUBLE = {LinkState.CONNECTING: 1, LinkState.LOST: 2, LinkState.ENDED: 3}
_DOUBT = {Trust.TRUE: 0, Trust.SHELVED: 0, Trust.DOUBTFUL: 1, Trust.UNKNOWN: 2, Trust.FALSE: 3}


class WorstLevel(NamedTuple):
    """How bad it stands, the greater the worse: active events, then the link, then trust."""

    severity: int = _NOTHING
    link: int = 0
    doubt: int = 0


def active(now: Snapshot) -> list[Event]:
    """Events that go on and are not shelved, the worst first, of those the newest."""
    found = [event for event in standing(now) if event.is_active and event.id not in now.shelved]
    return sorted(found, key=lambda event: (-event.severity.rank, -event.start_s))


def link_is_shelved(now: Snapshot) -> bool:
    """Whether a person has set aside that the link is down."""
    return any(
        event.kind is Kind.LINK_LOSS and event.is_active and event.id in now.shelved
        for event in now.events
    )


def severity_of(now: Snapshot) -> Severity | None:
    """Severity of the worst active event; a link that is down weighs as its event does."""
    found = [event.severity for event in active(now)]
    if now.link.state in (LinkState.LOST, LinkState.ENDED) and not link_is_shelved(now):
        found.append(Severity.CHECK_FUNCTION)
    return max(found, key=lambda severity: severity.rank, default=None)


def level_of(now: Snapshot) -> WorstLevel:
    severity = severity_of(now)
    return WorstLevel(
        _NOTHING if severity is None else severity.rank,
        0 if link_is_shelved(now) else _LINK_TROUBLE.get(now.link.state, 0),
        max((_DOUBT[health.trust] for health in now.channels), default=0),
    )


class Order:
    """Places of hosts, worst first; hosts that are as bad stand as they were given.

    A host rises at once and falls only when nothing has held it up for `HOLD_S`.
    """

    def __init__(self, hosts: int) -> None:
        self._seen: list[list[tuple[float, WorstLevel]]] = [[] for _ in range(hosts)]

    def places(self, levels: Sequence[WorstLevel], at_s: float) -> list[int]:
        """Numbers of hosts in order, with their levels at `at_s`, a time that never falls."""
        for seen, level in zip(self._seen, levels, strict=True):
            # What is no worse than a newer level cannot hold a host up any more.
            while seen and seen[-1][1] <= level:
                seen.pop()
            seen.append((at_s, level))
            while len(seen) > 1 and at_s - seen[0][0] >= HOLD_S:
                seen.pop(0)
        held = [seen[0][1] for seen in self._seen]
        return sorted(range(len(held)), key=lambda host: held[host], reverse=True)
