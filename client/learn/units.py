"""Units by what is said beside a number, and else by its values.

{"n": "tip", "u": "K", "x": 411.02}   the one number of an object
["tip", 411.02, "K", 50, "%"]         the number before the unit
{"temp": 411.02, "temp unit": "K"}    the number whose name the unit's name begins with
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from client.learn.series import OTHER, Series, follows
from client.learn.tree import Keyed, Place, text_of
from client.learn.vocabulary import (
    PERCENT_WORDS,
    PERMILLE_WORDS,
    UNIT_KEYS,
    UNIT_WORDS,
    quantities_of,
    words,
)
from client.units import DIMENSIONS, SUFFIXES, UNITS
from shared.updates import Floats

WORDS = set(UNIT_WORDS) | PERCENT_WORDS | PERMILLE_WORDS | {"degree", "degrees", "deg"}


HOTTEST_AIM_C = 350.0
"""Hardly a printer is set to more, and none while it is but warm."""
ARRIVED = 0.85
"""How well a reading follows its setting that stands at it, or nearly so."""
MAX_UNIT = 6
MOSTLY = 0.8
"""Part of the readings that a fault cannot reach."""


class Unit(NamedTuple):
    """A unit and why."""

    name: str
    why: str


def celsius(values: Floats, unit: str) -> Floats:
    """Values in a unit as degrees Celsius."""
    factor, shift = UNITS[unit]
    result: Floats = values * factor + shift
    return result


def said(one: Series) -> str:
    """Temperature unit that a leaf's own values or name say; empty if they say none."""
    if DIMENSIONS.get(one.said_unit) == "temperature":
        return one.said_unit
    steps = [parts for parts in reversed(one.words) if parts and not parts[0].isdigit()]
    for parts in steps[:2]:
        for position, word in enumerate(parts):
            # Single letters count only after another word, as in `temp_k`.
            if word in UNIT_WORDS and (len(word) > 1 or position > 0):
                return UNIT_WORDS[word]
        # A step that names a quantity speaks for itself; one that does not, as in
        # `temps_mC/nozzle`, leaves it to the step before.
        if quantities_of(parts):
            break
    return ""


def who_says(one: Series) -> str:
    """Where a leaf's unit is said."""
    if one.suffix:
        return f"its values say '{one.last}'"
    return "the text beside it says its unit" if one.beside else "its name says a unit"


def nearer(target: Series, own: str, reading: Series, unit: str) -> str:
    """Which unit brings a target nearer to the reading that follows it: its own, or the reading's.

    Of `setcC` beside `cC` the last letter alone would say another.
    """
    highest = float(celsius(reading.numbers, unit).max())
    as_own, as_the_readings = (float(celsius(target.numbers, u).max()) for u in (own, unit))
    return own if abs(as_own - highest) < abs(as_the_readings - highest) else unit


def of_texts(texts: Sequence[str]) -> str:
    """Temperature unit that a text beside the readings says, such as 'K' or '°F'."""
    for text in texts:
        found = [UNIT_WORDS[word] for word in words(text) if word in UNIT_WORDS]
        if len(found) == 1 and len(text) <= 12:
            return found[0]
    return ""


def of_temperatures(pairs: Sequence[tuple[Series, Series | None]]) -> Unit:
    """Unit of a host's temperatures by the values of readings and their targets.

    A machine stands in a room: the coolest channel that nothing heats is near its
    temperature, 10–45 °C, 283–318 K or 50–113 °F. Targets are round in degrees Celsius, also
    when they are sent as something else. What lies beyond 850 can be no degrees at all.
    """
    if not pairs:
        return Unit("celsius", "")
    lows = [one.low for one, _ in pairs]
    # A fault leaps beyond all units now and then; what is hot stays so for a while.
    aims = {float(aim) for _, t in pairs if t is not None for aim in t.numbers if aim > 0.0}
    tops = [float(np.quantile(one.numbers, MOSTLY)) for one, _ in pairs]
    coolest, hottest = min(lows), max([*tops, *aims])
    one, target = pairs[lows.index(coolest)]
    is_led = target is not None and follows(one, target) >= ARRIVED
    # One that nothing heats is enough, be another cooler for moments before it is heated.
    is_still = any(
        each.high - each.low < 20.0
        and each.low < coolest + 8.0
        and not (aim is not None and follows(each, aim) >= ARRIVED)
        for each, aim in pairs
    )
    for name, parts in (("millikelvin", 1000.0), ("centikelvin", 100.0), ("decikelvin", 10.0)):
        is_like = 268.0 * parts <= coolest <= 335.0 * parts
        # In parts of a kelvin a room looks like what is hot in smaller parts of a degree.
        if is_like and (parts > 100.0 or _unit_of_targets(aims, ("millicelsius", name)) == name):
            return Unit(name, f"the coolest reads {coolest:.6g}, a room's temperature in {name}")
    if coolest >= 10_000.0:
        return Unit("millicelsius", f"the coolest reads {coolest:.6g}: thousandths of a degree")
    if hottest > 12_000.0 or (1000.0 <= coolest < 6000.0 and not is_led):
        return Unit("centicelsius", f"{coolest:.6g} to {hottest:.6g}: hundredths of a degree")
    if coolest >= 130.0 and hottest > 900.0:
        return Unit("decicelsius", f"up to {hottest:.6g}: tenths of a degree")
    by_target = _unit_of_targets(aims)
    if 268.0 <= coolest <= 335.0 and is_still:
        return Unit("kelvin", f"the coolest reads {coolest:.5g}, a room's temperature in kelvin")
    if by_target == "kelvin" and coolest > 268.0:
        return Unit("kelvin", "its targets are round in °C when taken as kelvin")
    if by_target == "fahrenheit" and coolest >= 50.0:
        return Unit("fahrenheit", "its targets are round in °C when taken as fahrenheit")
    if (
        max(aims, default=0.0) > HOTTEST_AIM_C
        and 50.0 <= coolest < 110.0
        and _are_round(aims, "fahrenheit")
    ):
        why = f"a target of {max(aims):.5g} where the coolest reads {coolest:.4g}: fahrenheit"
        return Unit("fahrenheit", why)
    # Two that are near each other and led by nothing are at rest; one alone may be hot.
    near = sum(58.0 <= low <= 100.0 and low - coolest < 25.0 for low in lows)
    if near >= 2 and is_still and by_target != "celsius":
        return Unit("fahrenheit", f"the coolest reads {coolest:.4g}, a room's in fahrenheit")
    return Unit("celsius", "")


