"""From what was heard to a draft that is proven: it is read back as a watch would read it."""

import math
from collections.abc import Iterable, Sequence
from typing import Any

from client.form import Profile, Request, Token
from client.learn.answers import NONE, Answers
from client.learn.draft import Draft, proposed
from client.learn.found import Mapped
from client.learn.gather import Gatherer
from client.learn.text import TextLink, profile_text, read
from client.mapping import Mapper
from client.proof import Proof
from shared import toml
from shared.text import clean
from shared.updates import Entry, Value

MAX_HEARD = 100
MAX_LATE = 3
"""Names that came first in the second half of what was heard."""


def learn(
    entries: Iterable[Entry],
    requests: Sequence[Request] = (),
    timed: bool = True,
    answers: Answers = NONE,
) -> Draft:
    """Propose a profile for what was heard. `timed`: whether own times were really measured."""
    gatherer = Gatherer(requests)
    for entry in entries:
        gatherer.feed(entry)
    return draft_of(gatherer, requests, timed, answers)


def draft_of(
    gatherer: Gatherer,
    requests: Sequence[Request] = (),
    timed: bool = True,
    answers: Answers = NONE,
) -> Draft:
    """Propose a profile for what a gatherer has heard, of what that profile then reads."""
    draft = proposed(gatherer, requests, timed, answers)
    # Whatever is secret in a request, reading what was heard needs none of it.
    text = profile_text(draft, TextLink(token=Token(env="TOKEN")))
    profile = toml.loads(text, Profile, "draft")
    _keep_what_reads(draft, profile, gatherer.entries)
    draft.heard = _names_heard(profile, [message for _, message in gatherer.heard])
    return draft


def _keep_what_reads(draft: Draft, profile: Profile, entries: Sequence[Entry]) -> None:
    """Leave out what gives no value, and what gives another than the one that is shown for it."""
    proof = Proof(profile)
    for entry in entries:
        proof.feed(entry)
    readings = {reading.key: reading for reading in proof.readings()}
    for channel in draft.channels:
        is_sensor = "temperature_c" in channel.parts
        for quantity, found in list(channel.parts.items()):
            reading = readings[f"{channel.name}.{quantity}"]
            if not reading.count or _differ(reading.last, found):
                del channel.parts[quantity]
                draft.unproven.append(reading.key)
        if is_sensor and "temperature_c" not in channel.parts:
            channel.parts.clear()
    draft.channels = [channel for channel in draft.channels if channel.parts]


def _differ(last: Value | None, found: Mapped) -> bool:
    one = found.series
    is_there = (
        one.is_number and type(last) is float and max(one.null_s, default=0.0) < one.own_s[-1]
    )
    shown = read(found) if is_there else None
    return shown is not None and not math.isclose(float(last or 0.0), shown, abs_tol=1e-9)


def _names_heard(profile: Profile, messages: Sequence[Any]) -> tuple[str, ...]:
    """Names that messages bear; none where new ones keep coming, since one more tells nothing."""
    mapper = Mapper(profile)
    names: dict[str, None] = {}
    late = 0
    for n, message in enumerate(messages):
        fresh = mapper.names_in(message) - names.keys()
        late += len(fresh) * (2 * n > len(messages))
        names |= dict.fromkeys(sorted(fresh))
    is_whole = len(names) <= MAX_HEARD and late <= MAX_LATE
    return tuple(names) if is_whole and all(clean(name) == name for name in names) else ()
