"""Which leaves are what: temperatures first, then what goes with each of them.

Names give a hint, values decide: a measurement flutters, a target stands still and is
followed, a power lies between 0 and 1 (or 100 %) and answers to target minus reading, a
code or a resistance follows its temperature through the platinum curve.
"""

from collections.abc import Collection, Mapping, Sequence

from client.learn import units
from client.learn.found import Group, quantities_of
from client.learn.parts import add_each
from client.learn.series import Series
from client.learn.temperatures import and_alike, temperatures
from client.learn.tree import Place, text_of
from client.learn.vocabulary import UNIT_KEYS


def groups(
    leaves: Mapping[Place, Series], taken: set[Place], given: Collection[str] = ()
) -> list[Group]:
    """Temperatures among the leaves, each with its target, power, code and so on."""
    anchors = temperatures(leaves, taken, given)
    used = {found.series.place for found in anchors}
    sure = [Group(found) for found in anchors]
    add_each(sure, "target_c", leaves, used | taken)
    made = [Group(found) for found in and_alike(leaves, sure, taken)]
    used = {group.place for group in made}
    add_each(made, "target_c", leaves, used | taken)
    _settle_units(made, leaves)
    for quantity in ("code", "resistance_ohm", "power", "flags"):
        used |= {part.series.place for group in made for part in group.parts.values()}
        also = _objects_of_bools(leaves) if quantity == "flags" else {}
        add_each(made, quantity, {**also, **leaves}, used | taken)
    _share_power_unit(made)
    return made


def _objects_of_bools(leaves: Mapping[Place, Series]) -> dict[Place, Series]:
    """Objects of nothing but true and false, at a place named as flags."""
    inside: dict[Place, list[Series]] = {}
    for place, one in leaves.items():
        if len(place) > 1:
            inside.setdefault(place[:-1], []).append(one)
    found = {}
    for place, parts in inside.items():
        whole = Series(place, [0.0], [{text_of(one.place[-1]): one.last for one in parts}])
        if all(one.is_bool for one in parts) and "flags" in quantities_of(whole.last_words):
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
            if found.quantity == "target_c" and own and own != group.anchor.unit:
                found.unit = units.nearer(found.series, own, group.anchor.series, group.anchor.unit)
            found.why.append("" if own else unit.why)
