"""A steady tone in a held reading."""

from typing import Any

import numpy as np
import pytest

from shared.updates import Batch
from shared.words import Kind
from tests.detectors.machine import found, heated, together


def toned(hz: float, amplitude: float, seconds: float = 1500.0, **how: Any) -> Batch:
    def seen(now: float, celsius: float) -> float:
        return celsius + amplitude * float(np.sin(2.0 * np.pi * hz * now))

    return heated(seconds, lambda now: 0.0 if now < 30.0 else 100.0, seen=seen, rise_c_s=2.0, **how)


@pytest.mark.parametrize(
    ("hz", "period_s", "seconds"),
    [(1.9, 0.25, 1500.0), (0.8, 0.25, 1500.0), (0.3, 0.25, 1500.0), (0.37, 1.0, 3600.0)],
)
def test_hum_that_is_folded_down_is_found(hz: float, period_s: float, seconds: float) -> None:
    """0.1 K of tone in 0.03 K of noise: one event with frequency and amplitude."""
    (event,) = found(toned(hz, 0.1, seconds, period_s=period_s), Kind.MAINS_BEAT)
    assert float(event.facts["hz"]) == pytest.approx(hz, rel=0.02)
    assert event.value == pytest.approx(0.1, rel=0.3)


def test_the_wave_of_a_clock_error_is_found() -> None:
    """60 Hz and a clock that is 0.1 % off at 4 Hz make a wave of 16.7 s (computed)."""
    events = found(toned(0.06, 0.15, 2400.0, gain=0.01), Kind.MAINS_BEAT)
    assert [round(float(event.facts["period_s"]), 1) for event in events] == [16.7]


def test_control_ripple_is_no_tone() -> None:
    """A heater that is switched fully on and off swings by itself, and its power says so."""
    rng = np.random.default_rng(2)
    time_s, true_c, late, power = np.arange(0.0, 3000.0, 0.25), 22.0, [0.0] * 16, 0.0
    rows = []
    for _ in time_s:
        late.append(power)
        true_c += 0.25 * (1.5 * late.pop(0) - (true_c - 22.0) / 200.0)
        reading = true_c + float(rng.normal(0.0, 0.02))
        if reading < 99.5:
            power = 1.0
        elif reading > 100.5:
            power = 0.0
        rows.append((round(reading, 2), power))
    readings, powers = np.array(rows).T
    batch = Batch(
        time_s,
        {
            "bed.temperature_c": readings,
            "bed.target_c": np.full(len(time_s), 100.0),
            "bed.power": powers,
        },
    )
    assert found(batch, Kind.MAINS_BEAT) == []


def test_noise_alone_is_no_tone() -> None:
    for seed in range(3):
        assert found(toned(0.5, 0.0, 3000.0, seed=seed), Kind.MAINS_BEAT) == []


@pytest.mark.parametrize("hz", [0.045, 0.055, 0.11])
def test_a_slow_wave_is_found_while_printing_too(hz: float) -> None:
    """Half a kelvin that motion and fan have no part in; the fan's steps are no wave."""
    batch = toned(hz, 0.5, 1800.0, gain=0.01)
    rng = np.random.default_rng(4)
    speed = np.repeat(rng.uniform(20.0, 100.0, len(batch) // 6 + 1), 6)[: len(batch)]
    fan = np.where((batch.time_s // 400.0) % 2.0 > 0.0, 0.4, 0.9)
    moved = together(batch, motion__speed_mm_s=speed, fan__speed=fan)
    (event,) = found(moved, Kind.MAINS_BEAT)
    assert float(event.facts["hz"]) == pytest.approx(hz, rel=0.02)


@pytest.mark.parametrize("hz", [0.045, 0.1])
def test_heat_that_the_carriage_stirs_in_its_own_rhythm_is_no_tone(hz: float) -> None:
    batch = toned(hz, 0.5, 1800.0, gain=0.01)
    speed = 60.0 + 30.0 * np.sin(2.0 * np.pi * hz * batch.time_s)
    assert found(together(batch, motion__speed_mm_s=speed), Kind.MAINS_BEAT) == []
