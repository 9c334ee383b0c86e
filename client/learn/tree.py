"""Documents as leaves: where each value stands, with items of lists told apart by name."""

import re
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from client.learn.vocabulary import NAME_WORDS, PERCENT_WORDS, TIME_WORDS, UNIT_WORDS, words
from client.values import number_in

_UNITS = {*UNIT_WORDS, *PERCENT_WORDS, *TIME_WORDS, "deg", "degree", "degrees"}
_INNER = re.compile(r"[./]")
MAX_DEPTH = 12
MAX_LEAVES = 2000
"""Leaves of one message that are looked at."""
MAX_ITEMS = 64
"""Items of an array that are looked at."""
MAX_TOPIC = 4
MAX_NAMES = 50
"""Names in a list beyond which they are no channels."""


class Keyed(NamedTuple):
    """The item of a list whose `key` has this value."""

    key: str
    value: str | int


_POSITIONAL = {("params",), ("result",)}
Token = str | Keyed
"""One step of a place: a member's name, an index as text, or a named item."""
Place = tuple[Token, ...]
ListKeys = dict[Place, str]
"""Place of an array (indices as '*') → the member of its items that names them."""


def leaves(message: Any, keys: ListKeys) -> list[tuple[Place, Any]]:
    """Scalars of a message, and arrays of texts as a whole, with their places; no nulls."""
    return [pair for pair in leaves_and_nulls(message, keys) if pair[1] is not None]


def leaves_and_nulls(message: Any, keys: ListKeys) -> list[tuple[Place, Any]]:
    """The same with nulls."""
    found: list[tuple[Place, Any]] = []
    _collect(message, (), (), keys, found)
    return found


def _collect(node: Any, place: Place, shape: Place, keys: ListKeys, found: list[Any]) -> None:
    if len(found) >= MAX_LEAVES or len(place) > MAX_DEPTH:
        return
    if type(node) is dict:
        for name, child in node.items():
            _collect(child, (*place, name), (*shape, name), keys, found)
    elif type(node) is list:
        if not node or (
            shape not in _POSITIONAL
            and all(type(item) is str for item in node)
            and not all(number_in(item) is not None for item in node)
        ):
            found.append((place, node))
            return
        key = keys.get(shape)
        for index, item in enumerate(node[:MAX_ITEMS]):
            name = _name_of(item, key) if key is not None else None
            token: Token = str(index) if name is None or key is None else Keyed(key, name)
            _collect(item, (*place, token), (*shape, "*"), keys, found)
    else:
        found.append((place, node))


def with_texts(message: Any, keys: ListKeys) -> list[tuple[Place, Any]]:
    """Leaves, with the texts of short lists one by one as well: a topic may be such a list."""
    found = leaves(message, keys)
    for place, value in list(found):
        if type(value) is list and 0 < len(value) <= MAX_TOPIC:
            found += [((*place, str(n)), text) for n, text in enumerate(value)]
    return found


def list_keys(messages: Iterable[Any]) -> ListKeys:
    """Which member names the items of each array, where one does."""
    arrays: dict[Place, list[list[Any]]] = {}
    for message in messages:
        for shape, items in _arrays(message, ()):
            arrays.setdefault(shape, []).append(items)
    # Positional parameters are no list of channels, though they may hold one object alone.
    chosen = {
        shape: _key_of(lists)
        for shape, lists in arrays.items()
        if shape not in _POSITIONAL or max(map(len, lists)) > 1
    }
    return {shape: key for shape, key in chosen.items() if key is not None}


def _arrays(node: Any, shape: Place) -> Iterator[tuple[Place, list[Any]]]:
    if len(shape) > MAX_DEPTH:
        return
    if type(node) is dict:
        for name, child in node.items():
            yield from _arrays(child, (*shape, name))
    elif type(node) is list:
        if node and all(type(item) in (dict, list) for item in node):
            yield shape, node[:MAX_ITEMS]
        for child in node[:MAX_ITEMS]:
            yield from _arrays(child, (*shape, "*"))


