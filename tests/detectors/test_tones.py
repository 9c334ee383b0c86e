"""The periodogram against SciPy, and what counts as a tone."""

import numpy as np
import pytest
from scipy.signal import lombscargle

from detectors.tones import lomb_scargle, strongest_tone, tone_at
from shared.updates import Floats


def uneven(n: int, seed: int) -> tuple[Floats, np.random.Generator]:
    rng = np.random.default_rng(seed)
    return np.arange(n) * 0.25 + rng.uniform(0.0, 0.06, n), rng


def test_the_periodogram_is_scipys() -> None:
    """Uneven rows, the same powers as scipy.signal.lombscargle of the values less their mean."""
    time_s, rng = uneven(300, 1)
    values = rng.normal(5.0, 1.0, 300) + np.sin(2.0 * np.pi * 0.7 * time_s)
    hz = np.linspace(0.05, 1.9, 200)
    oracle = lombscargle(time_s, values - values.mean(), 2.0 * np.pi * hz)
    assert lomb_scargle(time_s, values, hz) == pytest.approx(oracle, rel=1e-6, abs=1e-9)


def test_a_tone_is_found_with_frequency_and_amplitude() -> None:
    time_s, rng = uneven(512, 2)
    values = rng.normal(0.0, 1.0, 512) + 1.2 * np.sin(2.0 * np.pi * 0.81 * time_s)
    tone = strongest_tone(time_s, values)
    assert tone is not None
    assert tone.hz == pytest.approx(0.81, abs=0.004)
    assert tone.amplitude == pytest.approx(1.2, abs=0.2)
    assert tone.chance < 1e-7


def test_noise_is_no_tone_more_often_than_stated() -> None:
    """Of 300 stretches of white noise none has a chance below 1e-4."""
    for seed in range(300):
        time_s, rng = uneven(256, seed)
        tone = strongest_tone(time_s, rng.normal(0.0, 1.0, 256))
        assert tone is None or tone.chance > 1e-4


def test_a_broad_resonance_is_no_tone() -> None:
    """Noise that a loop has coloured has neighbours as strong as its peak."""
    for seed in range(20):
        time_s, rng = uneven(512, seed)
        values = np.zeros(512)
        for i in range(2, 512):
            values[i] = 1.85 * values[i - 1] - 0.9 * values[i - 2] + rng.normal()
        tone = strongest_tone(time_s, values)
        assert tone is None or tone.chance > 1e-7


def test_least_squares_gives_back_amplitude_and_rest() -> None:
    time_s = np.linspace(0.0, 99.75, 400)
    values = np.asarray(3.0 * np.cos(2.0 * np.pi * 0.3 * time_s + 1.0), dtype=np.float64)
    amplitude, rest = tone_at(time_s, values, 0.3)
    assert amplitude == pytest.approx(3.0)
    assert rest == pytest.approx(0.0, abs=1e-9)
