"""Noise is judged against this channel's own."""

import numpy as np
import pytest

from detectors.watch import Watch
from shared.events import Event
from shared.updates import Batch
from shared.words import Kind


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


@pytest.mark.parametrize("rounding", [0.01, 0.1])
@pytest.mark.parametrize("noise", [0.01, 0.03, 0.1])
def test_a_quiet_night_says_nothing(noise: float, rounding: float) -> None:
    """Coarse rounding makes noise come and go; that is no rise."""
    for seed in range(3):
        assert (
            events(noisy(12_000.0, 1.0, 0.0, 0.0, noise=noise, rounding=rounding, seed=seed)) == []
        )


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
