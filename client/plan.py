"""A profile made ready for work: pointers split, units and patterns compiled, all checked."""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import msgspec

from client import patterns, pointer, values
from client.address import parse_address
from client.form import Item, MessageRule, Profile, Reading, Request, UpdateSource
from client.framing import MOST_TAKEN_BYTES
from client.pointer import Steps
from client.units import DIMENSION_OF, UNITS
from shared import toml
from shared.chain import check_chain
from shared.errors import BadInput
from shared.secrets import PLACE
from shared.text import clean
from shared.updates import Value
from shared.words import SENSOR_QUANTITIES, HostState, quantity_of

MAX_CHANNELS = 200
MAX_NAME = 60
TEXT_QUANTITIES = ("flags", "state", "message")
NULL = "null"
"""The word for JSON's null among the words of a number."""
QUICKEST_S = 0.05
"""Shortest time after which a request may be sent again."""


class ProfileFault(ValueError):
    """What is wrong at a key of a profile, and what to do."""

    def __init__(self, key: tuple[str | int, ...], what: str, do: str) -> None:
        self.key = key
        self.what = what
        self.do = do
        super().__init__(f"{'.'.join(map(str, key))}: {what}; {do}")


@dataclass(frozen=True, slots=True)
class Leaf:
    """One reading: pointer, key of ours, converter."""

    steps: Steps
    key: str
    convert: values.Converter
    null: Value | None = None
    """What null stands for; None for texts, of which null says nothing."""

    @property
    def is_number(self) -> bool:
        return self.null is not None

    @property
    def is_missed(self) -> bool:
        """Whether it is a sensor's own, which is missed where it never was a number."""
        return quantity_of(self.key) in SENSOR_QUANTITIES


@dataclass(frozen=True, slots=True)
class Listed:
    """Readings in the item of an array that bears a name."""

    steps: Steps
    name_steps: Steps
    name: str | int
    leaves: tuple[Leaf, ...]


@dataclass(frozen=True, slots=True)
class Origin:
    """One kind of message that carries readings."""

    has: Steps | None
    equals: str | int | bool | None
    status: Steps
    pairs: bool
    under: tuple[Steps, ...]
    clock: Steps | None
    pace: Steps | None


@dataclass(frozen=True, slots=True)
class PlannedRule:
    """One message rule."""

    pattern: re.Pattern[str]
    values: dict[str, str]
    keep: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """A profile, ready for the mapper."""

    answers: dict[int, Origin] = field(default_factory=dict)
    """By the id that the request has on each fresh connection."""
    methods: dict[str, Origin] = field(default_factory=dict)
    others: tuple[Origin, ...] = ()
    leaves: tuple[Leaf, ...] = ()
    lists: tuple[Listed, ...] = ()
    rules: tuple[PlannedRule, ...] = ()
    heard: frozenset[str] = frozenset()

    @property
    def all_leaves(self) -> tuple[Leaf, ...]:
        return (*self.leaves, *(leaf for listed in self.lists for leaf in listed.leaves))

    @property
    def has_clock(self) -> bool:
        origins = (*self.answers.values(), *self.methods.values(), *self.others)
        return any(origin.clock is not None for origin in origins)


def check(profile: Profile, path: Path) -> None:
    """Raise BadInput with file, line and key for the first thing that cannot be used."""
    try:
        plan_of(profile)
        _check_file(profile)
    except ProfileFault as fault:
        raise BadInput(toml.place(path, fault.key), fault.what, fault.do) from None


