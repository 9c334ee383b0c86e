"""The proposal: sources, clocks, channels and what each leaf was taken for."""

import itertools
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from client.form import Request
from client.learn import chains, others, units
from client.learn.answers import LEAVE_OUT, MAX_NAME, NONE, Answers
from client.learn.clocks import Clock, clock_in, clock_like, uptime
from client.learn.found import Group, Mapped
from client.learn.gather import Gatherer
from client.learn.parts import as_said, channels_in
from client.learn.relations import refer
from client.learn.series import Series
from client.learn.sources import Source
from client.learn.tree import Keyed, Place, in_steps, path_of, text_of
from client.learn.units import is_label, is_own_name, says_a_unit
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
from client.values import word_of
from shared.errors import BadInput
from shared.text import clean

HOST = "host"
MAX_UNKNOWN = 50
MAX_LEAVES = 600
"""Leaves that are compared with each other."""
_HOT_C = 130.0
"""Beyond this only a nozzle is ever heated."""


@dataclass
class Proposal:
    """A channel: its name, why it is called so, and its quantities."""

    name: str
    parts: dict[str, Mapped] = field(default_factory=dict)
    why: str = ""
    theirs: str = ""
    """What the host calls it."""
    path: str = ""
    """Where its reading stands."""


@dataclass
class Draft:
    """All that was learnt. `channels` may be renamed and `words` completed before writing."""

    sources: list[Source]
    clocks: dict[int, Clock]
    """By index in `sources`."""
    channels: list[Proposal]
    words: dict[str, str | None]
    """The host's state words and ours; None where nothing is known."""
    requests: tuple[Request, ...] = ()
    repeats: bool = False
    """Whether each update repeats everything."""
    messages: int = 0
    longest_gap_s: float = 0.0
    """Longest time between two messages, where times were measured."""
    unknown: list[Series] = field(default_factory=list)
    """Numbers and texts that were taken for nothing."""
    states: list[Mapped] = field(default_factory=list)
    """What may be the host's state, the likeliest first, which is taken until one says another."""
    told: dict[str, str] = field(default_factory=dict)
    """State words and their meaning as the user gave them."""
    heard: tuple[str, ...] = ()
    """Names that the messages bore."""
    unproven: list[str] = field(default_factory=list)
    """`CHANNEL.QUANTITY` that looked right, and gave no value when they were read back."""
    ended: str = ""
    """Why the link was lost, if it was."""

    @property
    def rules(self) -> dict[str, str]:
        """What a part of a message means, by what the user said of it: phrases, and all words where
        no place was found for the state."""
        state = next((c.parts["state"] for c in self.channels if "state" in c.parts), None)
        heard = set(map(word_of, state.series.values)) if state is not None else set()
        return {
            said: means
            for said, means in self.told.items()
            if said not in heard and (" " in said or state is None)
        }

    def take_state(self, chosen: Mapped | None) -> None:
        """Take one of `states` for the host's state, or none, and its words with it."""
        host = next((one for one in self.channels if one.name == HOST), None)
        if host is None:
            host = Proposal(HOST)
            self.channels.append(host)
        host.parts.pop("state", None)
        if chosen is not None:
            host.parts["state"] = chosen
        if not host.parts:
            self.channels.remove(host)
        said = dict.fromkeys(map(word_of, chosen.series.values)) if chosen else {}
        self.words = {word: state_of(word) for word in said if clean(word) == word}
        self.words.update(self.told)


