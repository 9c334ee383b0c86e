"""What is no temperature: position, speed, fan, uptime, the host's state and its messages."""

import itertools
import re
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from client.learn.found import Mapped
from client.learn.relations import beyond
from client.learn.series import Series, follows, wanders
from client.learn.tree import Keyed, Place, is_own_value, name_at, stand_beside, text_of
from client.learn.units import is_label, is_own_name, of_power, says_a_unit
from client.learn.vocabulary import (
    AXES,
    CHANNEL_WORDS,
    FAN_WORDS,
    FEED_WORDS,
    FILAMENT_WORDS,
    LENGTH_WORDS,
    MINUTE_WORDS,
    NAME_WORDS,
    NAMES,
    POSITION_WORDS,
    QUANTITY_WORDS,
    RATE_WORDS,
    TOPIC_WORDS,
    quantities_of,
    state_of,
    words,
)
from client.units import DIMENSIONS
from client.values import word_of
from shared.words import HostState

MAX_STATES = 8
"""States that one host is heard to be in."""
_MOSTLY = 0.8
"""Part of the messages that has a state's word."""
_WORDS = re.compile(r"[^\W\d_]{2,}(?:[ -][^\W\d_]+){0,3}")
FASTER, SLOWER = 20.0, 0.25
"""A speed so many times what the positions show is told by the minute; one so much slower is the
filament's: a track has some tenths of the filament's section (common practice)."""
MOST_FEED, MOST_SPEED = 30.0, 1500.0
"""mm/s: no hot end melts more, and no carriage goes faster (common practice)."""
_MESSAGE_SIGNS = 2
"""Spaces in a text from which on it reads like a sentence."""


def motion(leaves: Mapping[Place, Series]) -> list[Mapped]:
    """x, y and z, in the unit that their names say."""
    axes = _motion(leaves)
    for found in axes:
        said = [LENGTH_WORDS[word] for word in found.series.all_words if word in LENGTH_WORDS]
        found.unit = found.series.said_unit or (said[0] if said else "")
    return axes


def _motion(leaves: Mapping[Place, Series]) -> list[Mapped]:
    """Members named so, or an array of three or four that moves as one."""
    for place, one in leaves.items():
        if not one.is_number:
            continue
        names = _axes(place, leaves)
        if AXES.keys() <= names.keys():
            return [
                Mapped(
                    leaves[names[axis]], quantity, 2.0, [f"named '{text_of(name_at(names[axis]))}'"]
                )
                for axis, quantity in AXES.items()
                if leaves[names[axis]].is_number
            ]
    best: list[Mapped] = []
    for place, one in leaves.items():
        at = next((n for n in reversed(range(len(place))) if text_of(place[n])[-1:].isdigit()), -1)
        is_array = place[-1:] == ("0",)
        if not one.is_number or at < 0 or (at == len(place) - 1 and place[at] in ("1", "2", "3")):
            continue
        axes = [leaves.get(beyond(place, at, n)) for n in range(5 if is_array else 3)]
        heard = [axis for axis in axes if axis is not None and axis.is_number]
        named = {word for parts in one.words for word in parts} & POSITION_WORDS
        named |= {"mm"} if all(DIMENSIONS.get(a.said_unit) == "length" for a in heard) else set()
        if not 3 <= len(heard) <= 4 or (not is_array and not all(map(wanders, heard[:2]))):
            continue
        if (named and is_array) or (not best and _move_as_one(heard[:3])):
            why = f"named '{next(iter(named))}'" if named else "three that move at one time"
            best = [
                Mapped(axis, quantity, 2.0, [why])
                for axis, quantity in zip(heard, AXES.values(), strict=False)
            ]
            if named:
                break
    return best


def _axes(place: Place, leaves: Mapping[Place, Series]) -> dict[str, Place]:
    """By axis, the places beside this one that are named x, or posX and the like."""
    found: dict[str, Place] = {}
    own = words(text_of(name_at(place)))
    for other in leaves:
        named = words(text_of(name_at(other))) if stand_beside(other, place) else ()
        alone = len(own) == 1 == len(named)
        is_like = len(own) > 1 and own[:-1] == named[:-1]
        if named and named[-1] in AXES and (alone or is_like):
            found[named[-1]] = other
    return found


