"""A leaf taken for a quantity, and what goes with one temperature."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from client.learn.chains import ChainLink
from client.learn.series import Series
from client.learn.tree import Place, Token, name_at, stand_beside, text_of
from client.learn.vocabulary import POSITION_WORDS, WEAK_TEMPERATURE, quantities_of

_LIMITS = {
    *("max", "min", "limit", "maximum", "minimum", "offset"),
    *("rate", "slope", "derivative", "integral", "gradient", "proportional"),
    *("kp", "ki", "kd"),  # the gains of a PID controller, as textbooks write them
}
"""Words for what bounds or tunes a control loop, or is worked out in it."""


SAID = 99.0
"""Score of what the user says: surer than all that is found."""
MOST_AXES = 6
"""Coordinates that stand together: three of a line and three of a turn each (ISO 841)."""


@dataclass
class Mapped:
    """One leaf taken for a quantity, how sure that is, and why."""

    series: Series
    quantity: str
    score: float
    why: list[str] = field(default_factory=list)
    unit: str = ""
    scale: float = 1.0
    link: ChainLink | None = None
    words: dict[str, str] = field(default_factory=dict)
    """Values that are words of the host's, and ours: "off" = "0"."""
    bits: dict[str, str] = field(default_factory=dict)
    """Bit numbers and the flag words that they stand for."""

    @property
    def reasons(self) -> str:
        """Why it was taken for that, in one line."""
        return "; ".join(dict.fromkeys(each for each in self.why if each))


@dataclass
class Group:
    """A temperature and what goes with it."""

    anchor: Mapped
    parts: dict[str, Mapped] = field(default_factory=dict)

    @property
    def place(self) -> Place:
        return self.anchor.series.place


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


def naming(one: Series, quantity: str) -> str:
    """The step of a place that names the quantity, else the last one."""
    for token, parts in zip(reversed(one.place), reversed(one.words), strict=True):
        if quantity in quantities_of(parts):
            return text_of(token)
    return text_of(one.place[-1])


def is_limit(one: Series) -> bool:
    """Whether a leaf is a limit or a coefficient by its name."""
    own = one.last_words
    return bool(own & _LIMITS)


def is_motion(one: Series, leaves: Mapping[Place, Series]) -> bool:
    """Whether a leaf is a coordinate by the names around it."""
    last: Token = name_at(one.place)
    named = {word for parts in one.words for word in parts}
    if named & POSITION_WORDS:
        return True
    siblings = {text_of(name_at(p)).lower() for p in leaves if stand_beside(p, one.place)}
    # Whatever a machine calls its other axes, one letter beside x and y is one of them; where there
    # are many, they are short names of all sorts of things.
    letters = [name for name in siblings if len(name) == 1 and name.isalpha()]
    own = text_of(last).lower()
    is_letter = len(own) == 1 and own.isalpha() and own not in WEAK_TEMPERATURE
    return is_letter and {"x", "y"} <= siblings and len(letters) <= MOST_AXES
