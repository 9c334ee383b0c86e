"""What the user knows of a host: what its channels are and what its state words mean."""

import msgspec

from client.learn.draft import MAX_NAME, Draft, Proposal
from shared.errors import BadInput
from shared.text import clean
from shared.words import HostState

LEAVE_OUT = "-"
"""The name of a channel that is left out."""


class Answers(msgspec.Struct, frozen=True):
    """The host's words and ours."""

    channels: dict[str, str] = {}
    """Channels as `learn` proposes them, or as the host says, and what they are called."""
    words: dict[str, str] = {}
    """State words of the host and what they mean."""


def answers_in(calls: list[str], words: list[str]) -> Answers:
    """From options such as `A1=nozzle` and `zorbing=up`. BadInput names the option."""
    found = Answers(_pairs(calls, "--call"), _pairs(words, "--word"))
    for theirs, ours in found.words.items():
        if ours not in {str(state) for state in HostState}:
            what = f"'{clean(theirs)}={clean(ours)}': '{clean(ours)}' is no state of ours"
            raise BadInput("--word", what, "choose " + ", ".join(HostState))
    for ours in found.channels.values():
        if clean(ours, MAX_NAME) != ours:
            raise BadInput("--call", f"'{clean(ours)}' is no name", "use printable characters")
    return found


def answered(draft: Draft, answers: Answers) -> None:
    """Rename a draft's channels and complete its words. BadInput when a channel is not there."""
    known = {name for channel in draft.channels for name in _names(channel)}
    for theirs in answers.channels:
        if theirs not in known:
            there = ", ".join(channel.name for channel in draft.channels)
            raise BadInput(
                "--call", f"no channel is called '{clean(theirs)}'", f"there are {there}"
            )
    kept: list[Proposal] = []
    for channel in draft.channels:
        given = (answers.channels[name] for name in _names(channel) if name in answers.channels)
        ours = next(given, "")
        if ours == LEAVE_OUT:
            continue
        if ours and any(other.name == ours for other in kept):
            raise BadInput("--call", f"two channels are called '{ours}'", "give each its own name")
        channel.name = ours or channel.name
        kept.append(channel)
    names = [channel.name for channel in kept]
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise BadInput("--call", f"two channels are called '{twice}'", "give each its own name")
    draft.channels = kept
    draft.told |= answers.words
    draft.words |= answers.words


def _names(channel: Proposal) -> tuple[str, str, str]:
    """What a channel can be meant by."""
    return channel.name, channel.theirs, channel.path


def _pairs(given: list[str], option: str) -> dict[str, str]:
    pairs = {}
    for text in given:
        theirs, mark, ours = text.rpartition("=")
        if not mark or not theirs or not ours:
            raise BadInput(option, f"'{clean(text)}' is no THEIRS=OURS", f"write {option} a=b")
        pairs[theirs] = ours
    return pairs
