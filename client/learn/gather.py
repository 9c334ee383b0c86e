"""Entries into series: which messages carry readings, where their status stands, their leaves.

Hosts often answer once with everything and then send changes. The two are aligned by
the names they share, so that one pointer reads both.
"""

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from client import jsonrpc
from client.form import Request
from client.learn.series import Series
from client.learn.tree import Keyed, Place, Token, leaves, list_keys, text_of
from client.learn.vocabulary import CHANNEL_WORDS, words
from client.plan import request_of
from client.values import number_in
from shared.updates import Entry, EntryKind

MAX_MESSAGES = 20_000
MAX_BYTES = 32 << 20
_ALTERNATES = 0.2
_ENVELOPE = {"jsonrpc", "id", "method"}


@dataclass
class Source:
    """Messages of one kind."""

    kind: str
    """answer, method or bare."""
    name: str = ""
    heard: list[tuple[float, Any]] = field(default_factory=list)
    under: Place | None = None
    """Where a message says the name that its status goes by."""
    status: Place = ()
    leaves: dict[Place, Series] = field(default_factory=dict)
    """By place from the message on (under a name: that first)."""

    def named(self, message: Any) -> str | None:
        """The name that this message's status goes by."""
        value = dict(leaves(message, {})).get(self.under or ())
        return str(value) if type(value) in (str, int) else None


class Gatherer:
    """Takes entries as they come; `sources()` sorts them out. Bounded; keeps the newest half."""

    def __init__(self, requests: Sequence[Request] = ()) -> None:
        self._requests = requests
        self._asked = [request_of(one)["method"] for one in requests if one.envelope]
        self._heard: list[tuple[float, Any]] = []
        self._bytes = 0
        self.refused: Counter[str] = Counter()
        self.failures: list[str] = []
        """What the host said of requests that it refused."""

    def feed(self, entry: Entry) -> None:
        if entry.kind is not EntryKind.MESSAGE or len(self._heard) >= MAX_MESSAGES:
            return
        self._bytes += len(entry.payload)
        if self._bytes > MAX_BYTES:
            return
        try:
            message = jsonrpc.decode(entry.payload)
        except jsonrpc.Refused as why:
            self.refused[str(why)] += 1
            return
        parts = message if jsonrpc.is_batch(message) else [message]
        self._heard += [(entry.own_s, part) for part in parts[:100]]

    @property
    def count(self) -> int:
        return len(self._heard)

    @property
    def last(self) -> Any:
        return self._heard[-1][1] if self._heard else None

    def sources(self) -> list[Source]:
        """Messages by kind, with their leaves, aligned; the richest first."""
        found: dict[tuple[str, str], Source] = {}
        for own_s, message in self._heard:
            kind, name = self._kind(message)
            if kind:
                source = found.setdefault((kind, name), Source(kind, name))
                source.heard.append((own_s, message))
        sources = [source for source in found.values() if _has_numbers(source)]
        sources = _joined_methods(sources)
        for source in sources:
            if source.under is None:
                source.under = _discriminator(source)
            _fill(source)
        sources = [source for source in sources if source.leaves]
        return _aligned(sorted(sources, key=lambda each: -len(each.heard)))

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


def _has_numbers(source: Source) -> bool:
    return any(
        (type(value) in (int, float) or (type(value) is str and number_in(value) is not None))
        and place[:1] != ("id",)
        for _, message in source.heard[:200]
        for place, value in leaves(message, {})
    )


def _joined_methods(sources: list[Source]) -> list[Source]:
    """Methods that bear the names of channels over the same names become one source."""
    methods = [source for source in sources if source.kind == "method"]
    if len(methods) < 2:
        return sources
    shapes = [
        {place for _, message in source.heard[:50] for place, _ in leaves(message, {})}
        for source in methods
    ]
    shapes = [{place for place in shape if place and place[0] not in _ENVELOPE} for shape in shapes]
    named = [bool(set(words(source.name)) & CHANNEL_WORDS.keys()) for source in methods]
    alike = [
        n
        for n, shape in enumerate(shapes)
        if named[n] and any(m != n and named[m] and shape & shapes[m] for m in range(len(methods)))
    ]
    if len(alike) < 2:
        return sources
    heard = sorted((pair for n in alike for pair in methods[n].heard), key=lambda pair: pair[0])
    joined = Source("bare", "", heard, ("method",))
    return [s for s in sources if s not in [methods[n] for n in alike]] + [joined]


