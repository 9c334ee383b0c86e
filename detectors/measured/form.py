"""The shape of a measured check: rows and marks in, progress and a finding out.

A check knows no clock, screen or socket. It commands nothing: it says what to do, and
sees in the data, or is told by a mark, that it was done.
"""

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass, field

from detectors.diagnosis.answers import Answer
from detectors.measured.bench import Bench
from shared.updates import Update


@dataclass(frozen=True, slots=True)
class Choice:
    """A mark that the person may set by its number."""

    number: int
    words: str
    tally: str = ""
    """What has come of it so far."""
    is_now: bool = False


@dataclass(frozen=True, slots=True)
class CheckFinding:
    """What a check has found: words, numbers, and what the diagnosis is told of it."""

    text: str
    answers: tuple[Answer, ...] = ()
    facts: dict[str, float | str] = field(default_factory=dict)
    is_sure: bool = True
    """False: it says so far only; going on may still change it."""


@dataclass(frozen=True, slots=True)
class Progress:
    """A check at a moment."""

    do: str
    """What the person should do now."""
    choices: tuple[Choice, ...] = ()
    rows: tuple[str, ...] = ()
    asks: str = ""
    """A number to type, in words with its unit; empty when none is needed."""
    ohms: float = math.nan
    breaks: int = 0
    finding: CheckFinding | None = None


class Measured(ABC):
    """A check that the tool measures on one channel while the person does something."""

    title: str
    check: str
    """Name in the catalogue of checks of what the finding answers."""
    caution: str

    def __init__(self, channel: str, bench: Bench) -> None:
        self.channel = channel
        self.bench = bench
        self.breaks = 0
        """Breaks counted since the check began."""

    def feed(self, update: Update) -> bool:
        """Take an update; whether a break began in it."""
        before = self.breaks
        self.bench.feed(update)
        self.take()
        return self.breaks > before

    @abstractmethod
    def take(self) -> None:
        """Look at what the bench holds after an update."""

    def mark(self, number: int) -> None:  # noqa: B027
        """The person chose one of the numbered choices; others are ignored."""

    def tell(self, number: float) -> None:  # noqa: B027
        """The person typed the number that was asked for."""

    @abstractmethod
    def progress(self) -> Progress: ...

    def answer(self, outcome: str, check: str = "") -> Answer:
        return Answer(channel=self.channel, check=check or self.check, outcome=outcome)