def proposed(
    gatherer: Gatherer,
    requests: Sequence[Request] = (),
    timed: bool = True,
    answers: Answers = NONE,
) -> Draft:
    """Propose a profile for what a gatherer has heard. `timed`: whether own times were really
    measured. BadInput where an answer is about something that was not heard."""
    sources = gatherer.sources()
    clocks = _clocks(sources, timed, answers)
    leaves, clock_places = _merged(sources, clocks, answers)
    refer(leaves)
    there = [one.stands_at for one in leaves.values()]
    answers = answers.within((source.status for source in sources), there)
    channels, states = _channels(leaves, clock_places, answers)
    taken = {f.series.place for channel in channels for f in channel.parts.values()}
    likeliest = states[0] if states and (states[0].score > 0.0 or len(states) == 1) else None
    taken |= {likeliest.series.place} if likeliest is not None else set()
    unknown = [one for place, one in leaves.items() if place not in taken | clock_places]
    draft = Draft(
        sources,
        clocks,
        channels,
        {},
        tuple(requests),
        _repeats(sources),
        gatherer.count,
        gatherer.longest_gap_s if timed else 0.0,
        [one for one in unknown if _is_telling(one)][:MAX_UNKNOWN],
        states,
        {word: means for word, means in answers.words.items() if means},
    )
    draft.take_state(likeliest)
    return draft


def _clocks(sources: Sequence[Source], timed: bool, answers: Answers) -> dict[int, Clock]:
    """Clocks by source, all of one kind: those of others must fit that of the richest."""
    clocks: dict[int, Clock] = {}
    first: Clock | None = None
    for n, source in enumerate(sources):
        clock = (
            clock_in(source, timed, answers.deny_clock)
            if first is None
            else clock_like(source, first)
        )
        if clock is not None and not answers.deny_clock(clock.place):
            clocks[n] = clock
            first = first or clock
    return clocks


def _merged(
    sources: Sequence[Source], clocks: Mapping[int, Clock], answers: Answers
) -> tuple[dict[Place, Series], set[Place]]:
    """Leaves of all sources by place from the status on, and the places of clocks among them."""
    merged: dict[Place, Series] = {}
    clock_places: set[Place] = set()
    for n, source in enumerate(sources):
        cut = 0 if source.under else len(source.status)
        clock = clocks.get(n)
        for place, series in source.leaves.items():
            if clock is not None and _is_at(source, place, clock.place):
                clock_places.add(place[cut:])
                if not clock.is_uptime and not answers.are_about(place):
                    continue
            if not source.under and place[:cut] != source.status:
                continue
            if not place[cut:]:
                continue
            known = merged.setdefault(place[cut:], Series(place[cut:]))
            merged[place[cut:]] = known.merged(series)
    kept: dict[Place, Series] = {}
    for place, one in itertools.islice(merged.items(), MAX_LEAVES):
        steps = in_steps(place)
        if steps != place and steps not in merged and steps not in kept:
            one.place, one.at = steps, place
        kept[one.place] = one
    return kept, {place for place, one in kept.items() if one.stands_at in clock_places}


def _is_at(source: Source, place: Place, clock: Place) -> bool:
    if not source.under:
        return place == clock
    rest = place[len(source.under) :]
    return (*source.status, *rest) == clock or rest == clock


