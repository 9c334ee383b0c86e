"""Messages of one kind, which of them belong together, what each is about, and rows in them."""

import itertools
import math
import re
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from client import jsonrpc
from client.jsonrpc import ENVELOPE
from client.learn.series import Series, number_of
from client.learn.tree import MAX_DEPTH, Keyed, Place, leaves, list_keys, text_of, with_texts
from client.learn.vocabulary import CHANNEL_WORDS, quantities_of, words
from client.pairs import is_name, object_of
from client.values import number_in

_MEASURE = re.compile(r"[+-]?\d+([.,]\d+ ?\S{0,8}| ?[^\W\d_]{1,3}(/[^\W\d_]{1,3})?)")
_ALTERNATES = 0.2
_FAR = 0.5
"""Two numbers are of different kinds if they differ by this part of the larger."""
_LOOK = 200
_MIXED = 1.5
MOST_MIXED, CALMER = 0.3, 0.5
MAX_IDS = 64
"""Whole numbers below this, each as often as the others, may name a channel."""


@dataclass
class Source:
    """Messages of one kind."""

    kind: str
    """answer, method or bare."""
    name: str = ""
    heard: list[tuple[float, Any]] = field(default_factory=list)
    under: tuple[Place, ...] = ()
    """Where a message says the names that its status goes by, the outer one first."""
    status: Place = ()
    is_wrapped: bool = False
    """Whether the status is a text that holds JSON."""
    is_paired: bool = False
    """Whether the status is rows that their first cell names; `heard` has them as an object."""
    rows: tuple[tuple[str, int], ...] = ()
    """Names of the rows of the longest such message, in its order, and how many cells each has."""
    leaves: dict[Place, Series] = field(default_factory=dict)
    """By place from the message on (under names: those first)."""

    def named(self, message: Any) -> tuple[str, ...] | None:
        """The names that this message's status goes by; None where one is missing."""
        if not self.under:
            return ()
        found = dict(with_texts(message, {}))
        names = [found.get(place) for place in self.under]
        if any(type(name) not in (str, int) for name in names):
            return None
        return tuple(map(str, names))


def unwrap(source: Source) -> None:
    """Read the text that holds JSON in nearly each message, if there is one, as the status."""
    found: dict[Place, list[Any]] = {}
    for _, message in source.heard:
        for place, value in leaves(message, {}):
            inner = _json_in(value) if type(value) is str and all_names(place) else None
            if inner is not None:
                found.setdefault(place, []).append(inner)
    place = max(found, key=lambda each: len(found[each]), default=())
    if not place or len(found[place]) < 0.95 * len(source.heard):
        return
    source.status, source.is_wrapped = place, True
    # What was heard stays as it is: it may be drafted from once more.
    source.heard = [(own_s, _unwrapped(message, place)) for own_s, message in source.heard]


def _unwrapped(node: Any, place: Place) -> Any:
    """The same message with what the text at a place holds."""
    if not place:
        return _json_in(node) if type(node) is str else node
    if type(node) is not dict or place[0] not in node:
        return node
    return {**node, place[0]: _unwrapped(node[place[0]], place[1:])}


def all_names(place: Place) -> bool:
    """Whether a place goes through objects alone."""
    return bool(place) and all(type(token) is str and not token.isdigit() for token in place)


def _json_in(text: str) -> Any:
    if text[:1] not in ("{", "["):
        return None
    try:
        return jsonrpc.decode(text.encode("utf-8", "surrogatepass"))
    except jsonrpc.Refused:
        return None


def joined(sources: list[Source], kind: str) -> list[Source]:
    """Sources of one kind that use the same places for different things become one, under names.

    As where a method's name says the channel, or the quantity, that it is about.
    """
    every = [source for source in sources if source.kind == kind and not source.is_paired]
    numbers = [_numbers(source) for source in every]
    apart = {
        n
        for n, m in itertools.permutations(range(len(every)), 2)
        if _say_apart(every[n].name, every[m].name, numbers[n], numbers[m])
    }
    if len(apart) < 2:
        return sources
    heard = sorted((pair for n in apart for pair in every[n].heard), key=lambda pair: pair[0])
    one = Source("bare", "", heard, (("method",) if kind == "method" else ("id",),))
    gone = [every[n] for n in apart]
    return [source for source in sources if not any(source is each for each in gone)] + [one]


