"""What is told of the link to the host: text under `host.link`.

lost closed: 1012 service restart      the open link ended: how, and in which words
tried refused: connection refused      a try to open it again failed
open                                   it is open again
answers                                the host sends nothing, but answers when asked for a sign
held-up 4.2                            for so many s nothing came, then all at once
late 3.2                               this machine itself was held up, or asleep, for so many s
dropped 120                            so many messages more were dropped here, unread
others 1 of 3                          of so many other hosts watched here, so many were lost too

The client tells it, detectors weigh it, and recordings and plain logs hold it as it is.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

from shared.text import clean

LINK = "host.link"
WORDS = 120


class What(StrEnum):
    """What a telling is of."""

    LOST = "lost"
    TRIED = "tried"
    OPEN = "open"
    ANSWERS = "answers"
    HELD_UP = "held-up"
    LATE = "late"
    DROPPED = "dropped"
    OTHERS = "others"


class How(StrEnum):
    """How a link ended, or why it could not be opened."""

    CLOSED = "closed"
    """The host closed it, in order."""
    BROKEN = "broken"
    """It ended on the host's side without a word, as when a program is killed."""
    RESET = "reset"
    SILENT = "silent"
    """The host gave no sign of life when asked."""
    REFUSED = "refused"
    """A machine answers, and nothing listens there."""
    MUTE = "mute"
    """A machine takes the link, and then says nothing."""
    TIMED_OUT = "timed-out"
    """Nobody answered."""
    NO_WAY = "no-way"
    """No machine of this address or name is found."""
    NO_NETWORK = "no-network"
    """This machine has no network itself."""
    DENIED = "denied"
    """The host does not want us: token, rights, policy."""
    WRONG = "wrong"
    """Something else answers there: another protocol, a redirect, a strange certificate."""
    BUSY = "busy"
    """The host, or what stands before it, says that it cannot serve now."""
    OURS = "ours"
    """We ended it, by a limit of our own."""
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class LinkSaid:
    """One telling, taken apart."""

    what: What
    how: How = How.OTHER
    words: str = ""
    number: float = 0.0
    """Seconds, messages, or hosts that were lost."""
    of: int = 0
    """Other hosts."""


_HOW = re.compile(r"(lost|tried) ([a-z-]+): ?(.*)", re.DOTALL)
_NUMBER = re.compile(r"(held-up|late|dropped) (\d{1,9}(?:\.\d{1,3})?)")
_OTHERS = re.compile(r"others (\d{1,6}) of (\d{1,6})")


def lost(how: How, words: str) -> str:
    """The words for an open link that ended."""
    return f"{What.LOST} {how}: {clean(words, WORDS)}"


def tried(how: How, words: str) -> str:
    """The words for a try that failed."""
    return f"{What.TRIED} {how}: {clean(words, WORDS)}"


def held_up(seconds: float) -> str:
    """The words for messages that came all at once after so long."""
    return f"{What.HELD_UP} {seconds:.1f}"


def late(seconds: float) -> str:
    """The words for this machine's own delay."""
    return f"{What.LATE} {seconds:.1f}"


def dropped(count: int) -> str:
    """The words for messages that were dropped here."""
    return f"{What.DROPPED} {count}"


def others(count: int, of: int) -> str:
    """The words for other hosts that were lost at the same time."""
    return f"{What.OTHERS} {count} of {of}"


def link_said(text: str) -> LinkSaid | None:
    """A telling taken apart; None where the text is none."""
    if text in (What.OPEN, What.ANSWERS):
        return LinkSaid(What(text))
    if found := _HOW.fullmatch(text):
        how = How(found[2]) if found[2] in set(How) else How.OTHER
        return LinkSaid(What(found[1]), how, clean(found[3], WORDS))
    if found := _NUMBER.fullmatch(text):
        return LinkSaid(What(found[1]), number=float(found[2]))
    if found := _OTHERS.fullmatch(text):
        return LinkSaid(What.OTHERS, number=float(found[1]), of=int(found[2]))
    return None
