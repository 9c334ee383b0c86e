"""Spans and thinned logs."""

from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from recordings.cut import THIN_S, Span, around
from recordings.cut import joined as joined_stretches
from recordings.logs import open_log
from shared.updates import Update, Value
from tests.recordings.logs import grouped, joined, logs, night, record


def last_values(updates: list[Update], until_s: float) -> dict[str, Value]:
    held: dict[str, Value] = {}
    for update in updates:
        if update.time_s <= until_s:
            held |= update.values
    return held


def test_a_span_begins_with_what_held_before_it(tmp_path: Path) -> None:
    """A host that sends only changes said the power long ago; the cut still knows it."""
    updates = night(400)
    record(tmp_path / "a.ohmv", updates)
    span = Span(open_log(tmp_path / "a.ohmv"), 30.0, 60.0)
    found = joined(span.batches())
    span.close()
    inside = [update for update in updates if 30.0 <= update.time_s <= 60.0]
    assert [update.time_s for update in found] == [update.time_s for update in inside]
    assert found[1:] == inside[1:]
    assert found[0].values == last_values(updates, inside[0].time_s)


def test_a_span_counts_its_own_samples(tmp_path: Path) -> None:
    updates = night(400)
    record(tmp_path / "a.ohmv", updates)
    span = Span(open_log(tmp_path / "a.ohmv"), 30.0, 60.0)
    inside = [update for update in updates if 30.0 <= update.time_s <= 60.0]
    assert span.samples == 2 * len(inside)
    assert span.duration_s == inside[-1].time_s - inside[0].time_s
    assert [note.text for note in span.notes] == []
    span.close()


def test_all_detail_stays_around_an_event_and_little_elsewhere() -> None:
    updates = night(2000)
    found = joined(around(grouped(updates, [700]), [(100.0, 120.0)]))
    inside = [update for update in updates if 100.0 <= update.time_s <= 120.0]
    kept = [update for update in found if 100.0 <= update.time_s <= 120.0]
    assert [update.time_s for update in kept] == [update.time_s for update in inside]
    assert kept[1:] == inside[1:]
    outside = [update.time_s for update in found if update.time_s < 100.0]
    assert np.diff(outside).min() >= THIN_S
    assert np.diff(outside).max() < THIN_S + 0.5


@given(logs(), st.lists(st.integers(0, 30), max_size=4), st.floats(0.0, 60.0))
def test_thinning_loses_no_last_value(log: list[Update], cuts: list[int], width_s: float) -> None:
    """At every kept moment, each key holds what it held in the whole log."""
    middle_s = log[len(log) // 2].time_s
    stretches = [(middle_s - width_s, middle_s + width_s)]
    found = joined(around(grouped(log, cuts), stretches))
    held: dict[str, Value] = {}
    for update in found:
        held |= update.values
    assert held == last_values(log, log[-1].time_s)
    times = [update.time_s for update in found]
    assert times == sorted(times)


def test_stretches_that_touch_are_one() -> None:
    assert joined_stretches([(5.0, 7.0), (1.0, 3.0), (2.0, 5.0), (9.0, 9.5)]) == [
        (1.0, 7.0),
        (9.0, 9.5),
    ]
