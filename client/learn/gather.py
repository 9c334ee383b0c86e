"""Entries into series: which messages carry readings, where their status stands, their leaves.

Hosts often answer once with everything and then send changes. The two are aligned by
the names they share, so that one pointer reads both.
"""

import itertools
from collections import Counter
from collections.abc import Sequence
from typing import Any

from client import jsonrpc
from client.form import Request
from client.jsonrpc import ENVELOPE
from client.learn.series import Series, number_of
from client.learn.sources import Source, joined, subjects, unpair, unwrap
from client.learn.tree import (
    Keyed,
    Place,
    leaves,
    leaves_and_nulls,
    list_keys,
)
from client.learn.units import tell_units
from client.plan import request_of
from client.values import number_in
from shared.updates import Entry, EntryKind

MAX_MESSAGES = 20_000
MAX_BYTES = 32 << 20
EXAMPLE_BYTES = 64


class Gatherer:
    """Takes entries as they come, and no more than its bounds; `sources()` sorts them out."""

    def __init__(self, requests: Sequence[Request] = ()) -> None:
        self._requests = requests
        self._asked = [request_of(one)["method"] for one in requests if one.envelope]
        self.heard: list[tuple[float, Any]] = []
        """When each message came, and what it said."""
        self.entries: list[Entry] = []
        """Those that were read, as they came."""
        self._bytes = 0
        self.refused: Counter[str] = Counter()
        self.example = b""
        """The first message that was not JSON."""
        self.failures: list[str] = []
        """What the host said of requests that it refused."""

    def feed(self, entry: Entry) -> None:
        if entry.kind is EntryKind.CUT_SHORT:
            self.refused["larger than 1 MiB"] += 1
        if entry.kind is not EntryKind.MESSAGE or len(self.heard) >= MAX_MESSAGES:
            return
        self._bytes += len(entry.payload)
        if self._bytes > MAX_BYTES:
            return
        try:
            message = jsonrpc.decode(entry.payload)
        except jsonrpc.Refused as why:
            self.refused[str(why)] += 1
            self.example = self.example or entry.payload[:EXAMPLE_BYTES]
            return
        self.entries.append(entry)
        parts = message if jsonrpc.is_batch(message) else [message]
        self.heard += [(entry.own_s, part) for part in parts[:100]]

    @property
    def count(self) -> int:
        return len(self.heard)

    @property
    def longest_gap_s(self) -> float:
        """Longest time between two messages."""
        times = [own_s for own_s, _ in self.heard]
        return max((b - a for a, b in itertools.pairwise(times)), default=0.0)

    def sources(self) -> list[Source]:
        """Messages by kind, with their leaves, aligned; the richest first."""
        found: dict[tuple[str, str], Source] = {}
        for own_s, message in self.heard:
            kind, name = self._kind(message)
            if kind:
                source = found.setdefault((kind, name), Source(kind, name))
                source.heard.append((own_s, message))
        for source in found.values():
            unwrap(source)
        sources = [source for source in found.values() if _has_numbers(source)]
        for source in sources:
            unpair(source)
        sources = joined(joined(sources, "method"), "answer")
        for source in sources:
            if not source.under:
                source.under = subjects(source)
            _fill(source)
        sources = [source for source in sources if source.leaves]
        return _aligned(sorted(sources, key=_richness, reverse=True))

    def _kind(self, message: Any) -> tuple[str, str]:
        if type(message) is dict:
            number = message.get("id")
            if type(message.get("method")) is str:
                return "method", message["method"]
            if type(number) is int and "result" in message and 0 < number <= len(self._asked):
                return "answer", self._asked[number - 1]
            if type(message.get("error")) is dict and "id" in message:
                self.failures.append(str(message["error"].get("message", "")))
                return "", ""
        if type(message) in (dict, list):
            return "bare", ""
        return "", ""


def _richness(source: Source) -> tuple[bool, int]:
    """Numbers first: a method of words alone, such as a log, may be the most talkative."""
    return any(one.is_number for one in source.leaves.values()), len(source.heard)


def _has_numbers(source: Source) -> bool:
    # A method of words alone may tell the host's state.
    return source.kind == "method" or any(
        (type(each) in (int, float) or (type(each) is str and number_in(each) is not None))
        and place[:1] != ("id",)
        for _, message in source.heard[:200]
        for place, value in leaves(message, {})
        for each in (value if type(value) is list else [value])
    )


def _fill(source: Source) -> None:
    keys = list_keys(message for _, message in source.heard)
    for own_s, message in source.heard:
        names = source.named(message)
        if names is None:
            continue
        for place, value in leaves_and_nulls(message, keys):
            if not place or place[0] in ENVELOPE:
                continue
            if any(name[: len(place)] == place for name in source.under):
                continue
            place = (*names, *place)
            series = source.leaves.get(place)
            if series is None:
                series = source.leaves[place] = Series(place)
            series.add(own_s, value)
    if not source.under:
        _hand_down(source.leaves)
    # Where null was all that was ever said, nothing is known.
    source.leaves = {place: one for place, one in source.leaves.items() if one.values}
    tell_units(source.leaves)


def _hand_down(leaves: dict[Place, Series]) -> None:
    """Give numbers the nulls and words that stood at times in the place of what holds them."""
    for place in [place for place, one in leaves.items() if not one.values or one.is_text]:
        inside = [
            other
            for other, one in leaves.items()
            if len(other) > len(place)
            and other[: len(place)] == place
            and any(number_of(value) is not None for value in one.values)
        ]
        if inside:
            whole = leaves.pop(place)
            for other in inside:
                leaves[other] = leaves[other].merged(whole)


def _aligned(sources: list[Source]) -> list[Source]:
    """Give sources that hold the same tree the status from which their places agree."""
    if not sources:
        return sources
    main = sources[0]
    pairs = [(source, _alignment(source, main)) for source in sources[1:]]
    found = [(source, pair) for source, pair in pairs if pair is not None]
    if not main.under and not main.is_wrapped and not main.is_paired:
        main.status = max((pair[1] for _, pair in found), key=len, default=())
        for source, (theirs, ours) in found:
            source.status = (*theirs, *main.status[len(ours) :])
        # What shares too few names to vote stands where JSON-RPC puts it in other messages.
        for source, pair in pairs:
            like = ("params", *main.status[1:])
            is_free = pair is None and source.kind == "method" and not source.under
            if (
                is_free
                and main.status
                and all(place[: len(like)] == like for place in source.leaves)
            ):
                source.status = like
    return sources


def _alignment(source: Source, main: Source) -> tuple[Place, Place] | None:
    """Beginnings after which places of both agree, by the votes of their leaves."""
    ends: dict[Place, list[Place]] = {}
    for place in main.leaves:
        for cut in range(len(place)):
            if any(isinstance(token, Keyed) for token in place[:cut]):
                break
            ends.setdefault(place[cut:], []).append(place[:cut])
    votes: Counter[tuple[Place, Place]] = Counter()
    for place in source.leaves:
        for cut in range(len(place)):
            # A status is a pointer, and none leads through a named item.
            if any(isinstance(token, Keyed) for token in place[:cut]):
                break
            before = ends.get(place[cut:])
            if before is not None:
                votes.update((place[:cut], each) for each in before)
                break
    if not votes or source.under or source.is_wrapped or source.is_paired:
        return None
    pair, count = votes.most_common(1)[0]
    smaller = min(len(source.leaves), len(main.leaves))
    return pair if count >= 2 and count >= 0.25 * smaller else None