def _numbers(source: Source) -> dict[Place, list[float]]:
    found: dict[Place, list[float]] = {}
    for _, message in source.heard[-_LOOK:]:
        for place, value in leaves(message, {}):
            if place and place[0] not in ENVELOPE and type(value) in (int, float):
                found.setdefault(place, []).append(float(value))
    return found


def _say_apart(
    name: str, other: str, mine: dict[Place, list[float]], theirs: dict[Place, list[float]]
) -> bool:
    """Whether two methods over the same places are about different things."""
    shared = mine.keys() & theirs.keys()
    if not shared:
        return False
    about = [_subject(name), _subject(other)]
    if all(about) and not about[0] & about[1]:
        return True
    rare = min(min(len(mine[place]), len(theirs[place])) for place in shared)
    if rare < 5:
        return False
    far = [_are_far(mine[place], theirs[place]) for place in shared]
    return sum(far) > len(far) / 2


def _subject(name: str) -> set[str]:
    """The channels and quantities that a method's name speaks of."""
    parts = words(name)
    channels = {CHANNEL_WORDS[part] for part in parts if part in CHANNEL_WORDS}
    return channels or quantities_of(parts) - {"state", "message"}


def _are_far(mine: Sequence[float], theirs: Sequence[float]) -> bool:
    a, b = float(np.median(mine)), float(np.median(theirs))
    return abs(a - b) > _FAR * max(abs(a), abs(b))


def subjects(source: Source) -> tuple[Place, ...]:
    """Where each message says what it is about: a channel, or a channel and a quantity."""
    values: dict[Place, list[Any]] = {}
    keys = list_keys(message for _, message in source.heard)
    for _, message in source.heard:
        for place, value in with_texts(message, keys):
            if any(isinstance(step, Keyed) for step in place):
                continue  # It tells items apart, not messages.
            is_id = type(value) is int and 0 <= value < MAX_IDS and all_names(place)
            if (
                (is_id or (type(value) is str and not measures(value)))
                and 0 < len(place) <= 3
                and (place[0] not in ENVELOPE or (place == ("id",) and type(value) is str))
                and "message" not in quantities_of(words(text_of(place[-1])))
            ):
                values.setdefault(place, []).append(value)
    total = len(source.heard)
    fit, rare = list[Place](), list[Place]()
    # Names before ids: a number may be anything.
    for place in sorted(values, key=lambda each: (type(values[each][0]) is int, len(each))):
        names = values[place]
        changes = sum(a != b for a, b in itertools.pairwise(names))
        distinct = len(set(names))
        if len(names) < 0.95 * total or total < 6 or not 2 <= distinct <= min(50, total / 3):
            continue
        # What never comes again once it is gone, such as a time of day, names nothing.
        if changes + 1 < 1.5 * distinct:
            continue
        most, least = (f(Counter(names).values()) for f in (max, min))
        is_even = type(names[0]) is str or most <= 1.5 * least
        if is_even:
            (fit if changes >= _ALTERNATES * total else rare).append(place)
    ways = [(place,) for place in fit] + list(itertools.permutations(fit[:4], 2))
    best: tuple[Place, ...] = ()
    goes = math.inf
    for way in ways:
        share, to_and_fro = _mixed_up(source, way)
        # Two names are better than one only where numbers go far less to and fro by them.
        if share <= MOST_MIXED and to_and_fro < (CALMER * goes if best else math.inf):
            best, goes = way, to_and_fro
    if len(best) == 1:
        second = next((place for place in rare if _cross(source, best[0], place)), None)
        best += () if second is None else (second,)
    return best


