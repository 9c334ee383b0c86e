"""From what was heard to a draft that is proven: it is read back as a watch would read it."""

from collections.abc import Collection, Iterable, Sequence

from client.form import Profile, Request, Token
from client.learn.draft import Draft, proposed
from client.learn.gather import Gatherer
from client.learn.text import Link, profile_text
from client.proof import Proof
from shared import toml
from shared.updates import Entry


def learn(
    entries: Iterable[Entry],
    requests: Sequence[Request] = (),
    timed: bool = True,
    words: Collection[str] = (),
    paths: Collection[str] = (),
) -> Draft:
    """Propose a profile for what was heard. `timed`: whether own times were really measured.

    `words` are known to be words for a state, `paths` to lead to temperatures.
    """
    gatherer = Gatherer(requests)
    for entry in entries:
        gatherer.feed(entry)
    return draft_of(gatherer, requests, timed, words, paths)


def draft_of(
    gatherer: Gatherer,
    requests: Sequence[Request] = (),
    timed: bool = True,
    words: Collection[str] = (),
    paths: Collection[str] = (),
) -> Draft:
    """Propose a profile for what a gatherer has heard, of what that profile then reads."""
    draft = proposed(gatherer, requests, timed, words, paths)
    _leave_out_what_does_not_read(draft, gatherer.entries)
    return draft


def _leave_out_what_does_not_read(draft: Draft, entries: Sequence[Entry]) -> None:
    # Whatever is secret in a request, reading what was heard needs none of it.
    link = Link(token=Token(env="TOKEN"))
    profile = toml.loads(profile_text(draft, link), Profile, "draft")
    proof = Proof(profile)
    for entry in entries:
        proof.feed(entry)
    silent = {reading.key for reading in proof.readings() if not reading.count}
    for channel in draft.channels:
        names = {f"{channel.name}.{quantity}": quantity for quantity in channel.parts}
        is_sensor = "temperature_c" in channel.parts
        for key in names.keys() & silent:
            del channel.parts[names[key]]
        if is_sensor and "temperature_c" not in channel.parts:
            channel.parts.clear()
    draft.unproven = sorted(silent)
    draft.channels = [channel for channel in draft.channels if channel.parts]