def _move_as_one(axes: list[Series]) -> bool:
    """Whether coordinates change by far more than noise, together, and lie in a machine."""
    if any(axis.low < -1000.0 or axis.high > 3000.0 for axis in axes):
        return False
    if any({"temperature_c", "target_c"} & quantities_of(axis.all_words) for axis in axes):
        return False
    if len(axes[0].values) < 5 or sum(axis.noise > 0.5 and axis.distinct >= 5 for axis in axes) < 2:
        return False
    # A reading beside its setting is no pair of coordinates.
    if any(follows(a, b, is_told=False) > 0.5 for a, b in itertools.permutations(axes, 2)):
        return False
    # A coordinate wanders over its range; a held temperature only flutters.
    return all(
        axis.distinct < 5 or axis.noise < 0.5 * (axis.high - axis.low) for axis in axes
    ) and all(np.array_equal(axis.times, axes[0].times) for axis in axes)


def speeds(leaves: Mapping[Place, Series], axes: list[Mapped]) -> list[Mapped]:
    """Speed along the path, and that of the filament, which is far slower; units by the way."""
    seen = _seen_speed(axes)
    found: dict[str, Mapped] = {}
    for one in leaves.values():
        named = {QUANTITY_WORDS.get(word) for word in one.last_words}
        rate = {"rate"} & one.last_words and one.all_words & (POSITION_WORDS | {"mm", "motion"})
        strand = bool(one.all_words & FILAMENT_WORDS)
        is_rate = bool(rate) or "speed_mm_s" in named or DIMENSIONS.get(one.said_unit) == "speed"
        is_rate |= strand and bool(one.all_words & RATE_WORDS)
        if not one.is_number or not is_rate or one.low < 0.0:
            continue
        if one.all_words & FAN_WORDS or one.all_words & {"factor", "percent"}:
            continue
        per_minute = bool(one.all_words & MINUTE_WORDS)
        top = one.high / (60.0 if per_minute else 1.0)
        strand |= bool(one.last_words & FEED_WORDS) and 0.0 < top < SLOWER * seen
        quantity = "feed_mm_s" if strand else "speed_mm_s"
        per_minute |= top > MOST_FEED if strand else top > (FASTER * seen if seen else MOST_SPEED)
        why = [f"named '{text_of(name_at(one.place))}'"]
        why += ["far slower than the way that was gone"] if strand and seen else []
        own = one.said_unit if DIMENSIONS.get(one.said_unit) == "speed" else ""
        unit = own or ("mm/min" if per_minute else "")
        found.setdefault(quantity, Mapped(one, quantity, 2.0, why, unit))
    return list(found.values())


def _seen_speed(axes: list[Mapped]) -> float:
    """The highest speed that the positions show, mm/s; 0 where none is seen."""
    if len(axes) < 2 or len(axes[0].series.values) < 5:
        return 0.0
    times = axes[0].series.times
    spans = np.diff(times)
    steps = np.zeros(len(spans))
    for axis in axes[:2]:
        steps += np.diff(axis.series.held_at(times)) ** 2
    moving = (steps > 0.0) & (spans > 0.01)
    return float(np.max(np.sqrt(steps[moving]) / spans[moving])) if moving.any() else 0.0


def fans(leaves: Mapping[Place, Series], taken: set[Place]) -> list[Mapped]:
    """Fans, by name: a number between 0 and 1, 100 % or 255."""
    found = []
    for place, one in leaves.items():
        if place in taken or not one.is_number or not one.all_words & FAN_WORDS:
            continue
        if one.low < 0.0 or one.high > 255.0 or one.last_words & {"rpm", "max", "min", "count"}:
            continue
        if "temperature_c" in quantities_of(one.all_words) or one.last_words & NAME_WORDS:
            continue
        unit, why = of_power(one)
        found.append(Mapped(one, "speed", 2.0, ["named as a fan", why], unit))
    return found


