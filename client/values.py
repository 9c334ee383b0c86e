"""What is made of one JSON value: a number of ours, a state word, flag words, or text.

Each maker gives a converter: a JSON value in, ours out, None when it is refused.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple

from client.units import DIMENSIONS, SUFFIXES, UNITS
from shared.text import MAX_TEXT, clean
from shared.updates import Value
from shared.words import NO_FLAGS, HostState

Converter = Callable[[Any], Value | None]

MAX_NUMBER = 1e12
"""Largest size of a number that is taken; squares of it are still far from infinity."""
MAX_FLAGS = 16
MAX_FLAG_TEXT = 40
MAX_NUMBER_TEXT = 40
_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?"
_NUMBER_TEXT = re.compile(rf"\s*({_NUMBER})\s*(?:/\s*({_NUMBER})|([^\d\s].*?))?\s*", re.ASCII)
PART_OF = "fraction"
"""Unit of a text such as `180/255`."""
NO_VALUE, UNSENT = "none", "unsent"
"""Words of ours for a number's: the host says that there is none, or says nothing of it."""


class Said(NamedTuple):
    """A number as a text gives it."""

    number: float
    unit: str
    """What its suffix says; empty without one."""


def said_in(text: str) -> Said | None:
    """The number that a text is, and the unit behind it; None for any other text.

    A part such as `180/255` is a fraction. A suffix that is no unit leaves no number.
    """
    found = _NUMBER_TEXT.fullmatch(text) if len(text) <= MAX_NUMBER_TEXT else None
    if found is None:
        return None
    number, whole, suffix = found.groups()
    if whole is not None:
        return Said(float(number) / float(whole), PART_OF) if float(whole) > 0.0 else None
    if suffix is None:
        return Said(float(number), "")
    unit = SUFFIXES.get(suffix.replace(" ", ""))
    return None if unit is None else Said(float(number), unit)


def number_in(text: str) -> float | None:
    """The number alone."""
    found = said_in(text)
    return None if found is None else found.number


def number(
    unit: str,
    scale: float,
    offset: float,
    words: Mapping[str, Value] | None = None,
    dimension: str = "",
    zero_is_off: bool = False,
    is_measured: bool = False,
) -> Converter:
    """Numbers: finite, no larger than `MAX_NUMBER`; a bool is not a number.

    A text is one where the profile gives a unit, or where it says one of this `dimension` itself;
    one that says another than the profile is refused. A part such as `180/255` is a share in any
    unit of shares. `words` are values that stand for numbers of ours: texts, true and false, and
    numbers as the host says them; `NO_VALUE` and `UNSENT` may stand there too, and come out as
    they are. With `zero_is_off` 0 K and 0 °F stand for 0 too: no heater is meant to get that cold.
    Where a sensor's number `is_measured`, a text without a digit says that there is none.
    """
    known = dict(words or {})
    numbers = {n: ours for word, ours in known.items() if (n := number_in(word)) is not None}

    def of_unit(name: str) -> Converter:
        cold: dict[float, Value] = {0.0: 0.0} if zero_is_off and UNITS[name][1] else {}
        return _known(cold | numbers, _number(name, scale, offset))

    plain = of_unit(unit)
    by_unit = {
        name: plain if unit else of_unit(name)
        for name, measured in DIMENSIONS.items()
        if measured == dimension and unit in ("", name)
    }
    if dimension == DIMENSIONS[PART_OF]:
        whole = UNITS[unit][0]
        by_unit[PART_OF] = lambda part: plain(part / whole)

    def of_text(text: str) -> Value | None:
        said = said_in(text)
        if said is None:
            return NO_VALUE if is_measured and not any(map(str.isdigit, text)) else None
        convert = by_unit.get(said.unit) if said.unit else plain if unit else None
        return None if convert is None else convert(said.number)

    def convert(value: Any) -> Value | None:
        kind = type(value)
        if kind is bool or kind is str:
            found = known.get(word_of(value))
            if found is not None or kind is bool:
                return found
            return of_text(value)
        return plain(value)

    return convert


def _known(numbers: Mapping[float, Value], convert: Converter) -> Converter:
    """Numbers that stand for others, before the conversion of the rest."""
    if not numbers:
        return convert

    def known(value: Any) -> Value | None:
        found = numbers.get(value) if type(value) in (int, float) else None
        return convert(value) if found is None else found

    return known


