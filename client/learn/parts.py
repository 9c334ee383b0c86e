"""Which leaves are what: temperatures first, then what goes with each of them.

Names give a hint, values decide: a measurement flutters, a target stands still and is
followed, a power lies between 0 and 1 (or 100 %) and answers to target minus reading, a
code or a resistance follows its temperature through the platinum curve.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from types import MappingProxyType

import numpy as np

from client.learn import chains, units
from client.learn.answers import Ours
from client.learn.chains import ChainLink
from client.learn.clocks import PACES
from client.learn.found import SAID, Group, Mapped, is_limit, naming
from client.learn.relations import kinship, linked, marks, repeated, transplanted
from client.learn.series import FULL_SCALES, Series, follows, is_off
from client.learn.temperatures import and_alike, temperatures
from client.learn.tree import Place, text_of
from client.learn.vocabulary import (
    MINUTE_WORDS,
    PERCENT_WORDS,
    UNIT_KEYS,
    WATT_WORDS,
    WORKED_OUT,
    quantities_of,
)
from client.units import DIMENSION_OF, UNITS
from shared.platinum import HIGHEST_C, LOWEST_C
from shared.updates import Floats

NULL = "null"
"""The word for JSON's null in a profile."""
MOST_POWER = 1100.0
"""No share is more, in whatever unit."""
MAX_BITS = 16
LEAST_OFF = 5
IDLE_PART, LEAST_READINGS = 0.1, 3
_LIKE_A_CLOCK = 0.01
"""What runs so near to time is no code, though both rise while it heats."""
BIT_WORDS = {"flag", "flags", "fault", "faults", "alert", "alerts", "alarm", "alarms"}


def add_each(
    made: Sequence[Group], quantity: str, leaves: Mapping[Place, Series], used: set[Place]
) -> None:
    """Find a quantity for each group: by evidence, the surest first, then where it stands in the
    others."""
    fit = [
        (n, found)
        for n, group in enumerate(made)
        for found in _candidates(group, quantity, made, leaves, used)
    ]
    bonus = repeated([(made[n].place, found.series.place) for n, found in fit])
    for (_, found), more in zip(fit, bonus, strict=True):
        found.score += more
    for n, found in sorted(fit, key=lambda each: -each[1].score):
        if quantity not in made[n].parts and found.series.place not in used:
            used.add(found.series.place)
            made[n].parts[quantity] = found
    models = [group for group in made if quantity in group.parts]
    for group in made:
        if quantity in group.parts:
            continue
        for model in models:
            place = transplanted(model.place, model.parts[quantity].series.place, group.place)
            one = leaves.get(place) if place is not None and place not in used else None
            like = model.parts[quantity]
            if one is not None and (one.is_number or one.is_bool or quantity == "flags"):
                words = like.words | _words_for_off(one, quantity)
                why = ["stands as in the other channels"]
                found = Mapped(one, quantity, 1.0, why, like.unit, words=words, bits=like.bits)
                if quantity == "power" and not 0.0 <= one.low <= one.high <= MOST_POWER:
                    continue
                group.parts[quantity] = found
                used.add(one.place)
                break


def _candidates(
    group: Group,
    quantity: str,
    every: Sequence[Group],
    leaves: Mapping[Place, Series],
    used: set[Place],
) -> Iterator[Mapped]:
    """Leaves that may be a group's quantity and are nearest to it."""
    anchor = group.anchor.series
    own = marks(anchor)
    others = {word for each in every if each is not group for word in marks(each.anchor.series)}
    for place, one in leaves.items():
        if place in used or place == anchor.place:
            continue
        said = marks(one)
        if said & (others - own) and not said & (own - others):
            continue  # It bears another's name.
        near = kinship(anchor, one)
        rival = max((kinship(g.anchor.series, one) for g in every if g is not group), default=0.0)
        if near < 0.7 or rival > near + 0.1:
            continue
        found = _judged(group, one, quantity)
        if found is not None:
            found.score += 0.5 * near
            yield found


