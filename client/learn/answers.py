"""What the user says of a host: what its channels, numbers and words are called here."""

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import msgspec

from client.learn.tree import Place, path_of
from client.units import DIMENSION_OF, DIMENSIONS
from client.values import number_in
from shared.errors import BadInput
from shared.text import clean
from shared.words import QUANTITIES, HostState

MAX_NAME = 60
SHOWN = 12
"""Names that are shown where another was meant."""
LEAVE_OUT = "-"
"""The name of a channel, or of what stands at a path, that is left out."""

CLOCK = "clock"
"""What stands at a path that tells the host's time."""
_CLOCK = re.compile(r"clock(?: +(s|ms|us|ns|iso))?")
_PART = re.compile(rf"(.+)\.({'|'.join(QUANTITIES)})(?: +(\S+))?")


class Ours(NamedTuple):
    """What something of the host's is called here; no quantity where only a channel is named."""

    channel: str
    quantity: str = ""
    unit: str = ""
    scale: float = 1.0
    """By which the host's number is multiplied, such as 1/40 for watts of a heater of 40 W."""

    @property
    def is_clock(self) -> bool:
        return self.channel == CLOCK and not self.quantity

    @property
    def is_reading(self) -> bool:
        return self.quantity == "temperature_c"


class Answers(msgspec.Struct, frozen=True):
    """The host's words and ours."""

    called: dict[str, Ours] = {}
    """By a channel's name as `learn` proposes it, or as the host says, or by a path."""
    words: dict[str, str] = {}
    """State words of the host and what they mean; empty where only that they are some."""

    def at(self, place: Place) -> Ours | None:
        """What stands at a place, if that was said."""
        bare = _bare(path_of(place))
        return self.called.get(bare) or self.called.get(f"/{bare}")

    def are_about(self, place: Place) -> bool:
        """Whether a path that was given ends this place of a whole message."""
        return self._about(place) is not None

    def deny_clock(self, place: Place) -> bool:
        """Whether what stands at this place of a whole message is said to be none; an uptime is."""
        ours = self._about(place)
        return ours is not None and ours.quantity != "uptime_s" and not ours.is_clock

    def clock_unit(self, place: Place) -> str | None:
        """The unit of the clock that is said to stand at a place of a whole message, empty where
        only that is said; None where it is not."""
        ours = self._about(place)
        return ours.unit if ours is not None and ours.is_clock else None

    def _about(self, place: Place) -> Ours | None:
        whole = f"/{_bare(path_of(place))}"
        ends = (path for path in self.called if whole.endswith("/" + _bare(path)))
        return next((self.called[path] for path in ends), None)

    def and_those(self, more: "Answers") -> "Answers":
        """These with more of them."""
        return Answers(self.called | more.called, self.words | more.words)

    def by_rows(self, status: Place, rows: Sequence[tuple[str, int]]) -> "Answers":
        """These, where rows that their first cell names stand at the status and some say a row by
        its number; `rows` are names and numbers of cells."""
        names = dict[str, str]()
        for n, (name, cells) in enumerate(rows):
            for cell in range(1, cells):
                inner = (name, str(cell - 1)) if cells > 2 else (name,)
                names[_bare(path_of((*status, str(n), str(cell))))] = path_of((*status, *inner))
        called = {names.get(_bare(path), path): ours for path, ours in self.called.items()}
        return Answers(called, self.words)

    def within(self, statuses: Iterable[Place], places: Iterable[Place]) -> "Answers":
        """These by paths from the status on, as `learn` shows them, where some begin before it, or
        end above the one value that stands there."""
        there = {_bare(path_of(place)) for place in places}
        begins = [f"{path_of(status)}/" for status in statuses if status]

        def inner(theirs: str, ours: Ours) -> str:
            path = _bare(theirs)
            rests = [path.removeprefix(begin) for begin in begins if path.startswith(begin)]
            if path in there:
                return theirs
            below = [each for each in there if ours.quantity and each.startswith(f"{path}/")]
            found = [rest for rest in rests if rest in there]
            return (found + (below if len(below) == 1 else []) + [theirs])[0]

        called = {inner(theirs, ours): ours for theirs, ours in self.called.items()}
        return Answers(called, self.words)

    def check_clock(self, places: Iterable[Place]) -> None:
        """BadInput where no clock of these places, of whole messages, is the one that was said."""
        found = [place for place in places if self.clock_unit(place) is not None]
        said = next((theirs for theirs, ours in self.called.items() if ours.is_clock), None)
        if said is not None and not found:
            do = "give its path as the host's messages have it"
            raise BadInput("--call", f"nothing stands at '{clean(said)}'", do)

    def check(self, names: Sequence[str], places: Iterable[Place]) -> list[str]:
        """What was to be left out and is not there, for it may have gone with another answer.

        BadInput where anything else is called that is not there; `names` are those of channels.
        """
        paths, unmet = list(map(path_of, places)), list[str]()
        there_is = set(map(_bare, paths))
        for theirs, ours in self.called.items():
            is_part = bool(ours.quantity)
            is_there = _bare(theirs) in there_is or (theirs in names and not is_part)
            if ours.is_clock or is_there:
                continue
            if ours.channel == LEAVE_OUT:
                unmet.append(theirs)
                continue
            what = "nothing stands at" if is_part else "no channel is called"
            near = list(dict.fromkeys(paths if is_part or not names else names))
            more = f" and {len(near) - SHOWN} more" if len(near) > SHOWN else ""
            there = f"there are {clean(', '.join(near[:SHOWN]))}{more}"
            raise BadInput("--call", f"{what} '{clean(theirs)}'", there)
        return unmet


