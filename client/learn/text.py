"""A draft as the text of a profile that a person can read, with the reasons as comments."""

from collections.abc import Callable, Iterator, Sequence
from typing import Any

import msgspec

from client.form import DEFAULT_SILENCE_S, Token
from client.framing import Framing
from client.learn import chains
from client.learn.draft import Draft, reference_of
from client.learn.found import Mapped, Proposal
from client.learn.tree import Keyed, Place, pointer_of, text_of
from client.learn.tree import Token as Step
from client.learn.vocabulary import STANDARD_STATES, STATE_WORDS
from client.units import DIMENSION_OF, UNITS
from client.values import number
from shared.text import clean
from shared.words import QUANTITIES

NOT_HEARD = (
    *STANDARD_STATES,
    *("ready", "printing", "starting", "booting", "connecting"),
    *("halted", "shutdown", "error", "fault", "emergency"),
)
"""State words that a profile knows besides those that were heard."""
MAX_WHY = 400
_BARE_KEY = set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_")


class TextLink(msgspec.Struct, frozen=True, kw_only=True):
    """How the host is reached: what the user said, and the framing that was recognised."""

    title: str = ""
    addresses: tuple[str, ...] = ()
    framing: Framing | None = None
    delimiter: int | None = None
    token: Token | None = None
    ca_file: str = ""


def profile_text(draft: Draft, link: TextLink) -> str:
    """The TOML text; it loads as a profile."""
    lines = [*_head(draft, link), *_requests(draft), *_updates(draft)]
    for channel in draft.channels:
        lines += _channel(channel, draft)
    for said, means in draft.rules.items():
        lines += ["", "[[messages]]", f"pattern = {quoted(_literal(said))}  # you said so"]
        lines += [f"state = {quoted(means)}"]
    return "\n".join(lines).rstrip() + "\n"


def quoted(text: str) -> str:
    """A TOML basic string."""
    out = []
    for char in text:
        if char in '"\\':
            out.append("\\" + char)
        elif char.isprintable():
            out.append(char)
        else:
            out.append(f"\\u{ord(char):04X}" if ord(char) < 0x10000 else f"\\U{ord(char):08X}")
    return '"' + "".join(out) + '"'


def key(name: str) -> str:
    """A TOML key, quoted where it must be."""
    return name if name and set(name) <= _BARE_KEY else quoted(name)


def shown(value: Any) -> str:
    """A value as a comment may hold it."""
    if type(value) is float:
        return f"{value:.6g}"
    return clean(str(value), 40)


def _literal(text: str) -> str:
    """A pattern that is found where the text is."""
    return "".join(f"\\{char}" if char in "\\.^$*+?{}[]()|" else char for char in text)


def _part(text: str, means: str) -> str:
    """A pattern of a state's part; "not ready" is not ready."""
    return _literal(text) if means in ("halted", "gone") else f"^{_literal(text)}"


def _head(draft: Draft, link: TextLink) -> Iterator[str]:
    yield f"# Drafted by `ohmvigil learn` from {draft.messages} messages. Change it as you like;"
    yield "# docs/profiles.md explains each key. Comments say why a line was drafted."
    yield "format = 1"
    if link.title:
        yield f"title = {quoted(link.title)}"
    yield f"addresses = [{', '.join(map(quoted, link.addresses))}]"
    if link.framing is not None:
        yield f"framing = {quoted(link.framing)}"
    if link.framing == "delimiter" and link.delimiter is not None:
        yield f"delimiter = {link.delimiter}"
    if link.ca_file:
        yield f"ca_file = {quoted(link.ca_file)}"
    silence_s = 3.0 * draft.longest_gap_s
    if silence_s > DEFAULT_SILENCE_S:
        yield f"silence_s = {silence_s:.1f}  # three times the longest silence that was heard"
    yield f"sends = {quoted('everything' if draft.repeats else 'changes')}"
    unit = next((clock.unit for clock in draft.clocks.values()), "s")
    if unit != "s":
        yield f"clock_unit = {quoted(unit)}"
    if draft.heard:
        yield "# Names that were heard; a message that bears another is told as unreadable."
        yield f"heard = [{', '.join(map(quoted, draft.heard))}]"
    if not draft.clocks:
        yield "# No host clock was found: arrival times are used, which are coarser."
    if link.token is not None:
        yield ""
        yield "[token]"
        for name in ("env", "file", "header", "prefix"):
            value = getattr(link.token, name)
            if value != getattr(Token(), name):
                yield f"{name} = {quoted(value)}"


