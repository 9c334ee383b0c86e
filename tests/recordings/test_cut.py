"""Spans and thinned logs."""

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from recordings.cut import CutLog, around, starts_of
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
    span = CutLog(open_log(tmp_path / "a.ohmv"), 30.0, 60.0)
    found = joined(span.batches())
    span.close()
    inside = [update for update in updates if 30.0 <= update.time_s <= 60.0]
    assert [update.time_s for update in found] == [update.time_s for update in inside]
    assert found[1:] == inside[1:]
    assert found[0].values == last_values(updates, inside[0].time_s)


def test_a_span_counts_its_own_samples(tmp_path: Path) -> None:
    updates = night(400)
    record(tmp_path / "a.ohmv", updates)
    span = CutLog(open_log(tmp_path / "a.ohmv"), 30.0, 60.0)
    inside = [update for update in updates if 30.0 <= update.time_s <= 60.0]
    assert span.samples == 2 * len(inside)
    assert span.duration_s == inside[-1].time_s - inside[0].time_s
    assert [note.text for note in span.notes] == []
    span.close()


def test_only_stretches_are_kept_and_each_knows_what_held_before_it() -> None:
    updates = night(2000)
    stretches = [(100.0, 120.0), (300.0, 310.0)]
    found = joined(around(grouped(updates, [700, 1234]), stretches))
    expected: list[Update] = []
    for start_s, end_s in stretches:
        first, *rest = [update for update in updates if start_s <= update.time_s <= end_s]
        expected += [Update(first.time_s, last_values(updates, first.time_s)), *rest]
    assert found == expected


@given(logs(), st.lists(st.integers(0, 30), max_size=4), st.floats(0.0, 60.0))
def test_a_cut_knows_every_last_value_however_a_log_is_grouped(
    log: list[Update], cuts: list[int], width_s: float
) -> None:
    """At every kept moment, each key holds what it held in the whole log."""
    middle_s = log[len(log) // 2].time_s
    found = joined(around(grouped(log, cuts), [(middle_s - width_s, middle_s + width_s)]))
    held: dict[str, Value] = {}
    for update in found:
        held |= update.values
    assert found[-1].time_s <= middle_s + width_s
    assert held == last_values(log, found[-1].time_s)


def test_starts_from_a_stranger_are_taken_only_where_they_are_numbers() -> None:
    assert starts_of({"bundle": {"starts": [5, 1.5]}}) == (1.5, 5.0)
    for odd in ({}, {"bundle": 3}, {"bundle": {"starts": "abc"}}, {"bundle": {"starts": ["x"]}}):
        assert starts_of(odd) == ()


def test_stretches_that_touch_are_one() -> None:
    assert joined_stretches([(5.0, 7.0), (1.0, 3.0), (2.0, 5.0), (9.0, 9.5)]) == [
        (1.0, 7.0),
        (9.0, 9.5),
    ]