def _cross(source: Source, name: Place, second: Place) -> bool:
    """Whether a text that seldom changes says which of a named thing's values a message has: it is
    one for several things, and goes back to what it was under one of them, as no state does soon.

    As where all else stands still while things heat, and only changes are sent.
    """
    said: dict[Any, list[Any]] = {}
    for _, message in source.heard:
        found = dict(with_texts(message, {}))
        if type(found.get(second)) is not str:
            return False
        said.setdefault(found.get(name), []).append(found[second])
    several = Counter(what for values in said.values() for what in set(values))
    runs = ([key for key, _ in itertools.groupby(values)] for values in said.values())
    goes_back = any(len(run) > len(set(run)) for run in runs)
    return goes_back and max(several.values()) > 1


def measures(text: str) -> bool:
    """Whether a text is a number with whatever unit behind it: such a one names nothing."""
    return number_in(text) is not None or bool(_MEASURE.fullmatch(text.strip()))


def _mixed_up(source: Source, at: tuple[Place, ...]) -> tuple[float, float]:
    """The part of the numbers that still are several things in turn, and how far all go to and
    fro; inf where messages of different names do not use the same places.

    A name that tells channels apart leaves each number steady or slowly moving; one that does
    not leaves it jumping from channel to channel.
    """
    by_name: dict[tuple[str, ...], dict[Place, list[float]]] = {}
    shapes: dict[tuple[str, ...], set[Place]] = {}
    mixed: dict[Place, list[float]] = {}
    is_number = True
    for _, message in source.heard:
        found = dict(with_texts(message, {}))
        name = tuple(str(found.get(place)) for place in at)
        is_number &= all(type(found.get(place)) is int for place in at)
        for place, value in found.items():
            if _counts(place, value, at):
                shapes.setdefault(name, set()).add(place)
                if (number := number_of(value)) is not None:
                    by_name.setdefault(name, {}).setdefault(place, []).append(number)
                    mixed.setdefault(place, []).append(number)
    # A count that begins anew names nothing either: numbers go on as if it were not there.
    if is_number and not _are_mixed(mixed, by_name.values()):
        return math.inf, math.inf
    if len(shapes) < 2 or not _overlap(list(shapes.values())):
        return math.inf, math.inf
    series = [each for one in by_name.values() for each in one.values()]
    share = sum(map(_jumps, series)) / len(series) if series else 0.0
    return share, sum(float(np.abs(np.diff(each)).sum()) for each in series)


def _are_mixed(
    mixed: dict[Place, list[float]], by_name: Collection[dict[Place, list[float]]]
) -> bool:
    """Whether any number goes by larger steps from message to message than from one of a name to
    the next of that name, though more time passes then."""
    for place, numbers in mixed.items():
        apart = [np.abs(np.diff(one[place])) for one in by_name if len(one.get(place, ())) > 1]
        within = float(np.mean(np.concatenate(apart))) if apart else 0.0
        if float(np.mean(np.abs(np.diff(numbers)))) > _MIXED * within:
            return True
    return False


def _overlap(shapes: list[set[Place]]) -> bool:
    """Whether at least two of them share most of their places."""
    return any(
        len(a & b) >= 0.5 * min(len(a), len(b)) > 0 for a, b in itertools.combinations(shapes, 2)
    )


def _jumps(series: Sequence[float]) -> bool:
    """Whether a number goes to and fro over most of its range with every message."""
    numbers = np.array(series)
    span = float(np.ptp(numbers))
    if len(numbers) < 6 or span < 5.0 or len(np.unique(numbers)) < 3:
        return False
    return float(np.median(np.abs(np.diff(numbers)))) > 0.25 * span


def _counts(place: Place, value: Any, at: tuple[Place, ...]) -> bool:
    """Whether a leaf could be a reading beside the names at `at`, not a clock or a counter."""
    if place in at or type(value) not in (int, float, str):
        return False
    return not (len(place) == 1 and type(value) in (int, float) and abs(value) > 1e5)