def _requests(draft: Draft) -> Iterator[str]:
    for request in draft.requests:
        yield ""
        yield "[[requests]]"
        literal = "'" not in request.json and request.json.isprintable()
        yield f"json = '{request.json}'" if literal else f"json = {quoted(request.json)}"
        if not request.envelope:
            yield "envelope = false"
        if request.every_s is not None:
            yield f"every_s = {request.every_s:g}"


def _updates(draft: Draft) -> Iterator[str]:
    # Answers and methods are told apart by name; what fits all messages comes last.
    order = sorted(range(len(draft.sources)), key=lambda n: draft.sources[n].kind == "bare")
    for n in order:
        source = draft.sources[n]
        yield ""
        yield f"# {len(source.heard)} message{'s' if len(source.heard) > 1 else ''}"
        yield "[[updates]]"
        if source.kind == "method":
            yield f"method = {quoted(source.name)}"
        elif source.kind == "answer":
            yield f"answer_to = {quoted(source.name)}"
        elif source.under:
            yield f"has = {quoted(pointer_of(source.under[0]))}"
        yield f"status = {quoted(pointer_of(source.status))}"
        if source.is_paired:
            yield "pairs = true"
        if source.under:
            names = [quoted(pointer_of(place)) for place in source.under]
            under = names[0] if len(names) == 1 else f"[{', '.join(names)}]"
            yield f"under = {under}  # says what it is about"
        if n in draft.clocks:
            clock = draft.clocks[n]
            yield f"clock = {quoted(pointer_of(clock.place))}  # {clock.why}"
    told = {source.status for source in draft.sources if source.kind == "method"}
    is_plain = all(s.kind != "bare" and not s.under and not s.is_paired for s in draft.sources)
    if len(told) == 1 and is_plain:
        yield ""
        yield "# Other methods, which were not heard: what stands where these have it."
        yield "[[updates]]"
        yield f"status = {quoted(pointer_of(told.pop()))}"


def _channel(channel: Proposal, draft: Draft) -> Iterator[str]:
    found = list(channel.parts.values())
    items = {_item(f.series.stands_at) for f in found}
    item = items.pop() if len(items) == 1 else None
    base = () if item is not None else _base([f.series.stands_at for f in found])
    yield ""
    if channel.why:
        yield f"# {clean(channel.why)}"
    yield f"[channels.{key(channel.name)}]"
    if item is not None:
        yield f"item = {_item_text(item)}"
    elif base:
        yield f"base = {quoted(pointer_of(base))}"
    order = list(QUANTITIES)
    for one in sorted(found, key=lambda f: order.index(f.quantity)):
        if one.quantity != "state":
            yield _line(one, base, item)
    state = channel.parts.get("state")
    if state is not None:
        yield from _state(channel.name, state, _where(state, base, item), draft)
    code = channel.parts.get("code")
    if code is not None:
        yield from _chain(channel, code)


_OURS = {
    **{"temperature": "celsius", "share": "fraction", "resistance": "ohm"},
    **{"length": "mm", "speed": "mm/s", "time": "s"},
}
"""Units of ours by what they measure."""
Item = tuple[tuple[Step, ...], str, str | int]


def _item(place: Place) -> Item | None:
    """The named item that a place goes through: its list, key and name."""
    for at, token in enumerate(place):
        if isinstance(token, Keyed):
            return place[:at], token.key, token.value
    return None


def _item_text(item: Item) -> str:
    where, by, name = item
    equals = quoted(name) if isinstance(name, str) else str(name)
    return (
        f"{{ list = {quoted(pointer_of(where))}, key = {quoted(pointer_of((by,)))}, "
        f"equals = {equals} }}"
    )


def _base(places: Sequence[Place]) -> Place:
    """What all places begin with, when there are several, without named items."""
    if len(places) < 2:
        return ()
    common: list[Step] = []
    for steps in zip(*(place[:-1] for place in places), strict=False):
        if len(set(steps)) > 1 or isinstance(steps[0], Keyed):
            break
        common.append(steps[0])
    return tuple(common)


Where = tuple[str, list[str]]