def _judged(group: Group, one: Series, quantity: str) -> Mapped | None:
    # A name that the unit contradicts says nothing: a demand of 50 % is no target.
    named = {name for name in quantities_of(one.last_words) if one.can_be(name)}
    if not named and not (isinstance(one.place[-1], str) and len(one.place[-1]) > 2):
        named = {q for parts in one.words for q in quantities_of(parts)} - {"temperature_c"}
    by_place = quantity in named or (
        not named and quantity in {q for parts in one.words for q in quantities_of(parts)}
    )
    if quantity == "flags":
        return _flags(one, by_place)
    if quantity == "power" and one.is_bool and quantity in named:
        return _switch(one)
    if not one.is_number or is_limit(one) or not one.can_be(quantity):
        return None
    why = [f"named '{naming(one, quantity)}'"] if by_place else []
    found = Mapped(one, quantity, 2.0 if by_place else 0.0, why)
    # A pair under one name is a reading and its target.
    if named - ({"temperature_c"} if quantity == "target_c" else set()) and not by_place:
        return None
    if quantity == "target_c" and not by_place and one.all_words & WORKED_OUT:
        return None
    judge = {"target_c": _target, "power": _power, "code": _code, "resistance_ohm": _ohms}[quantity]
    judge(group, found)
    # The unit alone is no evidence: a limit is in degrees too, and a share may be of anything.
    found.score += 0.5 * bool(one.said_unit)
    found.words = _words_for_off(one, quantity)
    return found if found.score >= 1.0 else None


def _words_for_off(one: Series, quantity: str) -> dict[str, str]:
    """Where there is no number, nothing is wanted and nothing is given."""
    if quantity not in ("target_c", "power"):
        return {}
    # A text may be a word as well; none of these was heard.
    likely = ("off", "none", "-") if one.is_text_number and quantity == "target_c" else ()
    # Its own word for no target is taken for off; what one of a power means may as well be all.
    own = [word for word in one.off_words if quantity == "target_c" or is_off(word)]
    return dict.fromkeys((*own, *likely, NULL), "0")


def _switch(one: Series) -> Mapped:
    """A heater that is on or off."""
    why = [f"named '{naming(one, 'power')}'", "true while it heats"]
    return Mapped(one, "power", 2.0, why, words={"true": "1", "false": "0"})


def as_said(one: Series, ours: Ours, reading: Mapped | None) -> Mapped:
    """What stands at a place, as the user says; `reading` is that of its channel."""
    quantity = ours.quantity
    unit = one.said_unit if one.can_be(quantity) else ""
    found = Mapped(one, quantity, SAID, ["you said so"], unit, ours.scale)
    if quantity == "flags":
        found = _flags(one, True) or found
        if one.is_whole and not found.bits:
            found.bits = _bits(int(max(one.high, 0.0)))
    elif one.is_bool and quantity == "power":
        found.words = _switch(one).words
    else:
        found.words = _words_for_off(one, quantity)
    if found.scale != 1.0:
        return found
    if not found.unit and quantity in ("power", "speed"):
        found.unit, why = units.of_power(one)
        found.why.append(why)
    if not found.unit and DIMENSION_OF.get(quantity) == "speed" and one.all_words & MINUTE_WORDS:
        found.unit = "mm/min"
    if not found.unit and quantity == "target_c" and reading is not None:
        found.unit = reading.unit
    if reading is not None and quantity in ("code", "resistance_ohm"):
        found.link = _linked_to(Group(reading), one)
    return found


def _flags(one: Series, by_place: bool) -> Mapped | None:
    if not by_place:
        return None
    why = [f"named '{naming(one, 'flags')}'"]
    if one.is_text or one.is_texts or one.is_object:
        return Mapped(one, "flags", 2.0, why)
    if one.is_bool:
        if _is_mostly_so(one):
            return None
        return Mapped(one, "flags", 1.8, why, words={"true": naming(one, "flags")})
    top = int(one.high) if one.is_number and one.is_whole and one.low >= 0.0 else -1
    # A number named as an error may be a difference, or a count of errors.
    if 0 <= top < 1 << MAX_BITS and one.last_words & BIT_WORDS and one.distinct <= MAX_BITS:
        why.append("its bits are flags: write what each means")
        return Mapped(one, "flags", 1.5, why, bits=_bits(top))
    return None


def _bits(top: int) -> dict[str, str]:
    return {str(n): f"bit {n}" for n in range(max(8, top.bit_length()))}


def _target(group: Group, found: Mapped) -> None:
    one, anchor = found.series, group.anchor.series
    score = follows(anchor, one)
    if score:
        found.score += 1.6 * score - 0.15 * one.is_full_scale
        found.why.append("the reading follows it")
    if one.flutters and not score:
        found.score -= 2.5
    if one.low < -20.0 or one.high > max(1500.0, 20.0 * anchor.high):
        found.score -= 3.0