MOSTLY = 0.95
"""Part of the messages that have rows at one place, be they none in some."""
RECUR = 0.5
"""Part of the names of the first half that come in the second half too: times of day do not."""
MAX_NAMES = 300
FIRST_ITEMS = 4
"""Items of a list, such as positional parameters, in which rows are looked for."""


def unpair(source: Source) -> None:
    """Read the rows in nearly each message, if there are such, as the status."""
    found: dict[Place, list[Any]] = {}
    for _, message in source.heard:
        for place, rows in _rows(message, ()):
            found.setdefault(place, []).append(rows)
    for place in sorted(found, key=lambda each: -sum(map(len, found[each]))):
        is_status = not source.is_wrapped or place == source.status
        if _stand_beside(source, place):
            continue  # `pairs` would hide it: the rows are items of a list, by their first cell.
        if is_status and len(found[place]) >= MOSTLY * len(source.heard) and _name(found[place]):
            source.status, source.is_paired = place, True
            source.rows = tuple((str(row[0]), len(row)) for row in max(found[place], key=len))
            source.heard = [(own_s, _paired(message, place)) for own_s, message in source.heard]
            return


def _stand_beside(source: Source, place: Place) -> bool:
    """Whether something stands beside the rows that is no count or clock: a text, true or false,
    or a number that is not ever another."""
    beside: dict[Place, list[Any]] = {}
    for _, message in source.heard:
        for where, value in leaves(message, {}):
            if where and where[: len(place)] != place and where[0] not in ENVELOPE:
                beside.setdefault(where, []).append(value)
    often = [values for values in beside.values() if len(values) >= MOSTLY * len(source.heard)]
    return any(
        type(values[0]) in (str, bool) and len(set(map(str, values))) <= len(values) / 2
        for values in often
    )


def _rows(node: Any, place: Place) -> Iterator[tuple[Place, list[Any]]]:
    """Lists that hold nothing but rows of two cells or more with a name first; empty ones too. A
    message that begins with a name is one row."""
    if len(place) > MAX_DEPTH:
        return
    if type(node) is dict:
        for name, child in node.items():
            yield from _rows(child, (*place, name))
    elif type(node) is list and len(node) > 1 and type(node[0]) is str and not place:
        yield place, [node]
    elif type(node) is list:
        if all(type(row) is list and len(row) > 1 and is_name(row[0]) for row in node):
            yield place, node
            return
        for index, child in enumerate(node[:FIRST_ITEMS]):
            yield from _rows(child, (*place, str(index)))


def _name(lists: list[list[Any]]) -> bool:
    """Whether first cells name: each once in a message, few in all, and they come again."""
    names = [[row[0] for row in rows] for rows in lists]
    every = {name for each in names for name in each}
    if not every or len(every) > MAX_NAMES or any(len(set(each)) < len(each) for each in names):
        return False
    half = len(names) // 2
    if not half:
        return all(type(name) is str and number_in(name) is None for name in every)
    first, second = (
        {name for each in part for name in each} for part in (names[:half], names[half:])
    )
    return len(first & second) >= RECUR * min(len(first), len(second)) > 0


def _by_columns(rows: Any) -> Any:
    """Cells of rows of one length by their index: texts too are several things, not one list."""
    lists = [row for row in rows.values() if type(row) is list] if type(rows) is dict else []
    if len(lists) < 2 or len(lists) < len(rows) or len(set(map(len, lists))) > 1:
        return rows
    return {name: {str(n): cell for n, cell in enumerate(row)} for name, row in rows.items()}


def _paired(node: Any, place: Place) -> Any:
    """The same message with an object in place of the rows."""
    if not place:
        return _by_columns(object_of(node)[0])
    step, rest = place[0], place[1:]
    if type(node) is dict and step in node:
        return {**node, step: _paired(node[step], rest)}
    if type(node) is list and int(str(step)) < len(node):
        at = int(str(step))
        return [*node[:at], _paired(node[at], rest), *node[at + 1 :]]
    return node
