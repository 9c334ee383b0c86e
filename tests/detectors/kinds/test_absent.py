"""A reading that the host says it has not: told at once, in its own word, and as nothing else."""

import pytest

from detectors.diagnosis.diagnose import diagnose
from detectors.engine.watch import Watch
from shared.chain import EXAMPLE
from shared.health import Trust
from shared.updates import Update, batch_of
from shared.words import Cause, Kind, Severity
from tests.detectors.logs import steady

LOST, BACK = 240, 400


def lost(with_code: bool = False) -> list[Update]:
    """Two minutes at a hold; in the middle the host says that it has no reading."""
    rows = steady(120.0, with_code=with_code)
    for n in range(LOST, BACK):
        values = {k: v for k, v in rows[n].values.items() if k.endswith(("target_c", "power"))}
        values |= {"nozzle.no_temperature_c": "n/a"}
        values |= {"nozzle.no_code": "n/a"} if with_code else {}
        rows[n] = Update(rows[n].time_s, values)
    return rows


@pytest.mark.parametrize("with_code", [False, True])
def test_it_is_one_event_of_that_channel_from_the_hosts_word_to_the_next_number(
    with_code: bool,
) -> None:
    """Not frozen, no spike, no step: there was nothing to judge."""
    rows = lost(with_code)
    watch = Watch({"nozzle": EXAMPLE})
    watch.feed(batch_of(rows))
    watch.finish()
    (event,) = watch.events
    assert (event.kind, event.channel, event.severity) == (Kind.STALE, "nozzle", Severity.FAILURE)
    assert (event.start_s, event.end_s) == (rows[LOST].time_s, rows[BACK].time_s)
    assert "no reading" in event.text
    assert "'n/a'" in event.text


def test_it_is_told_with_the_very_update_and_the_number_is_no_longer_shown() -> None:
    """Neither true nor held."""
    rows = lost()
    watch = Watch({})
    for update in rows[: LOST + 1]:
        changed = watch.feed(batch_of([update]))
    assert [event.kind for event in changed] == [Kind.STALE]
    (health,) = watch.health()
    assert health.temperature_c is None
    assert health.trust is Trust.UNKNOWN
    assert health.target_c == 210.0


def test_leads_and_sensor_come_first_among_its_causes() -> None:
    """A wire of the bus is possible, and no leading cause."""
    watch = Watch({})
    watch.feed(batch_of(lost()[: LOST + 40]))
    first, second, third = [cause.cause for cause in diagnose(watch.events, {})][:3]
    assert {first, second, third} == {
        Cause.BROKEN_LEAD,
        Cause.LOOSE_CONNECTION,
        Cause.SENSOR_FAILED,
    }


def test_what_cannot_be_read_is_missing_too_but_blames_no_sensor() -> None:
    """The message may be spoilt: a check of function, and no cause that is clear."""
    rows = steady(30.0, with_code=False)
    watch = Watch({})
    watch.feed(
        batch_of([*rows, Update(31.0, {"nozzle.no_temperature_c": "unreadable: an object"})])
    )
    (event,) = watch.events
    assert event.severity is Severity.CHECK_FUNCTION
    assert "'an object', which cannot be read" in event.text
    assert watch.health()[0].temperature_c is None
    assert diagnose(watch.events, {})[0].cause is None