NONE = Answers()


def _bare(path: str) -> str:
    """A path with or without the slash that it may begin with."""
    return path.removeprefix("/")


def answers_in(calls: list[str], words: list[str]) -> Answers:
    """From options such as `A1=nozzle` and `zorbing=up`. BadInput names the option."""
    called = {theirs: _ours(ours) for theirs, ours in _pairs(calls, "--call").items()}
    _no_two(called)
    return Answers(called, _states(_pairs(words, "--word")))


def _ours(text: str) -> Ours:
    """`nozzle`, `nozzle.power`, `nozzle.power byte`, `nozzle.power 0.025` or `-`."""
    if clean(text, MAX_NAME) != text:
        raise BadInput("--call", f"'{clean(text)}' is no name", "use printable characters")
    clock = _CLOCK.fullmatch(text)
    if clock is not None:
        return Ours(CLOCK, "", clock[1] or "")
    found = _PART.fullmatch(text)
    if found is None:
        return Ours(text)
    channel, quantity, unit = found[1], found[2], found[3] or ""
    measured = DIMENSION_OF.get(quantity, "")
    if QUANTITIES[quantity].is_number and (scale := number_in(unit)) is not None:
        return Ours(channel, quantity, "", scale)
    if unit and DIMENSIONS.get(unit) != measured:
        fit = [name for name, dimension in DIMENSIONS.items() if dimension == measured]
        do = f"choose {', '.join(fit)}, or give a factor" if fit else "give none"
        raise BadInput("--call", f"'{clean(unit)}' is no unit of {quantity}", do)
    return Ours(channel, quantity, unit)


def _no_two(called: Mapping[str, Ours]) -> None:
    """BadInput where two readings are called the same, or two numbers the same quantity."""
    seen: set[tuple[str, str]] = set()
    for ours in called.values():
        key = (ours.channel, ours.quantity or "temperature_c")
        if key in seen and ours.channel != LEAVE_OUT:
            name = ours.channel if key[1] == "temperature_c" else ".".join(key)
            raise BadInput("--call", f"two channels are called '{name}'", "give each its own name")
        seen.add(key)


def _states(words: dict[str, str]) -> dict[str, str]:
    for theirs, ours in words.items():
        if ours not in {str(state) for state in HostState}:
            what = f"'{clean(theirs)}={clean(ours)}': '{clean(ours)}' is no state of ours"
            raise BadInput("--word", what, "choose " + ", ".join(HostState))
    return words


def _pairs(given: list[str], option: str) -> dict[str, str]:
    pairs = {}
    for text in given:
        theirs, mark, ours = text.rpartition("=")
        if not mark or not theirs or not ours:
            raise BadInput(option, f"'{clean(text)}' is no THEIRS=OURS", f"write {option} a=b")
        pairs[theirs] = ours.strip()
    return pairs
