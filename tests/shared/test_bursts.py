"""First out: which event of a burst came first."""

import random

from shared.bursts import BURST_S, bursts, place_words, places
from shared.words import Kind
from tests.tui.fakes import event

LINK = event(2, Kind.LINK_LOSS, 100.0, 104.0, channel="*")
NOZZLE = event(1, Kind.CODE_HIGH, 100.25, None)
BED = event(0, Kind.CODE_HIGH, 103.0, None, channel="bed")


def test_the_first_sample_decides_not_the_order_in_which_events_were_found() -> None:
    found = [NOZZLE, BED, LINK]
    random.Random(1).shuffle(found)
    assert [[each.id for each in burst] for burst in bursts(found)] == [[2, 1, 0]]
    assert {id_: each.place for id_, each in places(found).items()} == {2: 1, 1: 2, 0: 3}


def test_events_of_one_sample_share_the_first_place() -> None:
    together = event(4, Kind.CODE_LOW, 100.0, None, channel="chamber")
    found = places([LINK, together, NOZZLE])
    assert found[2].is_first
    assert found[4].is_first
    assert found[1].place == 3


def test_one_channel_alone_makes_no_burst() -> None:
    assert bursts([NOZZLE, event(5, Kind.SPIKE, 101.0, 101.0)]) == []


def test_what_comes_later_than_a_burst_reaches_is_none_of_it() -> None:
    late = event(6, Kind.SPIKE, 100.0 + BURST_S + 0.1, None, channel="bed")
    assert bursts([LINK, late]) == []


def test_kinds_whose_onset_no_sample_shows_take_no_place() -> None:
    """A drift is found over minutes: its start says nothing about what came first."""
    drift = event(7, Kind.DRIFT, 99.0, None, channel="bed")
    assert [each.id for each in bursts([drift, LINK, NOZZLE])[0]] == [2, 1]


def test_absorbed_events_take_no_place() -> None:
    part = event(8, Kind.SPIKE, 99.9, 99.9, absorbed_by=2)
    assert places([part, LINK, NOZZLE])[2].is_first


def test_words() -> None:
    found = places([LINK, NOZZLE, BED])
    assert place_words(found[2]) == "first out of 3"
    assert place_words(found[0]) == "number 3 of 3, 3.0 s after link-loss on all"
