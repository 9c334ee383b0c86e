"""How far a heater can swing a reading, and whether its power is told as it is."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from detectors.chance.tones import Tone
from detectors.heat.ripple import able, follows, is_linear
from shared.updates import Floats

HZ = 0.08
TIMES: Floats = np.arange(0.0, 128.0, 0.25)
TONE = Tone(HZ, 1.0, 0.05, 0.05, 0.0)


def reading(seed: int = 1) -> Floats:
    noise = np.random.default_rng(seed).normal(0.0, 0.05, len(TIMES))
    return np.asarray(np.sin(2.0 * np.pi * HZ * TIMES) + noise)


def smoothed(power: Floats, seconds: float) -> Floats:
    keep = math.exp(-0.25 / seconds)
    return np.asarray(lfilter([1.0 - keep], [1.0, -keep], power))


def test_a_heater_swings_by_its_rise_over_two_pi_f() -> None:
    """Power of amplitude 0.2 at 0.08 Hz and 5 K/s at full power: the integral of a sine. Flow of
    which nothing is told may take a tenth of its mean."""
    power = 0.4 - 0.2 * reading()
    for may_flow, unknown in ((False, 0.0), (True, 0.04)):
        most_k = able(TIMES, reading(), power, TONE, 5.0, may_flow=may_flow)
        swing = math.hypot(0.2, unknown)
        assert most_k == pytest.approx(5.0 * swing / (2.0 * math.pi * HZ), rel=0.05)


@pytest.mark.parametrize("rounding", [3, 2])
def test_a_loop_that_answers_noise_at_once_is_told_as_it_is(rounding: int) -> None:
    assert follows(TIMES, reading(), np.round(0.4 - 0.2 * reading(), rounding), TONE)


@pytest.mark.parametrize("rows", [1, 4])
def test_a_loop_that_is_told_late_is_told_as_it_is(rows: int) -> None:
    assert follows(TIMES, reading(), np.roll(0.4 - 0.2 * reading(), rows), TONE)


@pytest.mark.parametrize("seconds", [1.0, 2.0, 5.0])
def test_a_loop_that_is_told_smoothed_is_not(seconds: float) -> None:
    assert not follows(TIMES, reading(), smoothed(0.4 - 0.2 * reading(), seconds), TONE)


@pytest.mark.parametrize("seconds", [0.01, 5.0])
def test_a_switch_is_not_however_it_is_told(seconds: float) -> None:
    """Noise decides when a relay switches, so edges and noise go together a little."""
    for seed in range(50):
        values, on, powers = reading(seed), 0.0, []
        for value in values.tolist():
            on = 1.0 if value < -0.7 else 0.0 if value > 0.7 else on
            powers.append(on)
        assert not follows(TIMES, values, smoothed(np.array(powers), seconds), TONE)


def test_what_smoothing_may_hide_counts_for_the_heater() -> None:
    power = 0.4 - 0.2 * np.sin(2.0 * np.pi * HZ * TIMES)
    plain = able(TIMES, reading(), 0.4 - 0.2 * reading(), TONE, 5.0)
    assert able(TIMES, reading(), power, TONE, 5.0) == pytest.approx(3.0 * plain, rel=0.1)


def test_a_loop_is_linear_away_from_its_ends_and_from_its_rounding() -> None:
    power = 0.4 - 0.2 * reading()
    assert is_linear(TIMES, reading(), power, TONE)
    assert not is_linear(TIMES, reading(), power + 0.2, TONE)
    assert not is_linear(TIMES, reading(), power - 0.2, TONE)
    assert not is_linear(TIMES, reading(), smoothed(power, 5.0), TONE)
    coarse = np.round((0.4 - 0.04 * reading()) * 20.0) / 20.0
    assert not is_linear(TIMES, reading(), coarse, TONE)
