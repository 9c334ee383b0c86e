"""The channels of a host: what the user says stands where, and what is found in the rest."""

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from client.learn import others
from client.learn.answers import LEAVE_OUT, Answers, Ours
from client.learn.clocks import uptime
from client.learn.found import Mapped, Proposal
from client.learn.naming import named_fans, named_groups
from client.learn.parts import as_said, channels_in
from client.learn.series import Series
from client.learn.tree import Place
from client.learn.vocabulary import words
from shared.errors import BadInput

HOST = "host"


class Found(NamedTuple):
    """Channels but for the host's state; what may be that, the likeliest first; and what was to be
    left out and was not there."""

    channels: list[Proposal]
    states: list[Mapped]
    unmet: list[str]


class Said:
    """What the user says of leaves by their places."""

    def __init__(self, answers: Answers, leaves: Mapping[Place, Series]) -> None:
        self._leaves = leaves
        self._ours = {
            place: ours
            for place, one in leaves.items()
            if (ours := answers.at(one.stands_at)) is not None and not ours.is_clock
        }
        for place, ours in self._ours.items():
            leaves[place].beside = ours.unit or leaves[place].beside
        self.readings = {
            place: self._with(ours.channel)
            for place, ours in self._ours.items()
            if _is_reading(ours)
        }
        """Places of readings, with what goes with each."""

    @property
    def channels(self) -> set[str]:
        return {ours.channel for ours in self._ours.values()}

    @property
    def free(self) -> dict[Place, Series]:
        """Leaves of which nothing is said."""
        return {place: one for place, one in self._leaves.items() if place not in self._ours}

    @property
    def has_position(self) -> bool:
        """Whether a coordinate is said: who knows where x stands knows y and z too."""
        return any(ours.quantity.endswith("_mm") for ours in self._ours.values())

    def _with(self, channel: str) -> dict[str, Mapped]:
        return {
            ours.quantity: as_said(self._leaves[place], ours, None)
            for place, ours in self._ours.items()
            if ours.channel == channel and not _is_reading(ours)
        }

    def complete(self, found: Found) -> None:
        """Add what is said and was not found with a reading."""
        for place in self._ours.keys() - self.readings.keys():
            ours, one = self._ours[place], self._leaves[place]
            if ours.quantity == "state":
                found.states.insert(0, as_said(one, ours, None))
            elif ours.channel != LEAVE_OUT:
                channel = _called(found.channels, ours.channel)
                reading = channel.parts.get("temperature_c")
                channel.parts[ours.quantity] = as_said(one, ours, reading)


def found_in(leaves: Mapping[Place, Series], clocks: set[Place], answers: Answers) -> Found:
    """Channels and states among the leaves; `clocks` are places of clocks.

    BadInput where an answer is about something that was not heard.
    """
    said = Said(answers, leaves)
    free, taken = said.free, set(clocks)
    around = _around(free, taken, said)
    readings = {place: leaves[place] for place in said.readings}
    groups = channels_in({**free, **readings}, taken, said.readings)
    taken |= {part.series.place for group in groups for part in group.parts.values()}
    taken |= {group.place for group in groups}
    channels = [*named_groups(groups, leaves, answers), *around]
    names = [name for channel in channels for name in (channel.name, channel.theirs) if name]
    states = [
        one for one in others.states(free, taken, answers.words) if not _is_name(one.series, names)
    ]
    message = others.message(free, taken | {one.series.place for one in states[:1]})
    if message is not None:
        channels.append(Proposal(HOST, {"message": message}))
        names.append(HOST)
    unmet = answers.check(names, [one.stands_at for one in leaves.values()])
    found = Found(_renamed(channels, answers), states, unmet)
    said.complete(found)
    return found


def _around(free: Mapping[Place, Series], taken: set[Place], said: Said) -> list[Proposal]:
    """What is no sensor's: motion, fans, the controller. Their places are then taken."""
    axes = [] if said.has_position else others.motion(free)
    taken |= {found.series.place for found in axes}
    fans = others.fans(free, taken)
    running = uptime(free, {found.series.place for found in axes})
    moving = {found.quantity: found for found in [*axes, *others.speeds(free, axes)]}
    channels = [Proposal("motion", moving)] if moving else []
    channels += named_fans(fans, said.channels)
    if running is not None:
        channels.append(Proposal("controller", {"uptime_s": running}))
    taken |= {part.series.place for channel in channels for part in channel.parts.values()}
    return channels


def _is_reading(ours: Ours) -> bool:
    return ours.channel != LEAVE_OUT and (ours.is_reading or not ours.quantity)


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


def _is_name(one: Series, names: Sequence[str]) -> bool:
    """Whether a text says what a channel is called, and never anything else."""
    said = set(words(str(one.last)))
    is_called = any(set(words(name)) <= said for name in names if words(name))
    return one.is_text and one.distinct == 1 and is_called
