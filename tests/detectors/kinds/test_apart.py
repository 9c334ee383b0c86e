"""A sensor that slowly departs from one that it used to follow."""

import numpy as np
import pytest

from detectors.engine.watch import Watch
from shared.events import Event
from shared.updates import Batch, Floats
from shared.words import Kind

HOUR_S = 3600.0


def pair(
    departs_k: float, *, powered: bool, hours: float = 4.0, seed: int = 3, gain: float = 1.0
) -> Batch:
    """A bed with two sensors that warms to 60 °C (or where nothing is told of heat, slowly), and
    a chamber; from the second hour on the second sensor departs over an hour."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, hours * HOUR_S, 1.0)
    warm_s = 120.0 if powered else 600.0
    bed = 23.0 + 37.0 * (1.0 - np.exp(-np.maximum(time_s - 300.0, 0.0) / (4.0 * warm_s)))
    departed = departs_k * np.clip((time_s - 2.0 * HOUR_S) / HOUR_S, 0.0, 1.0)
    truth = {
        "bed": bed,
        "plate": 23.5 + gain * (bed - 23.0) + departed,
        "chamber": 23.0 + 0.2 * (bed - 23.0),
    }
    numbers: dict[str, Floats] = {
        f"{name}.temperature_c": np.round(celsius + rng.normal(0.0, 0.05, len(time_s)), 2)
        for name, celsius in truth.items()
    }
    if powered:
        target = np.where(time_s < 300.0, 0.0, 60.0)
        numbers["bed.target_c"] = target
        numbers["bed.power"] = np.where(target > 0.0, 0.3 + 0.7 * (bed < 57.0), 0.0)
    return Batch(time_s, numbers)


def drifts(batch: Batch) -> tuple[list[Event], Watch]:
    watch = Watch()
    watch.feed(batch)
    watch.finish()
    return [event for event in watch.events if event.kind is Kind.DRIFT], watch


@pytest.mark.parametrize("powered", [True, False])
@pytest.mark.parametrize("departs_k", [-7.0, 7.0, 12.0])
def test_a_slow_departure_is_found(departs_k: float, powered: bool) -> None:
    (event,), _ = drifts(pair(departs_k, powered=powered))
    assert {event.channel, str(event.facts["other"])} == {"bed", "plate"}
    way = 1.0 if event.channel == "plate" else -1.0
    assert np.sign(event.value) == np.sign(departs_k) * way
    # It takes 4 K of the departure, ten minutes, and a few calm windows.
    assert event.start_s > 2.0 * HOUR_S + 0.4 * HOUR_S * 7.0 / abs(departs_k)
    assert event.end_s is None


def test_the_one_without_a_target_is_named() -> None:
    (event,), _ = drifts(pair(8.0, powered=True))
    assert event.channel == "plate"
    assert event.gate is not None


@pytest.mark.parametrize("departs_k", [0.0, 2.5])
@pytest.mark.parametrize("powered", [True, False])
def test_what_stays_within_its_class_says_nothing(departs_k: float, powered: bool) -> None:
    found, _ = drifts(pair(departs_k, powered=powered, gain=1.02))
    assert found == []


def test_channels_that_never_followed_each_other_are_not_compared() -> None:
    """The second sensor sees half of the warmth: where it goes is its own affair."""
    found, watch = drifts(pair(12.0, powered=False, gain=0.5))
    assert found == []
    said = [each.why for each in watch.not_evaluated() if each.kind is Kind.DRIFT]
    assert any("held against another" in why for why in said)


def enclosed(seed: int = 5, *, tells_heat: bool = True) -> Batch:
    """A hot end and the air of an enclosure that cool together from a former print, at rest for
    hours, and warm with the room; then a print heats the hot end, and the air stays."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, 10.0 * HOUR_S, 1.0)
    fall = 24.0 * np.exp(-time_s / 5000.0)
    room = 21.0 + fall + 4.0 * np.clip(time_s / HOUR_S - 4.0, 0.0, 4.0)
    is_on = time_s > 8.0 * HOUR_S
    since_s = np.maximum(time_s - 8.0 * HOUR_S, 0.0)
    hotend = room + (240.0 - room) * (1.0 - np.exp(-since_s / 60.0))
    numbers: dict[str, Floats] = {
        "hotend.temperature_c": np.round(hotend + rng.normal(0.0, 0.05, len(time_s)), 2),
        "air.temperature_c": np.round(room + 0.3 + rng.normal(0.0, 0.05, len(time_s)), 2),
    }
    if tells_heat:
        numbers["hotend.target_c"] = np.where(is_on, 240.0, 0.0)
        numbers["hotend.power"] = np.where(is_on, 0.4, 0.0)
    return Batch(time_s, numbers)


@pytest.mark.parametrize("tells_heat", [True, False])
def test_what_follows_the_room_at_rest_is_not_paired(tells_heat: bool) -> None:
    """Hot end and air agree while nothing heats either: that they part in a print is right."""
    found, watch = drifts(enclosed(tells_heat=tells_heat))
    assert found == []
    assert any(each.kind is Kind.DRIFT for each in watch.not_evaluated())


def test_one_that_goes_far_at_once_while_the_other_stays_has_not_drifted() -> None:
    """Two channels of which nothing tells the heat warm together; then one is heated alone."""
    calm = pair(0.0, powered=False)
    celsius = calm.numbers["plate.temperature_c"].copy()
    celsius[int(3.0 * HOUR_S) :] += 100.0
    found, _ = drifts(Batch(calm.time_s, {**calm.numbers, "plate.temperature_c": celsius}))
    assert found == []


def test_sensors_of_two_heaters_are_not_paired() -> None:
    """Two heaters held alike for an hour are set apart afterwards, slowly, by their targets."""
    both = pair(12.0, powered=True)
    target = np.where(both.time_s < 300.0, 0.0, 60.0)
    target += 12.0 * np.clip((both.time_s - 2.0 * HOUR_S) / HOUR_S, 0.0, 1.0)
    numbers = {**both.numbers, "plate.target_c": target, "plate.power": both.numbers["bed.power"]}
    found, _ = drifts(Batch(both.time_s, numbers))
    assert [event for event in found if "other" in event.facts] == []