def _unit_of_targets(
    aims: set[float], among: Sequence[str] = ("celsius", "kelvin", "fahrenheit")
) -> str:
    """Unit in which all targets are multiples of five degrees Celsius, if it is one alone."""
    if not aims:
        return ""
    fits = [name for name in among if _are_round(aims, name)]
    return fits[0] if len(fits) == 1 else ""


def _are_round(aims: set[float], unit: str) -> bool:
    return all(_is_round(float(celsius(np.array(aim), unit))) for aim in aims)


def _is_round(value: float) -> bool:
    return value >= 0.0 and abs(value - 5.0 * round(value / 5.0)) < 0.06


def of_power(one: Series) -> tuple[str, str]:
    """Unit of a power by what stands behind its values, by its name and range, and why."""
    if DIMENSIONS.get(one.said_unit) == "share":
        return one.said_unit, who_says(one)
    if one.all_words & PERCENT_WORDS:
        return "percent", "named as percent"
    if one.all_words & PERMILLE_WORDS:
        return "permille", "named as parts of a thousand"
    if one.high > 255.0:
        return "permille", f"up to {one.high:.4g}: parts of a thousand"
    if one.high > 100.5 or (one.all_words & {"pwm", "byte"} and one.high > 1.0 and one.is_whole):
        return ("byte", f"whole numbers up to {one.high:.4g}") if one.is_whole else ("permille", "")
    if one.high > 1.0:
        return "percent", f"up to {one.high:.3g}, so percent"
    return "", ""


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
    return any(isinstance(step, Keyed) and step.key == place[-1] for step in place)


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
            for one in _meant(unit, numbers, leaves):
                one.beside = unit_named(unit.last)
        for other in row:
            if _says_another_unit(other):
                for one in _meant(other, numbers, leaves):
                    one.beside = one.beside or OTHER


def _says_another_unit(one: Series) -> bool:
    """Whether a cell for units says one that is none of ours, such as V."""
    is_cell = one.is_text and one.distinct == 1 and bool({*one.words[-1]} & UNIT_KEYS)
    return is_cell and not unit_named(one.last) and 0 < len(str(one.last)) <= MAX_UNIT


def _meant(
    unit: Series, numbers: Sequence[Series], leaves: Mapping[Place, Series]
) -> Sequence[Series]:
    """The numbers of the row that a unit is of, or those of a list in it."""
    at = text_of(unit.place[-1])
    if at.isdigit() and len(numbers) > 1:
        return [one for one in numbers if text_of(one.place[-1]) == str(int(at) - 1)]
    says, level = words(at), len(unit.place)
    about = tuple(word for word in says if word not in UNIT_KEYS)

    def is_named(place: Place) -> bool:
        name = words(text_of(place[level - 1])) if place[: level - 1] == unit.place[:-1] else ()
        return 0 < len(name) < len(says) and name in (about, says[: len(name)])

    inside = [one for place, one in leaves.items() if len(place) >= level and one.is_number]
    if named := [one for one in inside if is_named(one.place)]:
        return named
    # A name that says a unit, such as mm_min, is its own.
    own = [one for one in numbers if any(map(unit_named, one.words[-1]))]
    return numbers if len(numbers) == 1 and not own else []
