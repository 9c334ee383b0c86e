"""What is a clock: it goes at a second a second all the time, and never stands."""

import json
import random
from collections.abc import Callable

import pytest

from client.learn import learn
from client.learn.series import Series
from shared.updates import Entry, EntryKind

STEP_S = 0.25


def heard(value: Callable[[float], float], late: Callable[[float], float]) -> Series:
    """Twenty seconds of a value, each message late by something."""
    one = Series(("t",))
    for n in range(80):
        at_s = n * STEP_S
        one.add(at_s + late(at_s), value(at_s))
    return one


CLOCKS: dict[str, Callable[[float], float]] = {
    "to the millisecond": lambda s: 800.0 + s,
    "in whole seconds": lambda s: 800.0 + s // 1.0,
    "in steps of two seconds": lambda s: 800.0 + 2.0 * (s // 2.0),
}
COORDINATES: dict[str, Callable[[float], float]] = {
    "rests for a second and a half": lambda s: 20.0 + min(s, 12.0) + max(s - 13.5, 0.0),
    "jumps ahead after a rest": lambda s: 20.0 + (s if not 8.0 < s < 10.0 else 8.0),
    "is twice as fast in the end": lambda s: 20.0 + s + max(s - 14.0, 0.0),
    "comes back": lambda s: 20.0 + (s if s < 16.0 else 32.0 - s),
}


@pytest.mark.parametrize("value", CLOCKS.values(), ids=CLOCKS)
def test_a_clock_is_one_even_when_messages_are_late(value: Callable[[float], float]) -> None:
    """By up to 0.2 s each, and all of two seconds at once."""
    chance = random.Random(3)
    assert heard(value, lambda s: 0.2 * chance.random()).runs_at(1.0)
    assert heard(value, lambda s: max(10.0 - s, 0.0) if 8.0 < s < 10.0 else 0.0).runs_at(1.0)


@pytest.mark.parametrize("value", COORDINATES.values(), ids=COORDINATES)
def test_what_rests_or_turns_is_no_clock(value: Callable[[float], float]) -> None:
    assert not heard(value, lambda s: 0.0).runs_at(1.0)


@pytest.mark.parametrize("jitter_s", [0.0, 1e-4])
def test_a_clock_is_told_in_plain_words(jitter_s: float) -> None:
    """No figure of its pace, which is but nearly a million a second."""
    entries = [
        Entry(
            50.0 + n * 0.25 + jitter_s * (n % 3),
            EntryKind.MESSAGE,
            json.dumps({"us": 250_000 * n, "temp": 21.0 + n % 5 / 10}).encode(),
        )
        for n in range(60)
    ]
    (clock,) = learn(entries).clocks.values()
    assert (clock.unit, clock.why) == ("us", "counts microseconds, as our own clock does")