def _where(found: Mapped, base: Place, item: Item | None) -> Where:
    """The pointer from base or item on, and the item where that is its own."""
    place = found.series.stands_at
    own = _item(place)
    if own is None:
        return quoted(pointer_of(_plain(place[len(base) :]))), []
    at = quoted(pointer_of(_plain(place[len(own[0]) + 1 :])))
    if item is not None:
        return at, []
    return at, [f"item = {_item_text((own[0][len(base) :], own[1], own[2]))}"]


def _line(found: Mapped, base: Place, item: Item | None) -> str:
    at, facts = _where(found, base, item)
    unit = unit_of(found)
    if unit:
        facts.append(f"unit = {quoted(unit)}")
    if found.scale != 1.0:
        facts.append(f"scale = {found.scale!r}")
    for name, table in (("words", found.words), ("bits", found.bits)):
        if table:
            pairs = ", ".join(f"{key(theirs)} = {quoted(ours)}" for theirs, ours in table.items())
            facts.append(f"{name} = {{ {pairs} }}")
    value = f"{{ at = {at}, {', '.join(facts)} }}" if facts else at
    why = ": ".join(
        each for each in (shown(found.series.last), clean(found.reasons, MAX_WHY)) if each
    )
    return f"{found.quantity} = {value}  # {why}"


def _plain(place: Place) -> tuple[str, ...]:
    """Steps of a place; a named item within a named item is written by its name alone."""
    return tuple(text_of(token) for token in place)


def unit_of(found: Mapped) -> str:
    """The unit that the profile must say: a text is a number only where one is said."""
    unit = found.series.said_unit or found.unit
    if unit in UNITS and UNITS[unit] != (1.0, 0.0):
        return unit
    measured = DIMENSION_OF.get(found.quantity, "")
    return _OURS.get(measured, "fraction") if found.series.is_text_number else ""


def read(found: Mapped) -> float | None:
    """What the profile makes of the last value that was heard; None where it refuses it."""
    words = {theirs: float(ours) for theirs, ours in found.words.items()}
    measured = DIMENSION_OF.get(found.quantity, "")
    is_target = found.quantity == "target_c"
    ours = number(unit_of(found), found.scale, 0.0, words, measured, is_target)(found.series.last)
    return ours if isinstance(ours, float) else None


def _state(channel: str, found: Mapped, where: Where, draft: Draft) -> Iterator[str]:
    """A word without a meaning is told as it is (`unknown-state`), and never taken for `up`."""
    yield f"[channels.{key(channel)}.state]"
    at, facts = where
    yield f"at = {at}  # {clean(found.reasons, MAX_WHY)}"
    yield from facts
    if parts := draft.patterns:
        pairs = ", ".join(f"{quoted(_part(*one))} = {quoted(one[1])}" for one in parts.items())
        yield f"patterns = {{ {pairs} }}  # you said so"
    yield f"[channels.{key(channel)}.state.words]"
    for word, ours in draft.words.items():
        if ours is None:
            yield f'# {key(word)} = "up"  # not known: "up", "starting", "halted" or "gone"?'
        else:
            yield f"{key(word)} = {quoted(ours)}"
    if found.series.is_number or found.series.is_bool:
        return
    yield "# Not heard yet; taken by their common meaning."
    cased = _case_of(next(iter(draft.words), ""))
    for word in NOT_HEARD:
        if cased(word) not in draft.words:
            yield f"{key(cased(word))} = {quoted(STATE_WORDS[word])}"


def _case_of(word: str) -> Callable[[str], str]:
    """How the host writes its words: READY, Ready or ready."""
    if word.isupper():
        return str.upper
    return str.capitalize if word[:1].isupper() else str.lower


def _chain(channel: Proposal, code: Mapped) -> Iterator[str]:
    """Facts of the converter that the code shows."""
    found = reference_of(code)
    if found is None:
        return
    ratio, bits = found
    ohm = channel.parts.get("resistance_ohm")
    r0 = None if ohm is None or ohm.link is None else chains.r0_of(ohm.link.constant)
    yield ""
    yield f"[channels.{key(channel.name)}.chain]"
    yield "# Code and reading tell reference ÷ R0 and bits; the element itself is taken for"
    known = (
        "what the resistances show."
        if r0
        else "Pt100: for Pt1000 write 1000.0 and ten times the reference."
    )
    yield f"# {known}"
    size = r0 or 100.0
    yield f"r0_ohm = {size:.1f}"
    yield f"reference_ohm = {round(ratio * size, 1)}"
    yield f"bits = {bits}"