def _channels(
    leaves: Mapping[Place, Series], clock_places: set[Place], answers: Answers
) -> tuple[list[Proposal], list[Mapped]]:
    """Channels but for the host's state, and what may be that."""
    said = {
        place: ours
        for place, one in leaves.items()
        if (ours := answers.at(one.stands_at)) is not None
    }
    for place, ours in said.items():
        leaves[place].beside = ours.unit or leaves[place].beside
    readings = {place for place, ours in said.items() if ours.is_reading or not ours.quantity}
    readings -= {place for place, ours in said.items() if ours.channel == LEAVE_OUT}
    free = {place: one for place, one in leaves.items() if place not in said}
    # Who knows where x stands knows y and z too.
    is_motion_said = any(ours.quantity.endswith("_mm") for ours in said.values())
    axes = [] if is_motion_said else others.motion(free)
    taken = {found.series.place for found in axes} | clock_places
    fans = others.fans(free, taken)
    taken |= {found.series.place for found in fans}
    running = uptime(free, {found.series.place for found in axes})
    if running is not None:
        taken.add(running.series.place)
    speeds = others.speeds(free, axes)
    taken |= {found.series.place for found in speeds}
    told = {place: leaves[place] for place in readings}
    with_it = {
        place: {
            other.quantity: as_said(leaves[at], other, None)
            for at, other in said.items()
            if at not in readings and other.channel == said[place].channel
        }
        for place in readings
    }
    there = [one.stands_at for one in leaves.values()]
    groups = channels_in({**free, **told}, taken, with_it)
    taken |= {f.series.place for g in groups for f in (g.anchor, *g.parts.values())}
    channels = _named_groups(groups, leaves, answers)
    if axes or speeds:
        parts = {found.quantity: found for found in [*axes, *speeds]}
        channels.append(Proposal("motion", parts))
    channels += _named_fans(fans, {ours.channel for ours in said.values()})
    if running is not None:
        channels.append(Proposal("controller", {"uptime_s": running}))
    names = {name.lower() for c in channels for name in (c.name, c.theirs) if name}
    states = [
        one for one in others.states(free, taken, answers.words) if not _is_name(one.series, names)
    ]
    taken |= {found.series.place for found in states[:1]}
    message = others.message(free, taken)
    if message is not None:
        channels.append(Proposal(HOST, {"message": message}))
    answers.check([name for c in channels for name in (c.name, c.theirs) if name], there)
    channels = _renamed(channels, answers)
    for place in said.keys() - readings:
        ours, one = said[place], leaves[place]
        if ours.quantity == "state":
            states.insert(0, as_said(one, ours, None))
        elif ours.channel != LEAVE_OUT:
            channel = _called(channels, ours.channel)
            reading = channel.parts.get("temperature_c")
            channel.parts[ours.quantity] = as_said(one, ours, reading)
    return channels, states


def _called(channels: list[Proposal], name: str) -> Proposal:
    """The channel of a name; a new one where there is none."""
    found = next((channel for channel in channels if channel.name == name), None)
    if found is None:
        found = Proposal(name, why="you said so")
        channels.append(found)
    return found


def _renamed(channels: Iterable[Proposal], answers: Answers) -> list[Proposal]:
    """Channels as the user calls them, without those that are left out."""
    kept: list[Proposal] = []
    for channel in channels:
        said = (answers.called.get(name) for name in (channel.name, channel.theirs) if name)
        ours = next((each for each in said if each is not None), None)
        name = ours.channel if ours is not None else channel.name
        if any(other.name == name for other in kept):
            raise BadInput("--call", f"two channels are called '{name}'", "give each its own name")
        if name != LEAVE_OUT:
            channel.name = name
            kept.append(channel)
    return kept


def _is_name(one: Series, names: Collection[str]) -> bool:
    """Whether a text says what a channel is called, and never anything else."""
    said = set(words(str(one.last)))
    is_called = any(set(words(name)) <= said for name in names if words(name))
    return one.is_text and one.distinct == 1 and is_called


def _is_telling(one: Series) -> bool:
    """Whether a person may want to know that it was taken for nothing: no unit, no item's name."""
    is_word = one.is_text or one.is_bool
    return one.is_number or (is_word and not says_a_unit(one) and not is_own_name(one.place))


def _named_groups(
    groups: Sequence[Group], leaves: Mapping[Place, Series], answers: Answers
) -> list[Proposal]:
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


def _named_fans(fans: Sequence[Mapped], called: Collection[str]) -> list[Proposal]:
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


def _repeats(sources: Sequence[Source]) -> bool:
    """Whether the richest source's messages hold the same leaves each time."""
    if not sources or sources[0].under:
        return False
    main = sources[0]
    counts = [len(one.values) for one in main.leaves.values() if one.is_number]
    return bool(counts) and len(main.heard) >= 3 and min(counts) >= 0.95 * len(main.heard)


def reference_of(found: Mapped) -> tuple[float, int] | None:
    """R_ref / R0 and bits that a code's link to its temperature shows."""
    return None if found.link is None else chains.reference_and_bits(found.link.constant)
