"""Noise is judged against this channel's own."""

import itertools

import numpy as np
import pytest

from detectors.engine.watch import Watch
from shared.events import Event
from shared.updates import Batch
from shared.words import Kind
from tests.levels import first, one_in


def noisy(
    seconds: float,
    louder: float,
    from_s: float,
    to_s: float,
    *,
    period_s: float = 0.25,
    rounding: float = 0.01,
    noise: float = 0.05,
    seed: int = 1,
    celsius: float = 60.0,
) -> Batch:
    """A held bed whose noise is `louder` times larger for a while."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, seconds, period_s)
    time_s = time_s + rng.uniform(0.0, 0.1 * period_s, len(time_s))
    sd = np.where((time_s >= from_s) & (time_s < to_s), louder * noise, noise)
    reading = np.round((celsius + rng.normal(0.0, 1.0, len(time_s)) * sd) / rounding) * rounding
    target = np.full(len(time_s), celsius)
    power = np.full(len(time_s), 0.3)
    return Batch(time_s, {"bed.temperature_c": reading, "bed.target_c": target, "bed.power": power})


def events(batch: Batch) -> list[Event]:
    watch = Watch()
    watch.feed(batch)
    watch.finish()
    return [event for event in watch.events if event.kind is Kind.NOISE_RISE]


@pytest.mark.parametrize("period_s", [0.25, 1.0])
@pytest.mark.parametrize("louder", [2.5, 5.0, 20.0])
def test_louder_noise_is_found_and_ends(louder: float, period_s: float) -> None:
    """2.5 times the noise for twenty minutes gives one event with its size, start and end."""
    (event,) = events(noisy(6000.0, louder, 2000.0, 3200.0, period_s=period_s))
    assert event.start_s == pytest.approx(2000.0, abs=100.0 * period_s)
    assert event.end_s == pytest.approx(3200.0, abs=200.0 * period_s)
    assert event.value == pytest.approx(0.08 * louder, rel=0.6)  # the loudest window
    assert event.unit == "K"


@pytest.mark.parametrize(("period_s", "is_told"), [(0.5, True), (5.0, False)])
def test_what_a_heater_moves_between_rare_readings_is_no_noise(
    period_s: float, is_told: bool
) -> None:
    """Eight times louder while it is hot: from reading to reading in 5 s a heater may do that."""
    batch = noisy(800.0 * period_s, 8.0, 300.0 * period_s, 1e9, period_s=period_s)
    is_hot = batch.time_s >= 300.0 * period_s
    target = np.where(is_hot, 60.0, 0.0)
    told = {"bed.target_c": target, "bed.power": np.where(is_hot, 0.3, 0.0)}
    assert bool(events(Batch(batch.time_s, {**batch.numbers, **told}))) == is_told


def test_of_readings_a_minute_apart_nothing_is_said_and_why() -> None:
    """Air by day is as uneven."""
    batch = noisy(3200.0 * 60.0, 8.0, 1600.0 * 60.0, 1e9, period_s=60.0)
    watch = Watch()
    watch.feed(batch)
    watch.finish()
    assert not any(event.kind is Kind.NOISE_RISE for event in watch.events)
    (why,) = [one.why for one in watch.not_evaluated() if one.kind is Kind.NOISE_RISE]
    assert why.startswith("one reading in 60 s")


def test_the_turns_of_a_switch_are_no_noise_in_what_was_cold_before() -> None:
    """A quiet reading that swings by 0.08 K as its heater turns once a second."""
    batch = noisy(900.0, 1.0, 0.0, 0.0, period_s=0.43, noise=0.01)
    is_hot = batch.time_s >= 300.0
    turns = 0.08 * np.sin(2.0 * np.pi * 0.97 * batch.time_s) * is_hot
    told = {
        "bed.temperature_c": batch.numbers["bed.temperature_c"] + np.round(turns, 2),
        "bed.target_c": np.where(is_hot, 60.0, 0.0),
        "bed.power": np.where(is_hot, 0.3, 0.0),
    }
    assert events(Batch(batch.time_s, told)) == []


@pytest.mark.parametrize(
    ("noise", "rounding", "seed"),
    one_in(7, itertools.product((0.01, 0.03, 0.1), (0.01, 0.1), range(3))),
)
def test_a_quiet_night_says_nothing(noise: float, rounding: float, seed: int) -> None:
    """Coarse rounding makes noise come and go; that is no rise."""
    quiet = noisy(12_000.0, 1.0, 0.0, 0.0, noise=noise, rounding=rounding, seed=seed)
    assert events(quiet) == []


def test_a_reading_that_drifts_across_its_steps_says_nothing() -> None:
    """A reading that is quieter than its rounding flips only near a border between two steps."""
    rng = np.random.default_rng(3)
    time_s = np.arange(0.0, 12_000.0, 0.25)
    true_c = 23.0 + 0.3 * np.sin(time_s / 900.0) + rng.normal(0.0, 0.02, len(time_s))
    assert events(Batch(time_s, {"room.temperature_c": np.round(true_c, 1)})) == []


def test_a_heat_up_is_not_noise() -> None:
    """Bends of heat at one update a second cancel in third differences."""
    rng = np.random.default_rng(4)
    time_s = np.arange(0.0, 1200.0, 1.0)
    after = np.maximum(time_s - 400.0, 0.0)
    true_c = 25.0 + 180.0 * (1.0 - np.exp(-after / 40.0) * (1.0 + after / 40.0))
    reading = np.round(true_c + rng.normal(0.0, 0.03, len(time_s)), 2)
    target = np.where(time_s < 400.0, 0.0, 205.0)
    assert events(Batch(time_s, {"nozzle.temperature_c": reading, "nozzle.target_c": target})) == []


def test_before_its_own_noise_is_known_it_says_so() -> None:
    watch = Watch()
    watch.feed(noisy(10.0, 1.0, 0.0, 0.0))
    assert Kind.NOISE_RISE in {found.kind for found in watch.not_evaluated()}


def relay(
    seconds: float, period_s: float, *, noise: float = 0.01, louder_from_s: float = np.inf
) -> Batch:
    """A hot end switched on and off, each reading up to a period old when it is written down."""
    rng = np.random.default_rng(7)
    time_s = np.arange(0.0, seconds, period_s)
    taken_s = np.maximum(time_s - rng.uniform(0.0, period_s, len(time_s)), 0.0)
    hot = time_s > 600.0
    swing = np.where(hot, 4.0 * np.abs(taken_s % 24.0 - 12.0) / 12.0 - 2.0, 0.0)
    sd = np.where(time_s < louder_from_s, noise, 30.0 * noise)
    reading = np.where(hot, 210.0, 25.0) + swing + rng.normal(0.0, 1.0, len(time_s)) * sd
    return Batch(
        time_s,
        {
            "nozzle.temperature_c": np.round(reading, 2),
            "nozzle.target_c": np.where(hot, 210.0, 0.0),
            "nozzle.power": np.where(hot, (time_s // 12.0) % 2.0, 0.0),
        },
    )


@pytest.mark.parametrize("period_s", first(2, [0.25, 2.0, 0.5, 1.0]))
def test_a_relays_swing_is_no_noise(period_s: float) -> None:
    """Readings that move by a third of a kelvin a second are off by what they are late."""
    assert events(relay(7200.0, period_s)) == []


def test_noise_above_a_relays_swing_is_found() -> None:
    """Three times what lateness makes of it."""
    (event,) = events(relay(7200.0, 0.25, louder_from_s=3600.0))
    assert event.value == pytest.approx(0.3, rel=0.6)
    assert events(relay(3500.0, 0.25, louder_from_s=3600.0)) == []


def stirred(period_s: float, louder_from_s: float = np.inf) -> Batch:
    """A print whose flow moves real heat at a small tip, after a rest of ten minutes.

    Flow changes every second or so; the tip follows with a lag of 3 s: some 0.4 K in all.
    """
    rng = np.random.default_rng(8)
    step_s = 0.05
    fine = np.arange(0.0, 5400.0, step_s)
    flow = np.repeat(rng.uniform(0.35, 1.0, len(fine)), 24)[: len(fine)]
    pull = np.where(fine > 600.0, 2.0 * (flow - 0.675), 0.0)
    tip = np.empty(len(fine))
    now = 0.0
    for index, wanted in enumerate(pull.tolist()):
        now += step_s / 3.0 * (wanted - now)
        tip[index] = now
    every = round(period_s / step_s)
    time_s = fine[::every]
    sd = np.where(time_s < louder_from_s, 0.03, 0.3)
    reading = 210.0 - tip[::every] + rng.normal(0.0, 1.0, len(time_s)) * sd
    return Batch(
        time_s,
        {
            "nozzle.temperature_c": np.round(reading, 2),
            "nozzle.target_c": np.full(len(time_s), 210.0),
            "nozzle.power": np.full(len(time_s), 0.4),
            "motion.speed_mm_s": np.where(time_s > 600.0, 80.0, 0.0),
        },
    )


@pytest.mark.parametrize("period_s", [0.25, 0.5, 1.0])
def test_heat_that_flow_stirs_is_no_noise(period_s: float) -> None:
    assert events(stirred(period_s)) == []


@pytest.mark.parametrize("period_s", [0.25, 1.0])
def test_noise_on_top_of_stirred_heat_is_found(period_s: float) -> None:
    (event,) = events(stirred(period_s, louder_from_s=3000.0))
    assert event.start_s == pytest.approx(3000.0, abs=260.0 * period_s)


def test_steps_that_grow_with_heat_are_no_noise() -> None:
    """A divider's converter: 0.07 K a step at one target and three times that at the next."""
    rng = np.random.default_rng(9)
    time_s = np.arange(0.0, 7200.0, 0.25)
    hot = (time_s // 900.0) % 2.0 > 0.0
    true_c = np.where(hot, 235.1, 175.0) + rng.normal(0.0, 0.03, len(time_s))
    step = np.where(hot, 0.21, 0.07)
    reading = np.asarray(np.round(np.round(true_c / step) * step, 2), dtype=np.float64)
    numbers = {"nozzle.temperature_c": reading, "nozzle.target_c": np.where(hot, 235.0, 175.0)}
    assert events(Batch(time_s, numbers)) == []


def test_readings_that_are_no_longer_told_twice_are_no_noise() -> None:
    """A host that catches each reading twice, and later once, as its rhythm shifts."""
    rng = np.random.default_rng(10)
    time_s = np.arange(0.0, 3600.0, 0.25)
    fresh = rng.normal(60.0, 0.05, len(time_s))
    reading = np.where(time_s < 1200.0, np.repeat(fresh[::2], 2), fresh)
    assert (
        events(Batch(time_s, {"bed.temperature_c": np.round(reading, 3).astype(np.float64)})) == []
    )


@pytest.mark.parametrize("rows", [40, 240, 1000])
def test_a_reading_that_stands_and_moves_again_as_before_is_no_rise(rows: int) -> None:
    """The windows in which it begins and ceases to stand are not the channel's noise."""
    rng = np.random.default_rng(rows)
    time_s = np.arange(0.0, 1500.0, 0.5)
    reading = np.round(200.0 + rng.normal(0.0, 0.5, len(time_s)), 3)
    reading[1000 : 1000 + rows] = reading[1000]
    assert events(Batch(time_s, {"nozzle.temperature_c": reading})) == []
    louder = np.where(np.arange(len(time_s)) > 2400, 200.0 + 3.0 * (reading - 200.0), reading)
    assert len(events(Batch(time_s, {"nozzle.temperature_c": louder}))) == 1


@pytest.mark.parametrize("rounding", [0.5, 1.0])
def test_noise_that_wakes_a_reading_that_stood_is_a_rise(rounding: float) -> None:
    """Coarse degrees hide a sound chain's noise: standing is its habit, before and after."""
    rng = np.random.default_rng(11)
    time_s = np.arange(0.0, 7200.0, 0.5)
    true_c = 25.0 + 185.0 * (1.0 - np.exp(-time_s / 90.0))
    sd = np.where((time_s > 4000.0) & (time_s < 4800.0), 4.0, 0.02)
    reading = np.round((true_c + rng.normal(0.0, 1.0, len(time_s)) * sd) / rounding) * rounding
    batch = Batch(time_s, {"nozzle.temperature_c": reading})
    (event,) = events(batch)
    assert event.start_s == pytest.approx(4000.0, abs=100.0)
    assert event.end_s == pytest.approx(4800.0, abs=120.0)
    watch = Watch()
    watch.feed(batch)
    watch.finish()
    assert Kind.FROZEN not in {event.kind for event in watch.events}
