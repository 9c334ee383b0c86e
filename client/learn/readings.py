"""Which leaves are what: temperatures first, then what goes with each of them.

Names give a hint, values decide: a measurement flutters, a target stands still and is
followed, a power lies between 0 and 1 (or 100 %) and answers to target minus reading, a
code or a resistance follows its temperature through the platinum curve.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from client.learn import chains, units
from client.learn.chains import Link
from client.learn.relations import (
    DEGREES,
    alike,
    follows,
    is_by_leaf,
    is_resistance,
    kinship,
    linked,
    transplanted,
)
from client.learn.series import Series
from client.learn.tree import Place, Token, text_of
from client.learn.vocabulary import (
    AXES,
    CHANNEL_WORDS,
    FAN_WORDS,
    LIMIT_WORDS,
    POSITION_WORDS,
    QUANTITY_WORDS,
    UNIT_KEYS,
    WEAK_TEMPERATURE,
)

MAX_ANCHORS = 64
"""Temperatures that one host may have."""
_ENOUGH = 1.4
_NOT_TEMPERATURES = {"target_c", "power", "code", "resistance_ohm", "speed_mm_s", "uptime_s"}


@dataclass
class Found:
    """One leaf taken for a quantity, how sure that is, and why."""

    series: Series
    quantity: str
    score: float
    why: list[str] = field(default_factory=list)
    unit: str = ""
    link: Link | None = None


@dataclass
class Group:
    """A temperature and what goes with it."""

    anchor: Found
    parts: dict[str, Found] = field(default_factory=dict)

    @property
    def place(self) -> Place:
        return self.anchor.series.place


def groups(leaves: Mapping[Place, Series], taken: set[Place]) -> list[Group]:
    """Temperatures among the leaves, each with its target, power, code and so on."""
    numbers = [one for place, one in leaves.items() if one.is_number and place not in taken]
    numbers = [one for one in numbers if not _is_motion(one, leaves) and not _is_limit(one)]
    plausible = [one for one in numbers if one.low >= -60.0 and one.high <= 1500.0]
    scored = [_temperature(one) for one in plausible]
    anchors = [found for found in scored if found.score >= _ENOUGH]
    anchors += _by_behaviour(scored, anchors, numbers)
    anchors += _alike(scored, anchors)
    anchors = _without_repeats(_without_targets(anchors[:MAX_ANCHORS]))
    used = {found.series.place for found in anchors}
    made = [Group(found) for found in anchors]
    _add_each(made, "target_c", leaves, used | taken)
    _settle_units(made, leaves)
    for quantity in ("code", "resistance_ohm", "power", "flags"):
        used |= {part.series.place for group in made for part in group.parts.values()}
        _add_each(made, quantity, leaves, used | taken)
    powers = [group.parts["power"] for group in made if "power" in group.parts]
    unit = next((found.unit for found in powers if found.unit), "")
    for found in powers:
        if not found.unit and unit and found.series.high <= 0.0:
            found.unit = unit
            found.why.append("in the unit of the others")
    return made


def _add_each(
    made: Sequence[Group], quantity: str, leaves: Mapping[Place, Series], used: set[Place]
) -> None:
    """Find a quantity for each group: by evidence, then where it stands in the others."""
    for group in made:
        _add(group, quantity, made, leaves, used)
    models = [group for group in made if quantity in group.parts]
    for group in made:
        if quantity in group.parts:
            continue
        for model in models:
            place = transplanted(model.place, model.parts[quantity].series.place, group.place)
            one = leaves.get(place) if place is not None and place not in used else None
            if one is not None and (one.is_number or quantity == "flags"):
                unit = model.parts[quantity].unit
                why = ["stands as in the other channels"]
                group.parts[quantity] = Found(one, quantity, 1.0, why, unit)
                used.add(one.place)
                break


def _settle_units(made: Sequence[Group], leaves: Mapping[Place, Series]) -> None:
    """Units of readings and targets: said by names, by texts beside them, else by values."""
    beside = [
        str(one.last) for one in leaves.values() if one.is_text and one.last_words & UNIT_KEYS
    ]
    rests = [
        (group.anchor.series, group.parts["target_c"].series if "target_c" in group.parts else None)
        for group in made
    ]
    told = units.of_texts(beside)
    unit = units.Unit(told, "said beside it") if told else units.of_temperatures(rests)
    for group in made:
        for found in (group.anchor, *group.parts.values()):
            own = units.said(found.series)
            found.unit = own or unit.name
            found.why.append("" if own else unit.why)


def _temperature(one: Series) -> Found:
    """How much a leaf looks like a temperature by itself."""
    found = Found(one, "temperature_c", 0.0)
    own = one.last_words
    named = _quantities(own)
    before = {q for parts in one.words[:-1] for q in _quantities(set(parts))}
    if "temperature_c" in named and not named & {"target_c", "power", "code"}:
        found.score += 2.0
        found.why.append(f"named '{_naming(one, 'temperature_c')}'")
    elif named & _NOT_TEMPERATURES or own & LIMIT_WORDS - WEAK_TEMPERATURE:
        found.score -= 3.0
    elif own & WEAK_TEMPERATURE:
        found.score += 0.7
    if "temperature_c" in before and not named & _NOT_TEMPERATURES:
        found.score += 1.0
    if before & (_NOT_TEMPERATURES - {"speed_mm_s"}) and "temperature_c" not in named:
        found.score -= 2.0
    if one.all_words & CHANNEL_WORDS.keys():
        found.score += 0.4
    if one.all_words & FAN_WORDS:
        found.score -= 2.0
    if one.flutters and not one.is_whole and one.high > 5.0:
        found.score += 0.7
        found.why.append("flutters like a measurement")
    if (
        one.is_rising
        and one.rate is not None
        and any(abs(one.rate / slope - 1.0) < 0.1 for slope in (1.0, 1e3))
    ):
        found.score -= 2.0
    return found


def _quantities(parts: set[str]) -> set[str]:
    return {QUANTITY_WORDS[word] for word in parts if word in QUANTITY_WORDS}


def _by_behaviour(
    scored: Sequence[Found], sure: Sequence[Found], numbers: Sequence[Series]
) -> list[Found]:
    """Leaves without a telling name that another number leads, or that a code follows."""
    more = []
    known = {id(found) for found in sure}
    for found in scored:
        one = found.series
        if id(found) in known or found.score < 0.3 or not one.flutters:
            continue
        near = [other for other in numbers if other is not one and kinship(one, other) >= 0.7]
        best = max((follows(one, other) for other in near), default=0.0)
        if best > 0.5:
            found.score += 1.5 * best
            found.why.append("follows a number beside it that stands still")
        for other in near:
            if other.flutters and linked(one, other, DEGREES) is not None:
                found.score += 2.0
                found.why.append("a number beside it follows it through the platinum curve")
                break
        if found.score >= _ENOUGH:
            more.append(found)
    return more


def _alike(scored: Sequence[Found], sure: Sequence[Found]) -> list[Found]:
    """Leaves at places like those of the sure ones, but for the channel's step."""
    known = {id(found) for found in sure}
    places = [found.series.place for found in sure]
    by_leaf = is_by_leaf(places)
    more = []
    for found in scored:
        if id(found) in known or found.score <= -1.5:
            continue
        if any(alike(place, found.series.place, by_leaf) for place in places):
            found.score = max(found.score + 1.0, _ENOUGH)
            found.why.append("stands like the others")
            more.append(found)
    return more