def _discriminator(source: Source) -> Place | None:
    """Where each message says which channel it is about, if it does."""
    values: dict[Place, list[Any]] = {}
    for _, message in source.heard:
        for place, value in leaves(message, {}):
            if type(value) is str and 0 < len(place) <= 3 and place[0] not in _ENVELOPE:
                values.setdefault(place, []).append(value)
    total = len(source.heard)
    for place in sorted(values, key=len):
        names = values[place]
        changes = sum(a != b for a, b in itertools.pairwise(names))
        distinct = len(set(names))
        if len(names) < 0.95 * total or total < 6 or not 2 <= distinct <= min(50, total / 3):
            continue
        if changes < _ALTERNATES * total or not _shares_numbers(source, place):
            continue
        return place
    return None


def _shares_numbers(source: Source, at: Place) -> bool:
    """Whether messages of different names use the same places for their numbers."""
    by_name: dict[str, set[Place]] = {}
    for _, message in source.heard:
        found = dict(leaves(message, {}))
        numbers = {place for place, value in found.items() if _counts(place, value, at)}
        by_name.setdefault(str(found.get(at)), set()).update(numbers)
    shapes = list(by_name.values())
    shared = set.intersection(*shapes)
    return bool(shared) and max(map(len, shapes)) <= 3 * len(shared)


def _counts(place: Place, value: Any, at: Place) -> bool:
    """Whether a leaf could be a reading beside the name at `at`, not a clock or a counter."""
    if type(value) not in (int, float) and not (type(value) is str and place != at):
        return False
    return not (len(place) == 1 and type(value) in (int, float) and abs(value) > 1e5)


def _fill(source: Source) -> None:
    keys = list_keys(message for _, message in source.heard)
    for own_s, message in source.heard:
        name = source.named(message) if source.under is not None else None
        if source.under is not None and name is None:
            continue
        for place, value in leaves(message, keys):
            if not place or place[0] in _ENVELOPE:
                continue
            if source.under is not None:
                if place == source.under:
                    continue
                place = (name or "", *place)
            series = source.leaves.get(place)
            if series is None:
                series = source.leaves[place] = Series(place)
            series.add(own_s, value)
    if source.under is not None:
        source.status = _common([place[1:] for place in source.leaves if len(place) > 1])
        source.leaves = {
            (place[0], *place[1 + len(source.status) :]): series
            for place, series in source.leaves.items()
        }


def _common(places: list[Place]) -> Place:
    """Longest beginning that several places share, without their last step or named items."""
    if not places:
        return ()
    first, last = min(map(_sortable, places)), max(map(_sortable, places))
    common: list[Token] = []
    for a, b, token in zip(first, last, _by_sortable(places, first), strict=False):
        if a != b or isinstance(token, Keyed):
            break
        common.append(token)
    return tuple(common[: min(len(place) for place in places) - 1])


def _sortable(place: Place) -> tuple[str, ...]:
    return tuple(f"{isinstance(token, Keyed)}{text_of(token)}" for token in place)


def _by_sortable(places: list[Place], wanted: tuple[str, ...]) -> Place:
    return next(place for place in places if _sortable(place) == wanted)


def _aligned(sources: list[Source]) -> list[Source]:
    """Give sources that hold the same tree the status from which their places agree."""
    if not sources:
        return sources
    main = sources[0]
    pairs = [(source, _alignment(source, main)) for source in sources[1:]]
    found = [(source, pair) for source, pair in pairs if pair is not None]
    if main.under is None:
        main.status = max((pair[1] for _, pair in found), key=len, default=())
        for source, (theirs, ours) in found:
            source.status = (*theirs, *main.status[len(ours) :])
    return sources


def _alignment(source: Source, main: Source) -> tuple[Place, Place] | None:
    """Beginnings after which places of both agree, by the votes of their leaves."""
    ends: dict[Place, list[Place]] = {}
    for place in main.leaves:
        for cut in range(len(place)):
            ends.setdefault(place[cut:], []).append(place[:cut])
    votes: Counter[tuple[Place, Place]] = Counter()
    for place in source.leaves:
        for cut in range(len(place)):
            before = ends.get(place[cut:])
            if before is not None:
                votes.update((place[:cut], each) for each in before)
                break
    if not votes or source.under is not None:
        return None
    pair, count = votes.most_common(1)[0]
    smaller = min(len(source.leaves), len(main.leaves))
    return pair if count >= 2 and count >= 0.25 * smaller else None
