"""What is only a part of another event is absorbed by it, and what is not stands."""

import numpy as np
import pytest

from client.simulated import plain
from client.simulated.scenario import load_scenario
from detectors.engine.watch import Watch
from shared.chain import EXAMPLE
from shared.events import Event
from shared.updates import Update, Value, batch_of
from shared.words import EVERY_CHANNEL, Kind
from tests.detectors.logs import steady, watched
from tests.levels import first


def events_of(updates: list[Update]) -> list[Event]:
    watch = Watch({"nozzle": EXAMPLE})
    watch.feed(batch_of(updates))
    watch.finish()
    return watch.events


def standing(events: list[Event]) -> list[Kind]:
    return [event.kind for event in events if event.absorbed_by is None]


def test_excursions_that_roughen_their_windows_are_no_noise() -> None:
    """Two dozen readings up and down in a minute: whatever they are called, noise did not rise."""
    roughened = 0
    for seed in range(6):
        rng = np.random.default_rng(seed)
        log = steady(400.0, seed=seed)
        odd = set((1000 + rng.choice(240, 24, replace=False)).tolist())
        updates = []
        for index, update in enumerate(log):
            values: dict[str, Value] = dict(update.values)
            code = values["nozzle.code"]
            if index in odd and isinstance(code, float):
                values["nozzle.code"] = code + float(rng.choice([-1900.0, 1500.0, 2800.0]))
            updates.append(Update(update.time_s, values))
        events = events_of(updates)
        assert Kind.NOISE_RISE not in standing(events)
        roughened += any(event.kind is Kind.NOISE_RISE for event in events)
    assert roughened


def test_noise_with_excursions_beside_it_stands() -> None:
    """Six times the noise and one spike: the noise is its own story."""
    quiet, loud = steady(300.0, seed=1), steady(100.0, noise_c=0.3, seed=2)
    updates = [*quiet, *(Update(u.time_s + 300.0, u.values) for u in loud)]
    spiked = dict(updates[1300].values)
    spiked["nozzle.code"] = 17000.0
    updates[1300] = Update(updates[1300].time_s, spiked)
    assert Kind.NOISE_RISE in standing(events_of(updates))


def test_power_that_climbs_beside_a_frozen_reading_is_part_of_it() -> None:
    """The controller asks for more and more since nothing moves: frozen, and no drift beside."""
    log = steady(1200.0, seed=3)
    updates = []
    for index, update in enumerate(log):
        values: dict[str, Value] = dict(update.values)
        values["nozzle.power"] = 0.4
        if index >= 2400:
            values["nozzle.temperature_c"] = log[2400].values["nozzle.temperature_c"]
            values["nozzle.code"] = log[2400].values["nozzle.code"]
            values["nozzle.power"] = min(0.4 + 0.0005 * (index - 2400), 1.0)
        updates.append(Update(update.time_s, values))
    events = events_of(updates)
    assert standing(events) == [Kind.FROZEN]
    assert {event.kind for event in events} & {Kind.DRIFT, Kind.NO_RISE}


def test_what_the_host_reports_is_an_event_each_time() -> None:
    """The same report thrice is three occurrences; of the host itself it means every channel."""
    updates = steady(60.0)
    for at_s in (20.0, 25.0, 30.0):
        updates.append(Update(at_s, {"nozzle.reported": "no-rise"}))
    updates.append(Update(40.0, {"host.reported": "halt", "bed.reported": "no kind of ours"}))
    updates.sort(key=lambda update: update.time_s)
    found = {(event.kind, event.channel): event.count for event in events_of(updates)}
    assert found == {(Kind.NO_RISE, "nozzle"): 3, (Kind.HALT, EVERY_CHANNEL): 1}
    singly = Watch({"nozzle": EXAMPLE})
    for update in updates:
        singly.feed(batch_of([update]))
    singly.finish()
    assert singly.events == events_of(updates)


def test_words_of_flags_add_up_while_one_event_lasts() -> None:
    """open, then short besides: both words are in the facts, with the share in motion."""
    updates = [
        Update(u.time_s, {**u.values, "motion.speed_mm_s": 80.0 if u.time_s > 30.0 else 0.0})
        for u in steady(60.0)
    ]
    for index, words in ((80, "open"), (90, "none"), (160, "short"), (170, "none")):
        updates[index].values["nozzle.flags"] = words
    (event,) = [event for event in events_of(updates) if event.kind is Kind.CONVERTER_FLAG]
    assert event.facts["flags"] == "open;short"
    assert event.facts["moving"] == 0.5
    assert event.count == 2


def test_no_figure_of_an_event_is_missing() -> None:
    """An open input from the first reading on: its facts are all finite."""
    updates = [Update(u.time_s, {**u.values, "nozzle.code": 65535.0}) for u in steady(20.0)]
    (event,) = [event for event in events_of(updates) if event.kind is Kind.CODE_HIGH]
    assert all(value == value for value in event.facts.values())


@pytest.mark.parametrize("seed", first(1, [1, 2, 20]))
def test_noise_of_windows_full_of_joint_jumps_is_part_of_them(seed: int) -> None:
    """The supply dips for some seconds at a time; a controller's board is rounded to 0.1 K."""
    scenario = load_scenario("supply-dip")
    events = watched(list(plain.updates(scenario, seed)), scenario.chains)
    assert {event.kind for event in events} == {Kind.JOINT_JUMP}