def _check_file(profile: Profile) -> None:
    """What a profile in a file must have besides: a draft may be on its way there."""
    if not profile.channels:
        do = "say where readings are, or let `ohmvigil learn` draft them"
        raise ProfileFault(("channels",), "there are no channels", do)
    known = {*profile.channels, "host"}
    for n, rule in enumerate(profile.messages):
        if rule.channel not in known:
            what = f"there is no channel '{clean(rule.channel)}'"
            raise ProfileFault(("messages", n, "channel"), what, "name one of [channels], or host")
    schemes = {parse_address(address).scheme for address in profile.addresses}
    in_header = profile.token is not None and not any(
        PLACE in text for text in (*profile.addresses, *profile.sent)
    )
    if in_header and schemes and not schemes & {"ws", "wss"}:
        do = f"take it out, or write {PLACE} in a request"
        raise ProfileFault(("token",), "has no header to go in over tcp:// and unix:", do)


def plan_of(profile: Profile) -> Plan:
    """Check a profile and make it ready; Fault names the key."""
    _check_rest(profile)
    methods_asked = [method for method, _ in _envelopes(profile)]
    plan = Plan(
        leaves=tuple(_leaves(profile)),
        lists=tuple(_lists(profile)),
        rules=tuple(_rule(rule, n) for n, rule in enumerate(profile.messages)),
        heard=frozenset(profile.heard),
    )
    others: list[Origin] = []
    for n, source in enumerate(profile.updates):
        origin = _origin(source, n, profile)
        if source.method:
            plan.methods.setdefault(source.method, origin)
        elif source.answer_to:
            if source.answer_to not in methods_asked:
                raise ProfileFault(
                    ("updates", n, "answer_to"),
                    f"no request has the method '{clean(source.answer_to)}'",
                    "name the method of one of [[requests]]",
                )
            for number, method in enumerate(methods_asked, start=1):
                if method == source.answer_to:
                    plan.answers.setdefault(number, origin)
        else:
            others.append(origin)
    return replace(plan, others=tuple(others))


def request_of(request: Request, key: tuple[str | int, ...] = ("requests",)) -> Any:
    """What a request's JSON text holds: with an envelope an object. Fault if it can't be sent."""
    key = (*key, "json")
    try:
        body = msgspec.json.decode(request.json)
    except (ValueError, RecursionError):
        raise ProfileFault(key, "is not JSON", "write JSON as text") from None
    if not request.envelope:
        return body
    bare = "set envelope = false to send it bare"
    if type(body) is not dict:
        raise ProfileFault(key, "is not a JSON object", f"write one, or {bare}")
    if type(body.get("method")) is not str or not body["method"]:
        raise ProfileFault(key, 'has no "method"', f"add one, or {bare}")
    if set(body) - {"method", "params"}:
        raise ProfileFault(
            key, 'has more than "method" and "params"', f"leave out the rest, or {bare}"
        )
    return body


def _envelopes(profile: Profile) -> Iterator[tuple[str, Any]]:
    for n, request in enumerate(profile.requests):
        body = request_of(request, ("requests", n))
        if request.every_s is not None:
            _in_range(("requests", n, "every_s"), request.every_s, QUICKEST_S, 86400.0)
        if request.envelope:
            yield body["method"], body.get("params")


def _check_rest(profile: Profile) -> None:
    for n, address in enumerate(profile.addresses):
        try:
            parse_address(address)
        except BadInput as bad:
            raise ProfileFault(("addresses", n), bad.what, bad.do) from None
    _in_range(("silence_s",), profile.silence_s, 0.5, 86400.0)
    _in_range(("largest_bytes",), profile.largest_bytes, 1024, MOST_TAKEN_BYTES)
    _in_range(("delimiter",), profile.delimiter, 0, 255)
    if profile.keep_alive is not None:
        _in_range(("keep_alive", "every_s"), profile.keep_alive.every_s, 0.5, 86400.0)
        alive = profile.keep_alive
        request_of(Request(json=alive.json, envelope=alive.envelope), ("keep_alive",))
    token = profile.token
    if token is not None and not (token.env or token.file):
        raise ProfileFault(("token",), "names no source", "set env or file")
    if (
        token is not None
        and token.env
        and not re.fullmatch(r"[A-Za-z_]\w{0,99}", token.env, re.ASCII)
    ):
        # Not named: it may be the token itself.
        raise ProfileFault(
            ("token", "env"), "is not a variable's name", "name the variable, not its value"
        )
    if token is None and any(PLACE in text for text in (*profile.addresses, *profile.sent)):
        raise ProfileFault(("token",), f"is missing, and {PLACE} stands for it", "set env or file")
    if token is not None and not re.fullmatch(r"[A-Za-z0-9-]{1,60}", token.header):
        raise ProfileFault(
            ("token", "header"), "is not a header's name", "use letters, digits and '-'"
        )
    if len(profile.channels) > MAX_CHANNELS:
        raise ProfileFault(
            ("channels",), f"more than {MAX_CHANNELS} channels", "watch fewer of them"
        )
    for name, channel in profile.channels.items():
        _check_name(name, ("channels", name))
        if channel.chain is not None:
            try:
                check_chain(channel.chain)
            except ValueError as error:
                key = str(error).split(" ", 1)[0]
                raise ProfileFault(
                    ("channels", name, "chain", key), str(error), "correct the value"
                ) from None


