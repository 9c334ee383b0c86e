"""The proposal: sources, clocks, channels and what each leaf was taken for."""

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from client.form import Request
from client.learn import chains
from client.learn.answers import NONE, Answers
from client.learn.channels import HOST, found_in
from client.learn.clocks import Clock, clock_in, clock_like, clock_said
from client.learn.found import Mapped, Proposal
from client.learn.gather import Gatherer
from client.learn.relations import refer
from client.learn.series import Series
from client.learn.sources import Source
from client.learn.tree import Place, in_steps
from client.learn.units import is_own_name, says_a_unit
from client.learn.vocabulary import state_of
from client.values import word_of
from shared.text import clean
from shared.words import HostState

MAX_UNKNOWN = 50
MAX_LEAVES = 600
"""Leaves that are compared with each other."""


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
    unmet: list[str] = field(default_factory=list)
    """What the user wants left out and was not there."""
    unproven: list[str] = field(default_factory=list)
    """`CHANNEL.QUANTITY` that looked right, and gave no value when they were read back."""
    ended: str = ""
    """Why the link was lost, if it was."""

    @property
    def rules(self) -> dict[str, str]:
        """What a part of a message means, by what the user said of it: phrases, and all words where
        no place was found for the state."""
        heard = self._state_words
        return {
            said: means
            for said, means in self.told.items()
            if said not in heard and (" " in said or not heard)
        }

    @property
    def patterns(self) -> dict[str, str]:
        """What a part of the state's text means, by what the user said: words that were not heard
        as a whole."""
        state = next((c.parts["state"] for c in self.channels if "state" in c.parts), None)
        if state is None or not state.series.is_text:
            return {}
        heard = self._state_words
        parts = {
            said: means
            for said, means in self.told.items()
            if said not in heard and said not in self.rules and _may_be_part(said, means, heard)
        }
        # Of a text that two of them fit, the one that stops the machine counts.
        return dict(sorted(parts.items(), key=lambda part: part[1] in _RUNS))

    @property
    def _state_words(self) -> dict[str, None]:
        """What was heard where the state stands."""
        state = next((c.parts["state"] for c in self.channels if "state" in c.parts), None)
        return {} if state is None else dict.fromkeys(map(word_of, state.series.values))

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
        parts = [part.lower() for part in (*self.rules, *self.patterns)]
        told = {word: means for word, means in self.told.items() if word.lower() not in parts}
        self.words = {
            word: state_of(word)
            for word in self._state_words
            if clean(word) == word and not any(part in word.lower() for part in parts)
        }
        self.words.update(told)


def proposed(
    gatherer: Gatherer,
    requests: Sequence[Request] = (),
    timed: bool = True,
    answers: Answers = NONE,
) -> Draft:
    """Propose a profile for what a gatherer has heard. `timed`: whether own times were really
    measured. BadInput where an answer is about something that was not heard."""
    sources = gatherer.sources()
    for source in sources:
        answers = answers.by_rows(source.status, source.rows)
    clocks = _clocks(sources, timed, answers)
    leaves, clock_places = _merged(sources, clocks, answers)
    refer(leaves)
    there = [one.stands_at for one in leaves.values()]
    answers = answers.within((source.status for source in sources), there)
    channels, states, unmet = found_in(leaves, clock_places, answers)
    _share_off_words(channels)
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
        unmet=unmet,
    )
    draft.take_state(likeliest)
    return draft


_RUNS = {HostState.UP, HostState.STARTING}


def _may_be_part(said: str, means: str, heard: Iterable[str]) -> bool:
    """Whether a text that holds this means it: that it runs only where one like it was heard."""
    return means not in _RUNS or any(word.lower().startswith(said.lower()) for word in heard)


def _share_off_words(channels: Sequence[Proposal]) -> None:
    """One heater's word for no target is that of all."""
    targets = [c.parts["target_c"] for c in channels if "target_c" in c.parts]
    off = {word: "0" for target in targets for word in target.words if target.words[word] == "0"}
    for target in targets:
        if target.series.is_text_number:
            target.words = off | target.words


def _clocks(sources: Sequence[Source], timed: bool, answers: Answers) -> dict[int, Clock]:
    """Clocks by source, all of one kind: those of others must fit that of the richest."""
    clocks: dict[int, Clock] = {}
    first: Clock | None = None
    for n, source in enumerate(sources):
        clock = (
            clock_said(source, answers.clock_unit) or clock_in(source, timed, answers.deny_clock)
            if first is None
            else clock_like(source, first)
        )
        if clock is not None and not answers.deny_clock(clock.place):
            clocks[n] = clock
            first = first or clock
    answers.check_clock(clock.place for clock in clocks.values())
    return clocks


def _merged(
    sources: Sequence[Source], clocks: Mapping[int, Clock], answers: Answers
) -> tuple[dict[Place, Series], set[Place]]:
    """Leaves of all sources by place from the status on, and the places of clocks among them."""
    merged: dict[Place, Series] = {}
    bare: dict[Place, Place] = {}
    clock_places: set[Place] = set()
    for n, source in enumerate(sources):
        cut = 0 if source.under else len(source.status)
        bare |= _without_holder(source)
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
        steps = in_steps(bare.get(place, place))
        if steps != place and steps not in merged and steps not in kept:
            one.place, one.at = steps, place
        kept[one.place] = one
    return kept, {place for place, one in kept.items() if one.stands_at in clock_places}


def _without_holder(source: Source) -> dict[Place, Place]:
    """Places under names without the one member, such as `payload`, that holds all there is."""
    at = len(source.under)
    holders = {place[at] for place in source.leaves if len(place) > at}
    if not at or len(holders) != 1:
        return {}
    return {place: (*place[:at], *place[at + 1 :]) for place in source.leaves}


def _is_at(source: Source, place: Place, clock: Place) -> bool:
    if not source.under:
        return place == clock
    rest = place[len(source.under) :]
    return (*source.status, *rest) == clock or rest == clock


def _is_telling(one: Series) -> bool:
    """Whether a person may want to know that it was taken for nothing: no unit, no item's name."""
    is_word = one.is_text or one.is_bool
    return one.is_number or (is_word and not says_a_unit(one) and not is_own_name(one.place))


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
