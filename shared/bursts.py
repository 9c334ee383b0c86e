"""Bursts: events of several channels that began close together, and which came first.

What fails first takes others with it, so the first out is where to look (first-out indication
is usual in alarm management; from memory). Order is that of the first sample that shows each
event; events of one sample share a place, since sampling cannot tell them apart.
"""

from collections.abc import Iterable
from typing import NamedTuple

from shared.events import Event
from shared.kinds import KINDS
from shared.when import spelt
from shared.words import EVERY_CHANNEL

BURST_S = 10.0
"""An event belongs to a burst when it begins within this time of its first: what a lost supply,
link or controller takes with it shows within seconds; a notification waits as long."""


class Place(NamedTuple):
    """Where an event stands in its burst."""

    place: int
    """1 came first; events of one instant share a place."""
    size: int
    """Events of the burst."""
    first: Event
    after_s: float
    """Time since the first."""

    @property
    def is_first(self) -> bool:
        return self.place == 1


def bursts(events: Iterable[Event]) -> list[list[Event]]:
    """Bursts, each in order: events within `BURST_S` of a first, on two channels at least.

    Absorbed events are part of another and take no place.
    """
    found: list[list[Event]] = []
    burst: list[Event] = []
    own = [e for e in events if e.absorbed_by is None and KINDS[e.kind].has_onset]
    for event in sorted(own, key=lambda event: (event.start_s, event.id)):
        if burst and event.start_s - burst[0].start_s > BURST_S:
            found.append(burst)
            burst = []
        burst.append(event)
    found.append(burst)
    return [burst for burst in found if len({event.channel for event in burst}) > 1]


def places(events: Iterable[Event]) -> dict[int, Place]:
    """Place of each event that is in a burst, by its id."""
    found = {}
    for burst in bursts(events):
        first = burst[0]
        place, start_s = 1, first.start_s
        for number, event in enumerate(burst, 1):
            if event.start_s > start_s:
                place, start_s = number, event.start_s
            found[event.id] = Place(place, len(burst), first, event.start_s - first.start_s)
    return found


def place_words(place: Place) -> str:
    """`first out of 4`, or which one, how much later, and after what."""
    if place.is_first:
        return f"first out of {place.size}"
    first = place.first
    on = "all" if first.channel == EVERY_CHANNEL else first.channel
    return (
        f"number {place.place} of {place.size}, {spelt(place.after_s)} after {first.kind} on {on}"
    )