def _number(unit: str, scale: float, offset: float) -> Converter:
    factor, shift = UNITS[unit]
    a, b = scale * factor, offset * factor + shift

    def convert(value: Any) -> float | None:
        kind = type(value)
        if (kind is float or kind is int) and -MAX_NUMBER <= value <= MAX_NUMBER:
            return float(value * a + b)
        return None

    def keep(value: Any) -> float | None:
        kind = type(value)
        if (kind is float or kind is int) and -MAX_NUMBER <= value <= MAX_NUMBER:
            return float(value)
        return None

    return keep if (a, b) == (1.0, 0.0) else convert


def state(
    words: Mapping[str, str],
    patterns: Sequence[tuple[re.Pattern[str], str]] = (),
    other: str | None = None,
) -> Converter:
    """State words: theirs mapped to ours, by `words`, by the first pattern that fits, or else to
    `other`; without any of these, ours as they are.

    A word without a meaning is passed on as the host said it, cleaned: it is no state of ours,
    and who reads it must not take it for one.
    """
    is_told = bool(words or patterns or other)
    known = dict(words) if is_told else {str(word): str(word) for word in HostState}

    def convert(value: Any) -> str | None:
        word = word_of(value)
        found = known.get(word)
        if found is None and word:
            fits = (ours for pattern, ours in patterns if pattern.search(word[:MAX_TEXT]))
            found = next(fits, other)
        if found is None and word:
            cleaned = clean(word, MAX_STATE)
            # A host's own `up` is ours only where the profile says so.
            found = f"'{cleaned}'" if cleaned in _OURS else cleaned
        return found or None

    return convert


_OURS = {str(word) for word in HostState}
MAX_STATE = 60


def flags(words: Mapping[str, str], bits: Mapping[str, str]) -> Converter:
    """Flags as a list of words, one text (parts split at ';' or ','), a bool, an object of
    bools, or a number whose bits are flags; theirs mapped to ours where `words` knows them."""
    by_bit = [(1 << int(bit), word) for bit, word in bits.items()]
    known = dict(words)

    def convert(value: Any) -> str | None:
        if type(value) is list:
            raised = [part for part in value[:MAX_FLAGS] if type(part) is str]
            if len(raised) < len(value[:MAX_FLAGS]):
                return None
        elif type(value) is str:
            raised = value[:1000].replace(",", ";").split(";")[:MAX_FLAGS]
        elif type(value) is bool:
            raised = ["true"] if value else []
        elif type(value) is int and by_bit:
            raised = [word for mask, word in by_bit if value & mask]
        elif type(value) is dict:
            raised = [name for name, up in value.items() if up is True][:MAX_FLAGS]
        else:
            return None
        return joined(known.get(part, part) for part in raised)

    return convert


def joined(words: Any) -> str:
    """Flag words joined by ';', each cleaned and once; "none" when there are none."""
    cleaned = (clean(word, MAX_FLAG_TEXT).replace(";", " ") for word in words)
    return ";".join(dict.fromkeys(w for w in cleaned if w and w != NO_FLAGS)) or NO_FLAGS


def text(value: Any) -> str | None:
    """A message, cleaned; a list of texts is joined."""
    if type(value) is str:
        return clean(value)
    if type(value) is list and all(type(part) is str for part in value[:MAX_FLAGS]):
        return clean("; ".join(value[:MAX_FLAGS]))
    return None


def clock(unit: str) -> Callable[[Any], float | None]:
    """Host clocks: a number in `unit`, or date and time as text where `unit` is "iso"."""
    if unit == "iso":
        return _iso_seconds
    a_second = round(1.0 / UNITS[unit][0])

    def convert(value: Any) -> float | None:
        kind = type(value)
        # Nanoseconds since 1970 are beyond MAX_NUMBER, so this has a bound of its own.
        if (kind is float or kind is int) and -1e20 <= value <= 1e20:
            return float(value) / a_second
        return None

    return convert


def _iso_seconds(value: Any) -> float | None:
    if type(value) is not str or len(value) > 40:
        return None
    try:
        moment = datetime.fromisoformat(value)
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
    except (ValueError, OverflowError):
        return None


def word_of(value: Any) -> str:
    """A value as the words of a profile write it; empty where it is none of those."""
    if type(value) is bool:
        return "true" if value else "false"
    if type(value) is int and abs(value) < 10**9:
        return str(value)
    return value if type(value) is str else ""
