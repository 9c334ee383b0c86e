"""What of a host's messages could not be used is counted, and told in the log."""

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from client.form import Channel, Profile, UpdateSource
from client.mapping import Mapper
from client.refusals import FIT_S, GREETINGS
from detectors.engine.watch import Watch
from shared.events import Event
from shared.unreadable import NO_FIT, UNREADABLE, told, told_of
from shared.updates import Entry, EntryKind, Update, batch_of
from shared.words import Kind

PERIOD_S = 0.25
PROFILE = Profile(
    format=1,
    updates=(UpdateSource(has="/at", clock="/at", status="/now"),),
    channels={"nozzle": Channel(temperature_c="/n")},
)


def good(n: int) -> bytes:
    return msgspec.json.encode({"at": n * PERIOD_S, "now": {"n": 21.0}})


def heard(frames: list[bytes], kind: EntryKind = EntryKind.MESSAGE) -> tuple[Mapper, list[Update]]:
    mapper = Mapper(PROFILE)
    entries = [
        Entry(500.0 + n * PERIOD_S, kind if frame[:1] == b"x" else EntryKind.MESSAGE, frame)
        for n, frame in enumerate(frames)
    ]
    return mapper, [update for entry in entries for update in mapper.feed(entry)]


def events(updates: list[Update]) -> list[Event]:
    watch = Watch()
    watch.feed(batch_of(updates))
    watch.finish()
    return [event for event in watch.events if event.kind is Kind.UNREADABLE]


def messages(updates: list[Update]) -> int:
    found = [told_of(str(u.values[UNREADABLE])) for u in updates if UNREADABLE in u.values]
    return sum(one[0] for one in found if one is not None)


def test_every_message_that_is_no_json_is_counted_once() -> None:
    """However many come in a second; one event with their number and one of them."""
    frames = [b"<html>" if n % 3 == 2 else good(n) for n in range(400)]
    mapper, updates = heard([*frames, *(good(n) for n in range(400, 440))])
    assert mapper.refused == {"not JSON": 133}
    assert messages(updates) == 133
    (event,) = events(updates)
    assert event.value == 133.0
    assert "133 messages could not be used: not JSON, such as '<html>'" in event.text


def test_a_frame_beyond_the_limit_is_told_by_its_beginning() -> None:
    frames = [b"x" * 40 if n == 20 else good(n) for n in range(60)]
    _, updates = heard(frames, EntryKind.CUT_SHORT)
    (event,) = events(updates)
    assert "1 message could not be used: larger than is read, such as 'xxx" in event.text


def test_where_nothing_fits_it_says_so_within_ten_seconds_and_how_to_go_on() -> None:
    """Readings under names that the profile does not know."""
    frames = [msgspec.json.encode({"when": n, "heat": 21.0}) for n in range(60)]
    _, updates = heard(frames)
    (event,) = events(updates)
    assert event.start_s <= 10.0
    assert "none fits this profile" in event.text
    assert "watch HOST --check" in event.text


def test_what_a_host_says_beside_its_readings_is_no_fault() -> None:
    """Other messages that are sound, once one has fitted."""
    frames = [good(n) if n % 2 else b'{"weather": "fair"}' for n in range(200)]
    assert events(heard(frames)[1]) == []


@pytest.mark.parametrize("lines", [1, GREETINGS])
def test_a_greeting_is_no_fault(lines: int) -> None:
    """It is counted all the same."""
    mapper, updates = heard([b"welcome"] * lines + [good(n) for n in range(100)])
    assert events(updates) == []
    assert mapper.refused == {"not JSON": lines}


def test_values_that_are_none_are_told_with_their_name() -> None:
    spoilt = msgspec.json.encode({"at": 10.0, "now": {"n": "warm 2"}})
    _, updates = heard([spoilt if n == 40 else good(n) for n in range(80)])
    (event,) = events(updates)
    assert "nozzle.temperature_c, such as 'warm 2'" in event.text


def test_nothing_is_told_before_a_host_had_its_time() -> None:
    """A host may need some seconds to begin."""
    _, updates = heard([b"loading"] * int((FIT_S - 1.0) / PERIOD_S))
    assert messages(updates) == 0


@given(
    st.integers(1, 10**9),
    st.sampled_from(["not JSON", NO_FIT, "bed.temperature_c"]),
    st.text(max_size=300),
)
def test_what_is_told_is_read_again(count: int, why: str, example: str) -> None:
    """Count and reason whole, the example as far as it can be shown."""
    found = told_of(told(count, why, example))
    assert found is not None
    assert found[:2] == (count, why)
    assert found[2].isprintable()


@given(st.text(max_size=100))
def test_other_text_is_never_taken_for_it_without_a_count(text: str) -> None:
    """A log drawn elsewhere may hold anything there."""
    found = told_of(text)
    assert found is None or text[0].isdigit()