def _key_of(lists: list[list[Any]]) -> str | None:
    """The member that each item has, as a text of its own, and that recurs."""
    candidates = [set(_names(item)) for items in lists for item in items]
    shared = set.intersection(*candidates) if candidates else set()
    best: tuple[float, str] | None = None
    for key in sorted(shared):
        names = [[_name_of(item, key) for item in items] for items in lists]
        if any(len(set(each)) < len(each) for each in names):
            continue
        distinct = {name for each in names for name in each}
        if len(distinct) > MAX_NAMES or (len(distinct) > 3 and _is_fresh(names)):
            continue
        is_text = all(type(name) is str for name in distinct)
        is_number = not is_text or all(number_in(str(name)) is not None for name in distinct)
        if is_number and len(distinct) > max(map(len, lists)):
            continue  # Numbers that are ever others name nothing.
        is_named = bool(NAME_WORDS & set(words(key))) or (key.isdigit() and (is_text or key == "0"))
        if not is_named and (not is_text or len(distinct) < 2):
            continue
        score = 2.0 * is_named + 3.0 * is_text + min(len(distinct), 9) / 10.0
        if best is None or score > best[0]:
            best = (score, key)
    return best[1] if best else None


def _is_fresh(names: list[list[Any]]) -> bool:
    """Whether hardly any name ever comes again, as with the time of day as text."""
    every = [name for each in names for name in each]
    return len(names) > 3 and len(set(every)) > 0.6 * len(every)


def _names(item: Any) -> Iterator[str]:
    pairs = item.items() if type(item) is dict else [(str(n), v) for n, v in enumerate(item[:3])]
    for key, value in pairs:
        if (type(value) is str and 0 < len(value) <= 60) or type(value) is int:
            yield key


def _name_of(item: Any, key: str | None) -> str | int | None:
    if type(item) is dict:
        value = item.get(key)
    elif type(item) is list and key is not None and key.isdigit() and int(key) < len(item):
        value = item[int(key)]
    else:
        return None
    return value if type(value) in (str, int) else None


def escaped(token: str) -> str:
    """A member's name as a step of a JSON Pointer (RFC 6901)."""
    return token.replace("~", "~0").replace("/", "~1")


def pointer_of(place: Iterable[Token]) -> str:
    """JSON Pointer of a place without named items."""
    return "".join(f"/{escaped(str(token))}" for token in place)


def path_of(place: Iterable[Token]) -> str:
    """A place as a person may read and write it."""
    return "/".join(map(text_of, place))


def in_steps(place: Place) -> Place:
    """The same place, with names that are paths themselves as steps: `heat.tip`, `at/x`."""
    steps: list[Token] = []
    for token in place:
        name = text_of(token)
        first, *rest = _INNER.split(name.lstrip("/"))
        is_path = bool(rest) and all(part.strip() for part in (first, *rest))
        # `desired/deg` is a name with its unit.
        is_path &= (
            "/" not in name[1:]
            or name[0] == "/"
            or not set(words(rest[-1] if rest else "")) & _UNITS
        )
        if not is_path or first.isdigit():
            steps.append(token)
        else:
            steps += [Keyed(token.key, first) if isinstance(token, Keyed) else first, *rest]
    return tuple(steps)


VALUES = {
    *("v", "val", "value", "x", "data", "has", "raw", "amount"),
    *("valore", "valeur", "valor", "wert"),
    *("mm", "um", "cm", "inch", "K", "C", "F", "s", "ms", "percent", "permille"),
}
"""Members that hold whatever that around them is named for; an `x` may be an axis as well."""


def name_at(place: Place) -> Token:
    """The step that names what stands at a place: the last, but for the value of a named thing."""
    if len(place) < 2 or text_of(place[-1]) not in VALUES:
        return place[-1]
    is_item = isinstance(place[-2], Keyed)
    is_thing = place[-1] != "x" and not text_of(place[-2]).isdigit()
    return place[-2] if is_item or is_thing else place[-1]


def stand_beside(a: Place, b: Place) -> bool:
    """Whether two places are the same but for the steps that name them."""
    name, other = name_at(a), name_at(b)
    if isinstance(name, Keyed) and isinstance(other, Keyed) and name.key != other.key:
        return False
    return len(a) == len(b) and tuple(name if t is other else t for t in b) == a


def is_own_value(place: Place) -> bool:
    """Whether what stands there is the value of the item that it is named by."""
    return name_at(place) is not place[-1]


def text_of(token: Token) -> str:
    """The name in a token."""
    return str(token.value) if isinstance(token, Keyed) else token