def _power(group: Group, found: Mapped) -> None:
    one = found.series
    target = group.parts.get("target_c")
    if one.low < 0.0 or one.high > MOST_POWER:
        found.score -= 3.0
        return
    is_named = found.score >= 2.0
    if one.all_words & WATT_WORDS or (target is None and not is_named):
        found.score = 0.0
        return
    found.unit, why = units.of_power(one)
    if one.high <= 1.0 and one.distinct >= 3:
        found.score += 1.0
        found.why.append("between 0 and 1")
    elif why:
        found.why.append(why)
    goes_on = one.is_whole and one.low > 0.0 and one.moves_little
    is_count = goes_on and bool(np.all(np.diff(one.numbers) >= 0.0))
    if one.is_rising or is_count or one.high * UNITS[found.unit][0] > 1.05:
        found.score -= 3.0
    if target is not None and _is_all_in(one, group.anchor.series, target.series):
        found.score += 1.0
        found.why.append("all of it while the reading is far from its target")
    if target is None or one.distinct < 2:
        return
    if found.unit == "percent" and one.all_words & PERCENT_WORDS:
        found.score += 0.5
    aims = target.series.aims_at(one.times)
    away = aims - group.anchor.series.held_at(one.times)
    on = aims > 0.0
    heat = one.numbers
    if together := _moves_with(heat[on], away[on]):
        # Of two heaters both go down as they arrive; its own goes with it best.
        found.score += 1.0 + 0.5 * together
        found.why.append("moves with target minus reading")
    off = ~on
    if off.sum() >= LEAST_OFF and float(np.median(heat[off])) > 0.0 and not is_named:
        found.score -= 2.0  # What is given while nothing is wanted heats something else.
    if on.any() and off.any() and heat[off].max() == 0.0 < heat[on].min():
        # A number of 0 and 1 alone may say that something is switched on, or which of two.
        found.score += 0.5 if one.high <= 1.0 and one.is_whole else 0.8
        found.score += 0.3 * one.is_full_scale
        found.why.append("0 while the target is 0, and never while it is not")


def _is_all_in(one: Series, reading: Series, target: Series) -> bool:
    """Whether it is the whole of a share all the time, which heats a reading that is far from its
    target. A whole 1 may be anything, and is none."""
    is_whole = one.low == one.high in FULL_SCALES and (one.high > 1.0 or type(one.last) is float)
    away = target.high - reading.numbers
    return is_whole and len(away) > 3 and bool(np.median(away) > 0.05 * target.high)


def _moves_with(heat: Floats, away: Floats) -> float:
    """How well two go together, at once or one update later, as the controller acts on what it
    read; 0 where that may be chance."""
    best = 0.0
    for a, b in ((heat, away), (heat[1:], away[:-1])):
        if len(a) >= 4 and np.std(a) > 0.0 and np.std(b) > 0.0:
            together = float(np.corrcoef(a, b)[0, 1])
            if together > max(0.3, 3.0 / np.sqrt(len(a))):
                best = max(best, together)
    return best


def _code(group: Group, found: Mapped) -> None:
    one = found.series
    runs = one.counts or any(one.runs_at(pace, _LIKE_A_CLOCK) for pace in PACES)
    if not one.is_whole or one.high < 100.0 or runs:
        found.score -= 3.0
        return
    link = _linked_to(group, one)
    if found.score < 2.0 and link is not None and not link.is_seen:
        return
    if link is not None and chains.r0_of(link.constant) is None:
        found.link = link
        found.score += 2.0
        found.why.append("follows the reading through the platinum curve")
    elif link is None and found.score < 2.0:
        found.score = 0.0


def _ohms(group: Group, found: Mapped) -> None:
    one = found.series
    link = _linked_to(group, one)
    r0 = None if link is None else chains.r0_of(link.constant)
    if r0 is not None:
        found.link = link
        found.score += 2.5
        found.why.append(f"is what a Pt{r0:.0f} has at this reading")
        found.unit = "ohm"


def _linked_to(group: Group, one: Series) -> ChainLink | None:
    return linked(group.anchor.series, one, (group.anchor.unit or "celsius",))


