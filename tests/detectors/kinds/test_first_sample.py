"""Rail codes and flags are found on the first sample that shows them, wherever it comes."""

from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from detectors.engine.watch import Watch
from shared.chain import EXAMPLE
from shared.events import Event
from shared.updates import Update, Value, batch_of
from shared.words import Kind
from tests.detectors.logs import steady
from tests.levels import one_in

ROWS = 300
_HEALTHY = steady(ROWS * 0.25)


def changes_only(updates: list[Update]) -> list[Update]:
    """The same log from a host that sends a value only where it differs from the last."""
    held: dict[str, Value] = {}
    sent = []
    for update in updates:
        new = {key: value for key, value in update.values.items() if held.get(key) != value}
        held.update(new)
        sent.append(Update(update.time_s, new))
    return sent


def broken(first: int, rows: int, what: dict[str, Value], before: dict[str, Value]) -> list[Update]:
    """A held nozzle whose readings are `what` from row `first` on, for `rows` rows."""
    updates = []
    for index, update in enumerate(_HEALTHY):
        inside = first <= index < first + rows
        updates.append(Update(update.time_s, {**update.values, **(what if inside else before)}))
    return updates


def raised(updates: list[Update], kind: Kind, *, singly: bool) -> tuple[list[Event], list[float]]:
    """Events of a kind, and the time of the update at which each was raised (fed singly)."""
    watch = Watch({"nozzle": EXAMPLE})
    if not singly:
        watch.feed(batch_of(updates))
        watch.finish()
        return [event for event in watch.events if event.kind is kind], []
    at_s: dict[int, float] = {}
    for update in updates:
        for event in watch.feed(batch_of([update])):
            if event.kind is kind:
                at_s.setdefault(event.id, update.time_s)
    return [watch.events[id_] for id_ in at_s], list(at_s.values())


SIGNS: list[Any] = [
    (Kind.CODE_HIGH, {"nozzle.code": 65535.0, "nozzle.temperature_c": 889.65}, {}),
    (Kind.CODE_LOW, {"nozzle.code": 0.0, "nozzle.temperature_c": -242.0}, {}),
    (Kind.CONVERTER_FLAG, {"nozzle.flags": "open"}, {"nozzle.flags": "none"}),
    (Kind.CONVERTER_FLAG, {"nozzle.flags": "short;input-out-of-range"}, {}),
]


@pytest.mark.parametrize(
    ("kind", "what", "before", "sends_all"),
    one_in(5, [(*sign, sends_all) for sign in SIGNS for sends_all in (True, False)]),
)
@given(first=st.integers(0, ROWS - 1), rows=st.integers(1, 60))
@settings(deadline=None, max_examples=20)
@example(first=0, rows=1)
@example(first=0, rows=ROWS)
@example(first=1, rows=1)
@example(first=31, rows=2)
@example(first=32, rows=32)
@example(first=32, rows=1)
@example(first=ROWS - 1, rows=1)
def test_it_is_found_on_its_first_sample(
    kind: Kind,
    what: dict[str, Value],
    before: dict[str, Value],
    sends_all: bool,
    first: int,
    rows: int,
) -> None:
    """The very first row of a log, its last, and any between; whole updates or changes only."""
    updates = broken(first, rows, what, before)
    if not sends_all:
        updates = changes_only(updates)
    wanted_s = updates[first].time_s
    events, _ = raised(updates, kind, singly=False)
    assert [event.start_s for event in events] == [wanted_s]
    # Live, what comes after the fault changes nothing of when it was raised.
    live, at_s = raised(updates[: first + 2], kind, singly=True)
    assert [event.start_s for event in live] == [wanted_s]
    assert at_s == [wanted_s]
