"""Units that stand beside a number, as a text in the same row or object.

{"n": "tip", "u": "K", "x": 411.02}   the one number of an object
["tip", 411.02, "K", 50, "%"]         the number before the unit
{"temp": 411.02, "temp unit": "K"}    the number whose name the unit's name begins with
"""

from collections.abc import Mapping

from client.learn.series import Series
from client.learn.tree import Keyed, Place, text_of
from client.learn.vocabulary import PERCENT_WORDS, PERMILLE_WORDS, UNIT_KEYS, UNIT_WORDS, words
from client.units import SUFFIXES, UNITS


def unit_named(text: str) -> str:
    """The unit that a text is the name or symbol of; empty if it is none."""
    bare = text.strip()
    if bare in UNITS:
        return bare
    low = bare.lower()
    if low in PERCENT_WORDS | PERMILLE_WORDS:
        return "percent" if low in PERCENT_WORDS else "permille"
    return SUFFIXES.get(bare.replace(" ", ""), UNIT_WORDS.get(low, ""))


def says_a_unit(one: Series) -> bool:
    """Whether a leaf says a unit and never anything else."""
    if not one.is_text or one.distinct != 1 or not unit_named(one.last):
        return False
    return not is_own_name(one.place)


def is_own_name(place: Place) -> bool:
    """Whether a leaf is the name by which its item is told from others."""
    item = place[-2] if len(place) > 1 else ""
    return isinstance(item, Keyed) and item.key == place[-1]


def is_label(one: Series, leaves: Mapping[Place, Series]) -> bool:
    """Whether it says what a thing is: a text that never changed, and one of as many as there are
    things like its own, each with another."""
    return one.distinct == 1 and any(
        other.is_text and other.distinct == 1 and other.last != one.last
        for place, other in leaves.items()
        if len(place) == len(one.place) > 1
        and place[-1] == one.place[-1]
        and sum(a != b for a, b in zip(place, one.place, strict=True)) == 1
    )


def tell_units(leaves: Mapping[Place, Series]) -> None:
    """Give each number the unit that the text beside it says."""
    rows: dict[Place, list[Series]] = {}
    for place, one in leaves.items():
        rows.setdefault(place[:-1], []).append(one)
    for row in rows.values():
        units = [one for one in row if says_a_unit(one)]
        numbers = [one for one in row if one.is_number]
        if len(numbers) > 1:
            numbers = [one for one in numbers if not one.is_rising]
        for unit in units:
            for one in _meant(unit, numbers):
                one.beside = unit_named(unit.last)


def _meant(unit: Series, numbers: list[Series]) -> list[Series]:
    """The numbers of the row that a unit is of."""
    at = text_of(unit.place[-1])
    if at.isdigit() and len(numbers) > 1:
        return [one for one in numbers if text_of(one.place[-1]) == str(int(at) - 1)]
    name = tuple(word for word in words(at) if word not in UNIT_KEYS)
    named = [one for one in numbers if name and one.words[-1] and one.words[-1] == name]
    return named or (numbers if len(numbers) == 1 else [])