def _without_targets(anchors: Sequence[Found]) -> list[Found]:
    """Leave out what another candidate follows, resistances, and what stands as they do."""
    sure = [one.series.place for one in anchors if one.score >= 2.0]
    places = [
        goal.series.place
        for goal in anchors
        if not goal.series.flutters
        and not (goal.score >= 2.0 and any(alike(goal.series.place, p, False) for p in sure))
        and any(
            kinship(one.series, goal.series) >= 0.7 and follows(one.series, goal.series) > 0.5
            for one in anchors
            if one is not goal and one.series.flutters
        )
    ]
    places += [
        ohm.series.place
        for ohm in anchors
        if any(
            one is not ohm
            and kinship(one.series, ohm.series) >= 1.0
            and is_resistance(one.series, ohm.series)
            for one in anchors
        )
    ]
    return [
        one
        for one in anchors
        if one.series.place not in places
        and (one.score >= 2.0 or not any(alike(one.series.place, p, False) for p in places))
        and (one.series.flutters or not any(alike(one.series.place, p, False) for p in places))
    ]


def _without_repeats(anchors: Sequence[Found]) -> list[Found]:
    """Of several candidates that are one channel's reading and target alike, the reading."""
    kept: list[Found] = []
    for found in sorted(anchors, key=lambda f: -f.score):
        one = found.series
        rivals = [k for k in kept if kinship(k.series, one) >= 1.0 and _same_step(k.series, one)]
        weak = found.score < 1.9
        if rivals and weak and (not one.flutters or found.score < rivals[0].score - 0.5):
            continue
        kept.append(found)
    return sorted(kept, key=lambda f: _sortable(f.series.place))


def _same_step(a: Series, b: Series) -> bool:
    return a.place[:-1] == b.place[:-1]


def _sortable(place: Place) -> tuple[str, ...]:
    return tuple(text_of(token) for token in place)


