"""Rows named by their first cell, found in a host's messages and read as an object."""

from collections.abc import Iterator
from typing import Any

from client.learn.sources import ENVELOPE, Source
from client.learn.tree import MAX_DEPTH, Place, leaves
from client.pairs import is_name, object_of
from client.values import number_in

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
            source.heard = [(own_s, _paired(message, place)) for own_s, message in source.heard]
            return


def _stand_beside(source: Source, place: Place) -> bool:
    """Whether something stands beside the rows that is no count or clock: a text, true or false,
    or a number that is not ever another."""
    beside: dict[Place, list[Any]] = {}
    for _, message in source.heard:
        for where, value in leaves(message, {}):
            if where[: len(place)] != place and where[0] not in ENVELOPE:
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


def _paired(node: Any, place: Place) -> Any:
    """The same message with an object in place of the rows."""
    if not place:
        return object_of(node)[0]
    step, rest = place[0], place[1:]
    if type(node) is dict and step in node:
        return {**node, step: _paired(node[step], rest)}
    if type(node) is list and int(str(step)) < len(node):
        at = int(str(step))
        return [*node[:at], _paired(node[at], rest), *node[at + 1 :]]
    return node