def states(
    leaves: Mapping[Place, Series],
    taken: set[Place],
    given: Mapping[str, str] = MappingProxyType({}),
) -> list[Mapped]:
    """What may be the host's state, the likeliest first: few words, or whole numbers, that are
    known, or at a place named so, or that stand for a while each. A sentence is none.

    `given` are words that the user says are states, with what they mean: where one stands is the
    place, rather where it does not say of a host that is heard that it is down. A text of few
    words in most messages may be one too, though nothing says so: a trip is told there, if at all.
    """
    found = [
        one
        for place, series in leaves.items()
        if place not in taken and (one := _state(series, leaves, taken, given)) is not None
    ]
    often = max((len(one.values) for one in leaves.values()), default=0) * _MOSTLY
    return sorted(
        (one for one in found if one.score > 0.0 or _may_be_state(one.series, often)),
        key=lambda one: -one.score,
    )


def _state(
    one: Series, leaves: Mapping[Place, Series], taken: set[Place], given: Mapping[str, str]
) -> Mapped | None:
    told = bool(given.keys() & {word_of(value) for value in one.values})
    is_down = given.get(word_of(one.last)) == HostState.HALTED
    named = "state" in quantities_of(one.all_words)
    is_code = one.is_whole and one.low >= 0 and "state" in quantities_of(one.last_words)
    is_word = one.is_text and not one.is_text_number and not _is_wordy(one)
    if not (is_word or is_code or told) or one.distinct > MAX_STATES:
        return None
    if any(len(str(value)) > 30 or value == "" for value in one.values):
        return None
    # An item that holds readings tells of a channel, not of the host.
    items = {token for token in one.place if isinstance(token, Keyed)}
    if (one.last_words & NAME_WORDS and not told) or any(items & set(other) for other in taken):
        return None
    if says_a_unit(one) or is_own_name(one.place) or (not named and is_label(one, leaves)):
        return None
    if not (named or told) and one.last_words & TOPIC_WORDS:
        return None
    known = sum(state_of(str(value)) is not None for value in set(one.values))
    about_one = bool(one.all_words & CHANNEL_WORDS.keys())
    stands = is_word and 1 < one.distinct < 0.1 * len(one.values)
    score = 2.0 * named + 1.0 * known + 1.0 * stands - 0.3 * len(one.place) - 2.0 * about_one
    score += 9.0 * told - 4.0 * is_down - 0.5 * is_code
    if named and score <= 0.4:
        return None
    why = [f"named '{text_of(one.place[-1])}'"] if named else []
    why += ["a word for a state"] if known else []
    why += ["words that stand for a while each"] if stands and not known else []
    why += ["a word that you gave stands here"] if told and not why else []
    return Mapped(one, "state", score, why or ["a word in most messages: perhaps the state"])


def _may_be_state(one: Series, often: float) -> bool:
    """Whether it may be a state though nothing says so: words of letters, in most messages."""
    words_alone = all(_WORDS.fullmatch(str(value)) for value in set(one.values))
    return len(one.values) >= often and words_alone and not one.last_words & TOPIC_WORDS


def _is_wordy(one: Series) -> bool:
    """Whether it reads like a sentence."""
    return max((str(value).count(" ") for value in one.values), default=0) >= _MESSAGE_SIGNS


def message(leaves: Mapping[Place, Series], taken: set[Place]) -> Mapped | None:
    """The host's message: named so, or a text with several words."""
    best: Mapped | None = None
    for place, one in leaves.items():
        if place in taken or not (one.is_text or one.is_texts) or one.is_text_number:
            continue
        if one.is_texts and (one.last_words & NAMES or one.distinct < 2):
            continue
        named = any(QUANTITY_WORDS.get(word) == "message" for word in one.last_words)
        wordy = _is_wordy(one)
        named |= "message" in quantities_of(words(text_of(name_at(place))))
        is_item = any(isinstance(token, Keyed) for token in place) and not is_own_value(place)
        if is_item or not (named or wordy):
            continue
        score = 2.0 * named + 1.0 * wordy - 0.2 * len(place)
        if best is None or score > best.score:
            why = [f"named '{text_of(place[-1])}'"] if named else ["reads like a sentence"]
            best = Mapped(one, "message", score, why)
    return best
