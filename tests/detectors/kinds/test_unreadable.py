"""unreadable: what could not be used, while it goes on and once it is over."""

import pytest

from detectors.diagnosis import diagnose
from detectors.diagnosis.verdict import verdict
from detectors.engine.watch import Watch
from shared.events import Event
from shared.unreadable import NO_FIT, UNREADABLE, told
from shared.updates import Update, Value, batch_of
from shared.words import Kind


def unreadable(tellings: dict[int, str], *, singly: bool, seconds: int = 90) -> list[Event]:
    """Events of a quiet nozzle whose host is told of at these seconds."""
    updates = []
    for n in range(seconds):
        values: dict[str, Value] = {"nozzle.temperature_c": 25.0 + n % 3 * 0.1}
        if n in tellings:
            values[UNREADABLE] = tellings[n]
        updates.append(Update(float(n), values))
    watch = Watch({})
    for part in [[update] for update in updates] if singly else [updates]:
        watch.feed(batch_of(part))
    return [event for event in watch.events if event.kind is Kind.UNREADABLE]


@pytest.mark.parametrize("singly", [True, False])
def test_it_goes_on_as_long_as_it_is_told_and_ends_when_it_was_quiet(singly: bool) -> None:
    """One event, that ended with the last telling; not one for every second of it."""
    tellings = {n: told(2, "not JSON", "<html>") for n in range(10, 40)}
    (event,) = unreadable(tellings, singly=singly)
    assert (event.start_s, event.end_s, event.count) == (10.0, 39.0, 1)
    assert event.text == "60 messages could not be used: not JSON, such as '<html>'"


def test_it_goes_on_to_the_end_of_the_log() -> None:
    (event,) = unreadable({n: told(1, "not JSON", "") for n in range(60, 90)}, singly=True)
    assert event.end_s is None


def test_every_reason_is_told_and_values_are_called_values() -> None:
    tellings = {
        20: told(3, "nozzle.power", "0/255"),
        21: told(4, "bed.power", "1/255"),
    }
    (event,) = unreadable(tellings, singly=True)
    assert event.text == (
        "7 values could not be used: bed.power (4), such as '1/255'; "
        "nozzle.power (3), such as '0/255'"
    )


def test_a_profile_that_fits_after_all_is_not_said_to_fit_nothing() -> None:
    """What did not fit at first says nothing of a message that is spoilt later."""
    tellings = {5: told(40, NO_FIT, '{"hi"}'), 60: told(1, "not JSON", "<html>")}
    assert "none fits this profile" in unreadable(tellings, singly=True, seconds=50)[0].text
    event = unreadable(tellings, singly=True)[-1]
    assert event.text == "1 message could not be used: not JSON, such as '<html>'"


def test_a_host_of_many_reasons_is_told_within_bounds() -> None:
    tellings = {n: told(1, f"reason {n}", "x" * 40) for n in range(1, 85)}
    (event,) = unreadable(tellings, singly=True)
    assert event.text.startswith("84 messages could not be used: other reasons (20)")
    assert event.text.endswith("; and more")
    assert len(event.text) < 400


def test_what_the_host_says_of_its_state_comes_before_what_could_not_be_used() -> None:
    """Both are questions to the profile; but one of them may be a stop."""
    watch = Watch({})
    updates = [Update(float(n), {"nozzle.temperature_c": 25.0}) for n in range(20)]
    updates[5].values[UNREADABLE] = told(3, "nozzle.power", "0/255")
    updates[8].values["host.state"] = "sulking"
    watch.feed(batch_of(updates))
    text = verdict(watch.events, ()).text
    assert text.startswith("the host says 'sulking'")
    assert "could not be used" in text


def test_what_a_silent_host_says_all_the_same_comes_before_its_causes() -> None:
    """Answers that are errors are no readings: their words are the nearest to a cause."""
    watch = Watch({})
    updates = [Update(n * 0.25, {"nozzle.temperature_c": 25.0 + n % 3 * 0.1}) for n in range(80)]
    words = {"host.message": "the kiln outran its leash"}
    updates += [Update(20.0 + n, dict(words)) for n in range(30)]
    for update in updates:
        watch.feed(batch_of([update]))
    text = verdict(watch.events, diagnose(watch.events, {})).text
    assert text.startswith("no update for more than")
    assert "the host says 'the kiln outran its leash'; link to the host: " in text