def _check_name(name: str, key: tuple[str | int, ...]) -> None:
    if not name or clean(name, MAX_NAME) != name:
        do = f"use up to {MAX_NAME} printable characters"
        raise ProfileFault(key, "is no name for a channel", do)


def _in_range(key: tuple[str | int, ...], value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise ProfileFault(key, f"{value:g} is out of range", f"choose {low:g} to {high:g}")


def _steps(text: str, key: tuple[str | int, ...]) -> Steps:
    try:
        return pointer.split(text)
    except ValueError as error:
        raise ProfileFault(
            key, clean(str(error)), "write a JSON Pointer such as '/a/b/0'"
        ) from None


def _origin(source: UpdateSource, n: int, profile: Profile) -> Origin:
    key = ("updates", n)
    if bool(source.method) + bool(source.answer_to) + (source.has is not None) > 1:
        raise ProfileFault(key, "fits messages in two ways", "keep one of method, answer_to, has")
    if source.equals is not None and source.has is None:
        raise ProfileFault((*key, "equals"), "needs has", "point with has to what must be equal")
    return Origin(
        has=None if source.has is None else _steps(source.has, (*key, "has")),
        equals=source.equals,
        status=_steps(source.status, (*key, "status")),
        pairs=source.pairs,
        under=tuple(_steps(text, (*key, "under")) for text in _several(source.under)),
        clock=None if source.clock is None else _steps(source.clock, (*key, "clock")),
        pace=None if source.pace is None else _steps(source.pace, (*key, "pace")),
    )


def _several(given: str | tuple[str, ...] | None) -> tuple[str, ...]:
    return () if given is None else (given,) if isinstance(given, str) else given


def _leaves(profile: Profile) -> Iterator[Leaf]:
    for name, channel in profile.channels.items():
        base = _steps(channel.base, ("channels", name, "base"))
        for quantity, reading in channel.readings.items():
            if reading.item is None and channel.item is None:
                yield _leaf(name, quantity, reading, base)


def _lists(profile: Profile) -> Iterator[Listed]:
    for name, channel in profile.channels.items():
        base = _steps(channel.base, ("channels", name, "base"))
        by_item: dict[Item, list[Leaf]] = {}
        for quantity, reading in channel.readings.items():
            item = reading.item or channel.item
            if item is not None:
                by_item.setdefault(item, []).append(_leaf(name, quantity, reading, ()))
        key = ("channels", name, "item")
        for item, leaves in by_item.items():
            steps = base + _steps(item.list, (*key, "list"))
            yield Listed(steps, _steps(item.key, (*key, "key")), item.equals, tuple(leaves))


def _leaf(name: str, quantity: str, reading: Reading, base: Steps) -> Leaf:
    key = ("channels", name, quantity)
    steps = base + _steps(reading.at, key)
    convert, null = _converter(quantity, reading, key), None
    if quantity not in TEXT_QUANTITIES:
        word = reading.words.get(NULL, values.NO_VALUE)
        null = _number_word((*key, "words", NULL), word)
    return Leaf(steps, f"{name}.{quantity}", convert, null)


def _converter(quantity: str, reading: Reading, key: tuple[str | int, ...]) -> values.Converter:
    if quantity in TEXT_QUANTITIES and (reading.unit, reading.scale, reading.offset) != ("", 1, 0):
        raise ProfileFault(key, "is a text, which has no unit", "leave out unit, scale and offset")
    if quantity != "flags" and reading.bits:
        raise ProfileFault((*key, "bits"), "is for flags alone", "leave it out")
    if reading.words and quantity == "message":
        raise ProfileFault((*key, "words"), "is not for messages", "leave it out")
    if quantity == "message":
        return values.text
    if quantity == "state":
        return _state(reading, key)
    if reading.patterns or reading.other is not None:
        which = "patterns" if reading.patterns else "other"
        raise ProfileFault((*key, which), "is for the host's state alone", "leave it out")
    if quantity == "flags":
        for bit in reading.bits:
            if not (bit.isascii() and bit.isdigit() and int(bit) < 64):
                raise ProfileFault((*key, "bits", bit), "is no bit number", "use 0 to 63")
        return values.flags(reading.words, reading.bits)
    if reading.unit not in UNITS:
        raise ProfileFault(
            (*key, "unit"),
            f"'{clean(reading.unit)}' is no unit known here",
            "choose " + ", ".join(unit for unit in UNITS if unit),
        )
    _in_range((*key, "scale"), abs(reading.scale), 1e-12, 1e12)
    _in_range((*key, "offset"), reading.offset, -1e12, 1e12)
    words = {
        theirs: _number_word((*key, "words", theirs), w) for theirs, w in reading.words.items()
    }
    return values.number(
        reading.unit,
        reading.scale,
        reading.offset,
        words,
        DIMENSION_OF.get(quantity, ""),
        zero_is_off=quantity == "target_c",
        is_measured=quantity in SENSOR_QUANTITIES,
    )


def _state(reading: Reading, key: tuple[str | int, ...]) -> values.Converter:
    for table in ("words", "patterns"):
        for theirs, ours in getattr(reading, table).items():
            if ours not in {str(word) for word in HostState}:
                what, do = f"'{clean(ours)}' is no state of ours", "choose " + ", ".join(HostState)
                raise ProfileFault((*key, table, theirs), what, do)
    compiled = [
        (_pattern(pattern, (*key, "patterns", pattern)), ours)
        for pattern, ours in reading.patterns.items()
    ]
    return values.state(reading.words, compiled, reading.other)


def _pattern(text: str, key: tuple[str | int, ...]) -> re.Pattern[str]:
    try:
        return patterns.compiled(text)
    except ValueError as error:
        raise ProfileFault(key, str(error), "write a simpler pattern") from None


def _number_word(key: tuple[str | int, ...], word: str) -> Value:
    if word in (values.NO_VALUE, values.UNSENT):
        return word
    found = values.number_in(word)
    if found is None or not math.isfinite(found):
        do = f'write a number of ours, such as "0", or "{values.NO_VALUE}" or "{values.UNSENT}"'
        raise ProfileFault(key, f"'{clean(word)}' is no number", do)
    return found


def _rule(rule: MessageRule, n: int) -> PlannedRule:
    pattern = _pattern(rule.pattern, ("messages", n, "pattern"))
    _check_name(rule.channel, ("messages", n, "channel"))
    made: dict[str, str] = {}
    if rule.kind is not None:
        made[f"{rule.channel}.reported"] = str(rule.kind)
    if rule.flags:
        made[f"{rule.channel}.flags"] = values.joined(rule.flags.split(";"))
    if rule.state is not None:
        made["host.state"] = str(rule.state)
    return PlannedRule(pattern, made, rule.keep)
