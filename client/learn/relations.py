"""What ties two leaves together: their places, one following the other, the platinum curve."""

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from client.learn import chains, units
from client.learn.chains import ChainLink
from client.learn.series import Series
from client.learn.tree import VALUES, Keyed, Place, Token, text_of
from client.learn.vocabulary import (
    AXES,
    CHANNEL_WORDS,
    QUANTITY_WORDS,
    WEAK_TEMPERATURE,
    words,
)
from shared.updates import Floats

DEGREES = ("celsius", "kelvin", "fahrenheit")


def transplanted(model: Place, part: Place, anchor: Place) -> Place | None:
    """Where a part stands for another anchor, if it stands for it as for the model."""
    if len(model) != len(anchor):
        return None
    swaps = {x: y for x, y in zip(model, anchor, strict=True) if x != y}
    place = tuple(swaps.get(token, token) for token in part)
    if len(swaps) != 1:
        return None
    return place if place != part else _shifted(anchor, model, part)


def _shifted(anchor: Place, model: Place, part: Place) -> Place | None:
    """The place that is as many ids beyond the anchor as the part is beyond its own."""
    by = shift(model, part)
    at = next(n for n, (x, y) in enumerate(zip(model, part, strict=True)) if x != y) if by else 0
    return beyond(anchor, at, by) if by else None


def beyond(place: Place, at: int, by: int) -> Place:
    """The place whose id at one step is so many more: `A7` → A9."""
    token = place[at]
    kind, n = _id(text_of(token))
    name = f"{kind}{n + by}"
    if isinstance(token, Keyed):
        value = int(name) if isinstance(token.value, int) else name
        return (*place[:at], Keyed(token.key, value), *place[at + 1 :])
    return (*place[:at], name, *place[at + 1 :])


def is_by_leaf(places: Sequence[Place]) -> bool:
    """Whether channels are the last step of places, as in /temperatures/bed."""
    parents = [place[:-1] for place in places]
    return any(parents.count(parent) > 1 for parent in parents)


def step_between(a: Place, b: Place) -> int | None:
    """The one step in which two places differ; None where it is not one."""
    if len(a) != len(b):
        return None
    differ = [n for n, (x, y) in enumerate(zip(a, b, strict=True)) if x != y]
    return differ[0] if len(differ) == 1 else None


def alike(a: Place, b: Place, by_leaf: bool) -> bool:
    """Whether two places differ only in the step that tells channels apart."""
    at = step_between(a, b)
    return at is not None and (at == len(a) - 1) == by_leaf


def marks(one: Series) -> set[str]:
    """All words of a place, numbers with the word before: those that only one of several places
    bears tell them apart. Numbers alone may count anything."""
    found = set[str]()
    for token in one.kin or one.place:
        parts = words(text_of(token))
        found |= {f"{a} {b}" if b.isdigit() else a for a, b in pairwise((*parts, ""))}
    return {mark for mark in found if not mark[:1].isdigit()}


def kinship(a: Series, b: Series) -> float:
    """How much two places look like one channel's, 0 to 1.5."""
    if a.place == b.place:
        return 0.0
    if a.kin or b.kin:
        moved = [Series(one.kin or one.place, beside=one.beside) for one in (a, b)]
        return kinship(*moved)
    mine, theirs = _channel_words(a), _channel_words(b)
    items = [next((t for t in one.place if isinstance(t, Keyed)), None) for one in (a, b)]
    if items[0] != items[1] and items[0] is not None and items[1] is not None:
        names = [str(item.value) for item in items if item is not None]
        about = [{word for word in words(name) if word in CHANNEL_WORDS} for name in names]
        rests = [_rest(name) for name in names]
        same = (rests[0] and rests[0] == rests[1]) or (about[0] and about[0] == about[1])
        if same or any(about) or not _stand_alike(a.place, b.place):
            return 1.5 if same else 0.0
        return _of_ids(*names)
    if items[0] is not None and items[0] == items[1]:
        return 1.2
    if len(a.place) == len(b.place):
        differ = [n for n, (x, y) in enumerate(zip(a.place, b.place, strict=True)) if x != y]
        if len(differ) == 1:
            at = differ[0]
            x, y = text_of(a.place[at]), text_of(b.place[at])
            if x.isdigit() and y.isdigit():
                # Two items of one array are two channels, unless it is a channel's own array, and
                # so are ids; the nearer ones rather.
                is_last = at == len(a.place) - 1
                return _of_ids(x, y) if is_last or text_of(a.place[-1]) in VALUES else 0.0
            if _rest(x) and _rest(x) == _rest(y):
                return 1.5
            if set(_rest(x)) & set(_rest(y)):
                return 1.3
            about = [{w for w in words(name) if w in CHANNEL_WORDS} for name in (x, y)]
            if all(about) and at == len(a.place) - 1:
                return 0.0
            if at == len(a.place) - 1:
                return 1.1
            is_axis = text_of(a.place[-1]) in AXES and not (a.said_unit or b.said_unit)
            return 0.0 if is_axis else 1.0
    shared = 0
    for step, other in zip(a.place, b.place, strict=False):
        if step != other:
            break
        shared += 1
    if mine and mine == theirs:
        return 1.2
    names = [_last_name(one.place[shared:]) for one in (a, b)]
    if names[0] and names[0] == names[1]:
        return 1.1
    fork = [text_of(one.place[shared]) for one in (a, b) if len(one.place) > shared]
    by_index = all(text_of(one.place[-1]).isdigit() for one in (a, b))
    if all(step.isdigit() for step in fork) or (by_index and a.place[:-1] != b.place[:-1]):
        return 0.0  # Two items of one array are two channels, and so are two arrays.
    return 0.8 if shared >= max(1, min(len(a.place), len(b.place)) - 2) else 0.0