def _add(
    group: Group,
    quantity: str,
    every: Sequence[Group],
    leaves: Mapping[Place, Series],
    used: set[Place],
) -> None:
    """Find a quantity's leaf for one group, if a leaf is likely enough and nearest to it."""
    anchor = group.anchor.series
    best: Found | None = None
    for place, one in leaves.items():
        if place in used or place == anchor.place:
            continue
        near = kinship(anchor, one)
        rival = max((kinship(g.anchor.series, one) for g in every if g is not group), default=0.0)
        if near < 0.7 or rival > near + 0.1:
            continue
        found = _judged(group, one, quantity)
        if found is not None:
            found.score += 0.5 * near
            if best is None or found.score > best.score:
                best = found
    if best is not None:
        used.add(best.series.place)
        group.parts[quantity] = best


def _judged(group: Group, one: Series, quantity: str) -> Found | None:
    named = _quantities(one.last_words)
    if not named and not (isinstance(one.place[-1], str) and len(one.place[-1]) > 2):
        named = {q for parts in one.words for q in _quantities(set(parts))} - {"temperature_c"}
    by_place = quantity in named or (
        not named and quantity in {q for parts in one.words for q in _quantities(set(parts))}
    )
    if quantity == "flags":
        return _flags(one, by_place)
    if not one.is_number or _is_limit(one):
        return None
    why = [f"named '{_naming(one, quantity)}'"] if by_place else []
    found = Found(one, quantity, 2.0 if by_place else 0.0, why)
    # A pair under one name is a reading and its target.
    if named - ({"temperature_c"} if quantity == "target_c" else set()) and not by_place:
        return None
    judge = {"target_c": _target, "power": _power, "code": _code, "resistance_ohm": _ohms}[quantity]
    judge(group, found)
    return found if found.score >= 1.0 else None


def _naming(one: Series, quantity: str) -> str:
    for token, parts in zip(reversed(one.place), reversed(one.words), strict=True):
        if quantity in _quantities(set(parts)):
            return text_of(token)
    return text_of(one.place[-1])


def _flags(one: Series, by_place: bool) -> Found | None:
    if not by_place or not (one.is_text or one.is_texts):
        return None
    return Found(one, "flags", 2.0, [f"named '{_naming(one, 'flags')}'"])


def _target(group: Group, found: Found) -> None:
    one, anchor = found.series, group.anchor.series
    score = follows(anchor, one)
    if score:
        found.score += 1.6 * score
        found.why.append("the reading follows it")
    if one.flutters and not score:
        found.score -= 2.5
    if one.low < -20.0 or one.high > 1500.0:
        found.score -= 3.0


def _power(group: Group, found: Found) -> None:
    one = found.series
    target = group.parts.get("target_c")
    if one.low < 0.0 or one.high > 1100.0:
        found.score -= 3.0
        return
    found.unit, why = units.of_power(one)
    if one.high <= 1.0 and one.distinct >= 3:
        found.score += 1.0
        found.why.append("between 0 and 1")
    elif why:
        found.why.append(why)
    if target is None or one.distinct < 3:
        return
    aims = target.series.held_at(one.times)
    away = aims - group.anchor.series.held_at(one.times)
    on = aims > 0.0
    heat = one.numbers
    if on.sum() >= 4 and np.std(heat[on]) > 0.0 and np.std(away[on]) > 0.0:
        together_ = float(np.corrcoef(heat[on], away[on])[0, 1])
        if together_ > 0.3:
            found.score += 1.0
            found.why.append("moves with target minus reading")
    off = ~on
    if on.any() and off.any() and heat[off].max() == 0.0 < heat[on].max():
        found.score += 0.5


def _code(group: Group, found: Found) -> None:
    one = found.series
    if not one.is_whole or one.high < 100.0:
        found.score -= 3.0
        return
    link = _linked_to(group, one)
    if link is not None and chains.r0_of(link.constant) is None:
        found.link = link
        found.score += 2.0
        found.why.append("follows the reading through the platinum curve")
    elif link is None and found.score < 2.0:
        found.score = 0.0


def _ohms(group: Group, found: Found) -> None:
    one = found.series
    link = _linked_to(group, one)
    r0 = None if link is None else chains.r0_of(link.constant)
    if r0 is not None:
        found.link = link
        found.score += 2.5
        found.why.append(f"is what a Pt{r0:.0f} has at this reading")
        found.unit = "ohm"


def _linked_to(group: Group, one: Series) -> Link | None:
    return linked(group.anchor.series, one, (group.anchor.unit or "celsius",))


def _is_limit(one: Series) -> bool:
    own = one.last_words
    return bool(own & {"max", "min", "limit", "maximum", "minimum", "kp", "ki", "kd", "offset"})


def _is_motion(one: Series, leaves: Mapping[Place, Series]) -> bool:
    """Whether a leaf is a coordinate by the names around it."""
    last: Token = one.place[-1]
    named = {word for parts in one.words for word in parts}
    if named & POSITION_WORDS:
        return True
    siblings = {text_of(p[-1]).lower() for p in leaves if p[:-1] == one.place[:-1]}
    return text_of(last).lower() in {*AXES, "e", "a", "b"} and {"x", "y"} <= siblings
