"""Noise that is there while a heater is on, though that was but once."""

import numpy as np
import pytest

from detectors.book import EventBook
from detectors.diagnosis import diagnose
from detectors.engine.watch import Watch
from detectors.kinds.edges import EdgeRule
from detectors.reports import Cleared, Sighting
from shared.events import Event
from shared.updates import Batch
from shared.words import Cause, Kind


def watched(noise_s: tuple[float, float], heats_s: list[tuple[float, float]]) -> list[Event]:
    """Three hours of a nozzle that is held, and a bed that is switched on and off."""
    rng = np.random.default_rng(4)
    time_s = np.arange(0.0, 10_800.0, 0.5)
    is_on = np.zeros(len(time_s), dtype=bool)
    for begin_s, end_s in heats_s:
        is_on |= (time_s >= begin_s) & (time_s < end_s)
    loud = (time_s >= noise_s[0]) & (time_s < noise_s[1])
    reading = 210.0 + rng.normal(0.0, 0.03, len(time_s)) * np.where(loud, 8.0, 1.0)
    watch = Watch({})
    watch.feed(
        Batch(
            time_s,
            {
                "nozzle.temperature_c": np.round(reading, 2),
                "nozzle.target_c": np.full(len(time_s), 210.0),
                "nozzle.power": np.round(0.3 + rng.normal(0.0, 0.01, len(time_s)), 3),
                "bed.temperature_c": np.round(60.0 + rng.normal(0.0, 0.03, len(time_s)), 2),
                "bed.power": np.where(is_on, 0.5, 0.0),
            },
        )
    )
    watch.finish()
    return list(watch.events)


@pytest.mark.parametrize("shift_s", [0.0, 300.0])
def test_noise_between_a_heaters_edges_is_tied_to_it_though_it_was_but_once(
    shift_s: float,
) -> None:
    """The same noise five minutes later is tied to nothing."""
    events = watched((4000.0, 5200.0), [(4000.0 - shift_s, 5200.0 - shift_s)])
    ties = [event.tied_to for event in events if event.kind is Kind.INTERFERENCE]
    assert ties == (["bed.power"] if shift_s == 0.0 else [])


def test_what_is_tied_to_a_heater_leads_to_currents_that_switch() -> None:
    """Not to a filter or a contact, which know nothing of a heater."""
    events = watched((4000.0, 5200.0), [(4000.0, 5200.0)])
    leading = diagnose(events, {})[0].cause
    assert leading in {Cause.GROUND_LOOP, Cause.SUPPLY, Cause.CABLE_PICKUP}


def test_a_heater_that_is_switched_all_the_time_is_tied_to_nothing() -> None:
    heats = [(at, at + 60.0) for at in np.arange(100.0, 10_000.0, 100.0).tolist()]
    events = watched((4000.0, 5260.0), heats)
    assert not any(event.kind is Kind.INTERFERENCE for event in events)


def test_a_tie_to_motion_that_goes_on_is_not_written_over() -> None:
    """Of one channel one interference goes on at a time."""
    book, rule = EventBook(), EdgeRule()
    rule._heaters["bed"].on_s.append(100.0)
    rule._heaters["bed"].off_s.append(900.0)
    rule._window_s, rule._first_s, rule._last_s = 10.0, 0.0, 20_000.0

    def over(kind: Kind, tied_to: str | None, end_s: float | None) -> Event:
        return book.sight(
            Sighting(0, 900.0, "nozzle", kind, 100.0, end_s, 1.0, "K", "x", tied_to=tied_to)
        )

    motion = over(Kind.INTERFERENCE, "motion", None)
    noise = over(Kind.NOISE_RISE, None, 900.0)
    rule.taken(Cleared(0, 900.0, "nozzle", Kind.NOISE_RISE, 900.0), noise, {}, book)
    assert [event.text for event in book.events] == [motion.text, noise.text]
    assert book.events[0].tied_to == "motion"
    book.clear(Cleared(0, 950.0, "nozzle", Kind.INTERFERENCE, 950.0))
    rule.taken(Cleared(0, 950.0, "nozzle", Kind.NOISE_RISE, 900.0), noise, {}, book)
    assert book.events[-1].tied_to == "bed.power"