def _last_name(place: Place) -> str:
    """The last step that names something, no quantity, number or unit."""
    steps = [text_of(token) for token in place if not text_of(token).isdigit()]
    named = [step for step in steps if _rest(step) and step not in VALUES and len(step) > 1]
    return named[-1] if named else ""


def refer(leaves: Mapping[Place, Series]) -> None:
    """Note what is said to be for another thing: `{"id": "heater", "for": "thermo-1", …}`."""
    steps: dict[tuple[int, str], Token] = {}
    for place, one in leaves.items():
        if one.is_number:
            steps |= {(at, text_of(token)): token for at, token in enumerate(place)}
    said = [place for place, one in leaves.items() if one.is_text and one.distinct == 1]
    for place in said:
        at = len(place) - 2
        other = steps.get((at, str(leaves[place].last)))
        if at < 0 or other is None or other == place[at]:
            continue
        for near, one in leaves.items():
            if near[: at + 1] == place[: at + 1]:
                one.kin = (*place[:at], other, *near[at + 1 :])


def _stand_alike(a: Place, b: Place) -> bool:
    """Whether two places are the same within items of the same list."""
    return len(a) == len(b) and [t for t in a if not isinstance(t, Keyed)] == [
        t for t in b if not isinstance(t, Keyed)
    ]


def _of_ids(a: str, b: str) -> float:
    """Kinship of two numbers that only ids tell apart: rather of the same first word, or nearer,
    as settings come behind the reading that they are of."""
    (kind, n), (other, m) = (_id(name) for name in (a, b))
    if kind != other:
        first, second = (words(name)[:1] for name in (a, b))
        return 1.0 if len(kind) > 1 and first == second else 0.7
    return 0.7 + (0.2 if m > n else 0.1) / (1 + abs(n - m)) + (0.2 if kind else 0.0)


def repeated(pairs: Sequence[tuple[Place, Place]]) -> list[float]:
    """By pair, how much it gains by standing as far apart as others do, where ids count on."""
    shifts = [shift(*pair) for pair in pairs]
    anchors: dict[int, set[Place]] = {}
    for (anchor, _), by in zip(pairs, shifts, strict=True):
        if by is not None:
            anchors.setdefault(by, set()).add(anchor)
    return [0.0 if each is None or len(anchors[each]) < 2 else 0.1 for each in shifts]


def shift(a: Place, b: Place) -> int | None:
    """By how much one id is beyond the other; None where no id alone tells them apart."""
    differ = [(x, y) for x, y in zip(a, b, strict=False) if x != y]
    if len(a) != len(b) or len(differ) != 1:
        return None
    (kind, n), (other, m) = (_id(text_of(token)) for token in differ[0])
    return m - n if kind == other else None


def _id(name: str) -> tuple[str, int]:
    """`A7` → A, 7."""
    kind = name.rstrip("0123456789")
    return kind, int(name[len(kind) :] or 0)


def _rest(name: str) -> tuple[str, ...]:
    """Words of a name that name no quantity: those of the channel."""
    return tuple(
        word
        for word in words(name)
        if word not in QUANTITY_WORDS and word not in WEAK_TEMPERATURE | units.WORDS
    )


def _channel_words(one: Series) -> tuple[str, ...]:
    """Words for a channel, and any word with a number behind it: zone 1 is not zone 2."""
    found = []
    for parts in one.words:
        for word, after in zip(parts, (*parts[1:], ""), strict=False):
            names_nothing_else = word not in QUANTITY_WORDS and not word.isdigit()
            if after.isdigit() and names_nothing_else:
                found.append(f"{word} {after}")
            elif word in CHANNEL_WORDS:
                found.append(word)
    return tuple(found)


def linked(one: Series, other: Series, names: Sequence[str]) -> ChainLink | None:
    """The platinum link of `other` to the temperature `one` in the first unit that gives it."""
    times, mine, theirs = together(one, other)
    if len(times) < 1 or (other.distinct < 2 and not _is_code_like(other)):
        return None
    for name in names:
        link = chains.linked(theirs, units.celsius(mine, name))
        if link is None:
            continue
        is_ohm = chains.r0_of(link.constant) is not None
        is_sure = chains.is_of_a_part(link.constant) or link.span_k > 15.0
        if is_ohm or (is_sure and _is_code_like(other)):
            return link
    return None


def is_resistance(one: Series, other: Series) -> bool:
    """Whether `other` is the resistance of an element at the temperatures `one`."""
    link = linked(one, other, DEGREES)
    return link is not None and link.span_k > 15.0 and chains.r0_of(link.constant) is not None


def _is_code_like(one: Series) -> bool:
    return one.is_whole and one.high > 300.0


def together(one: Series, other: Series) -> tuple[Floats, Floats, Floats]:
    """Values of both at the moments at which both were heard."""
    times, mine, theirs = np.intersect1d(one.times, other.times, return_indices=True)
    return times, one.numbers[mine], other.numbers[theirs]