def channels_in(
    leaves: Mapping[Place, Series],
    taken: set[Place],
    said: Mapping[Place, Mapping[str, Mapped]] = MappingProxyType({}),
) -> list[Group]:
    """Temperatures among the leaves, each with its target, power, code and so on; `said` are
    places of some, with what the user says goes with them."""
    anchors = temperatures(leaves, taken, said)
    used = {found.series.place for found in anchors}
    sure = [Group(found, dict(said.get(found.series.place, {}))) for found in anchors]
    add_each(sure, "target_c", leaves, used | taken)
    alike = and_alike(leaves, sure, taken)
    made = [Group(found, dict(said.get(found.series.place, {}))) for found in alike]
    used = {group.place for group in made}
    add_each(made, "target_c", leaves, used | taken)
    known = {group.place for group in sure}
    _settle_units(made, leaves, known)
    made = [group for group in made if _may_be_heat(group.anchor)]
    for quantity in ("code", "resistance_ohm", "power", "flags"):
        used |= {part.series.place for group in made for part in group.parts.values()}
        also = _objects_of_bools(leaves) if quantity == "flags" else {}
        add_each(made, quantity, {**also, **leaves}, used | taken)
    _share_power_unit(made)
    for group in made:
        if _is_refuted(group):
            del group.parts["target_c"]
    return made


def _is_refuted(group: Group) -> bool:
    """Whether no power at all was given while the reading was far below what only seemed to be its
    target: a limit, say."""
    target, power = group.parts.get("target_c"), group.parts.get("power")
    if target is None or power is None or any(why.startswith("named") for why in target.why):
        return False
    aims = target.series.aims_at(power.series.times)
    away = aims - group.anchor.series.held_at(power.series.times)
    is_idle = (aims > 0.0) & (away > IDLE_PART * aims) & (power.series.numbers <= 0.0)
    return target.score < SAID and int(is_idle.sum()) >= LEAST_READINGS


def _may_be_heat(found: Mapped) -> bool:
    """Whether most of what was read, in its unit, is on a sensor's curve; what the user says is."""
    numbers = units.celsius(found.series.numbers, found.unit or "celsius")
    return found.score >= SAID or LOWEST_C < float(np.median(numbers)) < HIGHEST_C


def _is_mostly_so(one: Series) -> bool:
    """Whether it is true most of the time: what is so while all is well is no fault."""
    return 2 * one.values.count(True) > len(one.values)


def _objects_of_bools(leaves: Mapping[Place, Series]) -> dict[Place, Series]:
    """Objects of nothing but true and false, at a place named as flags."""
    inside: dict[Place, list[Series]] = {}
    for place, one in leaves.items():
        if len(place) > 1:
            inside.setdefault(place[:-1], []).append(one)
    found = {}
    for place, parts in inside.items():
        if any(one.at for one in parts):
            continue
        whole = Series(place, [0.0], [{text_of(one.place[-1]): one.last for one in parts}])
        are_clear = all(one.is_bool and not _is_mostly_so(one) for one in parts)
        if are_clear and "flags" in quantities_of(whole.last_words):
            found[place] = whole
    return found


def _share_power_unit(made: Sequence[Group]) -> None:
    """A heater that was off all the time has the unit of the others' powers."""
    powers = [group.parts["power"] for group in made if "power" in group.parts]
    unit = next((found.unit for found in powers if found.unit), "")
    for found in powers:
        if not found.unit and unit and found.series.high <= 0.0:
            found.unit = unit
            found.why.append("in the unit of the others")


def _settle_units(
    made: Sequence[Group], leaves: Mapping[Place, Series], known: Collection[Place]
) -> None:
    """Units of readings and targets: said by names, by texts beside them, else by values; `known`
    are places of readings that do not only stand like the others."""
    beside = [
        str(one.last) for one in leaves.values() if one.is_text and one.last_words & UNIT_KEYS
    ]
    rests = [
        (group.anchor.series, group.parts["target_c"].series if "target_c" in group.parts else None)
        for group in made
        if group.place in known
    ]
    told = units.of_texts(beside)
    unit = units.Unit(told, "said beside it") if told else units.of_temperatures(rests)
    for group in made:
        anchor, target = group.anchor, group.parts.get("target_c")
        own = units.said(anchor.series)
        anchor.unit = own or unit.name
        anchor.why.append("" if own else unit.why)
        if target is None:
            continue
        own = units.said(target.series)
        target.unit = own or anchor.unit
        if own and own != anchor.unit:
            target.unit = units.nearer(target.series, own, anchor.series, anchor.unit)
