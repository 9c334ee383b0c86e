"""What channels are called: as the user says, else as is common, else as the host calls them."""

from collections.abc import Collection, Mapping, Sequence

from client.learn import units
from client.learn.answers import MAX_NAME, Answers
from client.learn.found import Group, Mapped, Proposal
from client.learn.series import Series
from client.learn.tree import Keyed, Place, path_of, text_of
from client.learn.units import is_label, says_a_unit
from client.learn.vocabulary import (
    NAME_WORDS,
    NAMES,
    PART_WORDS,
    QUANTITY_WORDS,
    WEAK_TEMPERATURE,
    channel_word,
    state_of,
    words,
)
from shared.text import clean

_HOT_C = 130.0
"""Beyond this only a nozzle is ever heated."""


def named_groups(
    groups: Sequence[Group], leaves: Mapping[Place, Series], answers: Answers
) -> list[Proposal]:
    """Channels of sensors, each with a name of its own."""
    theirs = [_host_name(group, groups, leaves) for group in groups]
    told = [answers.at(group.anchor.series.stands_at) for group in groups]
    ours = [
        channel_word(words(name)) if said is None else said.channel
        for name, said in zip(theirs, told, strict=True)
    ]
    reserved = {said.channel for said in told if said is not None} - set(theirs)
    proposals: list[Proposal] = []
    hottest = _hottest(groups)
    for n, group in enumerate(groups):
        word, name = ours[n], theirs[n]
        why = f"the host says '{name}'" if name else ""
        said = told[n]
        if said is not None:
            chosen = said.channel
        elif word is not None and ours.count(word) == 1:
            chosen = word
        elif group is hottest and "nozzle" not in ours and word is None:
            chosen = "nozzle"
            why = (why + "; " if why else "") + "the hottest, and hotter than a bed gets"
        else:
            chosen = name
        chosen = clean(chosen, MAX_NAME) or f"sensor {n}"
        while said is None and (chosen in reserved or any(o.name == chosen for o in proposals)):
            chosen = clean(f"{chosen} {n}", MAX_NAME)
        parts = {"temperature_c": group.anchor, **group.parts}
        proposals.append(Proposal(chosen, parts, why, name, path_of(group.anchor.series.stands_at)))
    return proposals


def _hottest(groups: Sequence[Group]) -> Group | None:
    """The one group that gets hotter than anything but a nozzle, if it is one alone."""
    hot = []
    for group in groups:
        tops = [group.anchor.series.numbers.max(keepdims=True)]
        if "target_c" in group.parts:
            tops.append(group.parts["target_c"].series.numbers.max(keepdims=True))
        unit = group.anchor.unit or "celsius"
        if max(float(units.celsius(top, unit)[0]) for top in tops) > _HOT_C:
            hot.append(group)
    return hot[0] if len(hot) == 1 else None


def _host_name(group: Group, groups: Sequence[Group], leaves: Mapping[Place, Series]) -> str:
    """What the host calls a channel: the step of its place in which it differs from others."""
    place = group.place
    keyed = [str(token.value) for token in place if isinstance(token, Keyed)]
    rivals = [g.place for g in groups if g is not group]
    label = next((one for one in leaves.values() if _labels(one, place, leaves)), None)
    if label is not None and not keyed:
        return str(label.last)
    if keyed:
        inner = _inner_name(place, rivals)
        return _without_quantity(" ".join(keyed + inner))
    # A step that leads to several channels, as in /heads/left/temp, names none of them.
    shared = [
        n
        for r in rivals
        for n in range(len(place))
        if len(r) == len(place) and r[-1] == place[-1] and r[: n + 1] == place[: n + 1]
    ]
    for at in reversed(range(len(place))):
        token = text_of(place[at])
        is_named = channel_word(group.anchor.series.words[at]) and not token.isdigit()
        if is_named and (at not in shared or at == len(place) - 1):
            return _without_quantity(token)
    for at in range(len(place) - 1, -1, -1):
        same = [
            r
            for r in rivals
            if len(r) == len(place) and r[:at] + r[at + 1 :] == place[:at] + place[at + 1 :]
        ]
        if same:
            token = text_of(place[at])
            return _listed_name(place, at, leaves) if token.isdigit() else _without_quantity(token)
    named = [t for t in map(text_of, place[:-1]) if not t.isdigit()]
    names = [t for t in named if _without_quantity(t) and not _says_only_quantity(t)]
    return names[-1] if names else _without_quantity(text_of(place[-1]))


def _labels(one: Series, place: Place, leaves: Mapping[Place, Series]) -> bool:
    """Whether a text beside a reading says what that is called."""
    beside = one.place[:-1] == place[:-1] and one.is_text and not says_a_unit(one)
    return beside and state_of(str(one.last)) is None and is_label(one, leaves)


def _inner_name(place: Place, rivals: Sequence[Place]) -> list[str]:
    """The step in which a place within a named item differs from others in the same item."""
    items = [token for token in place if isinstance(token, Keyed)]
    for at, token in enumerate(place):
        if isinstance(token, Keyed):
            continue
        for other in rivals:
            same = len(other) == len(place) and [t for t in other if isinstance(t, Keyed)] == items
            if same and other[at] != token and other[:at] == place[:at]:
                return [text_of(token)]
    return []


def _says_only_quantity(name: str) -> bool:
    parts = words(name)
    return all(part in QUANTITY_WORDS or part in WEAK_TEMPERATURE for part in parts)


def _without_quantity(name: str) -> str:
    """`nozzle_temp` → nozzle; a name of nothing but quantities stays as it is."""
    parts = words(name)
    kept = [p for p in parts if p not in QUANTITY_WORDS and p not in WEAK_TEMPERATURE]
    is_id = all(part.isdigit() for part in kept)
    return name if len(kept) == len(parts) or is_id else " ".join(kept)


def _listed_name(place: Place, at: int, leaves: Mapping[Place, Series]) -> str:
    """Name of an index: from an array of texts of that length beside it, else the index."""
    index = int(text_of(place[at]))
    inside = leaves.get((*place[: at + 1], "name"))
    if inside is not None and inside.is_text:
        return str(inside.last)
    for other, one in leaves.items():
        if (
            one.is_texts
            and one.last
            and len(one.last) > index
            and other[:-1] == place[: at - 1 + (at == 0)]
            and one.last_words & (NAME_WORDS | NAMES)
        ):
            return str(one.last[index])
    return f"sensor {index}"


def named_fans(fans: Sequence[Mapped], called: Collection[str]) -> list[Proposal]:
    """Channels of fans: the one on the part is `fan`, unless the user `called` another so."""
    if len(fans) == 1 and "fan" not in called:
        return [Proposal("fan", {"speed": fans[0]})]
    named: list[Proposal] = []
    on_the_part = [found for found in fans if found.series.all_words & PART_WORDS]
    if len(on_the_part) == 1 and "fan" not in called:
        named.append(Proposal("fan", {"speed": on_the_part[0]}, "it blows on the part"))
        fans = [found for found in fans if found is not on_the_part[0]]
    for n, found in enumerate(fans):
        last = [text_of(t) for t in found.series.place if not text_of(t).isdigit()]
        name = clean(" ".join(last[-2:]), MAX_NAME) or f"fan {n}"
        if all(other.name != name for other in named):
            named.append(Proposal(name if "fan" in name else f"fan {name}", {"speed": found}))
    return named
