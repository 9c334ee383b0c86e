"""The tapered periodogram against SciPy, and what counts as a tone."""

import numpy as np
import pytest
from scipy.signal import get_window, lfilter, lombscargle
from scipy.signal import periodogram as scipy_periodogram

from detectors.chance import tones
from detectors.chance.tones import periodogram, phasor_at, taper, tones_in, transform
from shared.updates import Floats


def uneven(n: int, seed: int) -> tuple[Floats, np.random.Generator]:
    rng = np.random.default_rng(seed)
    return np.arange(n) * 0.25 + rng.uniform(0.0, 0.06, n), rng


def test_on_even_rows_the_periodogram_is_scipys() -> None:
    """scipy.signal.periodogram with a Hann window, at every frequency of the transform."""
    rng = np.random.default_rng(1)
    time_s: Floats = np.arange(300, dtype=np.float64) * 0.25
    values: Floats = rng.normal(5.0, 1.0, 300) + np.sin(2.0 * np.pi * 0.7 * time_s)
    window = get_window("hann", 300, fftbins=False)
    assert taper(time_s) == pytest.approx(window, abs=1e-12)
    level = np.average(values, weights=window)
    hz, density = scipy_periodogram(values - level, 4.0, window=window, detrend=False)
    # SciPy's density counts both halves of the spectrum, and is by Hz.
    ours = periodogram(time_s, values, hz[1:-1])
    assert ours == pytest.approx(0.5 * 4.0 * density[1:-1], rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("count", [1, 2, 37, 900])
def test_the_fast_transform_is_the_sum_that_it_stands_for(count: int) -> None:
    """Uneven rows that begin at any time, against the sums themselves."""
    time_s, rng = uneven(512, count)
    time_s = time_s + 1234.5
    values = rng.normal(0.0, 1.0, 512)
    hz: Floats = 0.013 + np.arange(count, dtype=np.float64) * 0.0021
    sums = np.exp(-2j * np.pi * np.outer(hz, time_s)) @ values
    assert np.abs(transform(time_s, values, hz) - sums).max() < 1e-7 * np.abs(sums).max()


@pytest.mark.parametrize("hz", [0.11, 0.7, 1.63])
def test_on_uneven_rows_a_tone_is_that_of_lomb_and_scargle(hz: float) -> None:
    """scipy.signal.lombscargle by weighted least squares with a mean of its own, same taper."""
    time_s, rng = uneven(300, 2)
    values = rng.normal(5.0, 0.5, 300) + 1.5 * np.sin(2.0 * np.pi * hz * time_s + 0.4)
    oracle = lombscargle(
        time_s,
        values,
        np.array([2.0 * np.pi * hz]),
        weights=taper(time_s),
        floating_mean=True,
        normalize="amplitude",
    )
    assert abs(phasor_at(time_s, values, hz)) == pytest.approx(np.abs(oracle).item(), rel=0.03)


def test_a_step_does_not_bury_a_tone() -> None:
    """What a step leaks falls with the cube of the distance: beside it the tone stands out."""
    time_s, rng = uneven(512, 3)
    values = rng.normal(0.0, 0.2, 512) + 0.4 * np.sin(2.0 * np.pi * 0.6 * time_s)
    values[200:] += 15.0
    tones = tones_in(time_s, values)
    assert tones
    assert tones[0].hz == pytest.approx(0.6, abs=0.004)


def test_a_tone_is_found_with_frequency_and_amplitude() -> None:
    time_s, rng = uneven(512, 2)
    values = rng.normal(0.0, 1.0, 512) + 1.2 * np.sin(2.0 * np.pi * 0.81 * time_s)
    tone = tones_in(time_s, values)[0]
    assert tone.hz == pytest.approx(0.81, abs=0.004)
    assert tone.amplitude == pytest.approx(1.2, abs=0.2)
    assert tone.chance < 1e-7


def test_noise_is_no_tone_more_often_than_stated() -> None:
    """Of 300 stretches of white noise none has a chance below 1e-4."""
    for seed in range(300):
        time_s, rng = uneven(256, seed)
        tones = tones_in(time_s, rng.normal(0.0, 1.0, 256))
        assert all(tone.chance > 1e-4 for tone in tones)


def test_a_broad_resonance_is_no_tone() -> None:
    """Noise that a loop has coloured has neighbours as strong as its peak."""
    for seed in range(20):
        time_s, rng = uneven(512, seed)
        values = np.zeros(512)
        for i in range(2, 512):
            values[i] = 1.85 * values[i - 1] - 0.9 * values[i - 2] + rng.normal()
        assert all(tone.chance > 1e-7 for tone in tones_in(time_s, values))


@pytest.mark.parametrize(("periods", "amplitude"), [(4.3, 2.5), (5.5, 2.5), (20.0, 1.0)])
def test_nineteen_of_twenty_tones_are_found_in_white_noise(
    periods: float, amplitude: float
) -> None:
    """The sizes that `mains-beat` tells."""
    hits = 0
    for seed in range(100):
        time_s, rng = uneven(512, seed)
        cell = 1.0 / (time_s[-1] - time_s[0])
        wave = amplitude * np.sin(2.0 * np.pi * periods * cell * time_s + seed)
        tones = tones_in(time_s, rng.normal(0.0, 1.0, 512) + wave)
        hits += any(t.chance < 1e-7 and abs(t.hz - periods * cell) < 1.5 * cell for t in tones)
    assert hits >= 95


def test_a_reading_that_never_moves_has_no_tone() -> None:
    """What subtracting its parabola leaves are rounding errors, which can make a line."""
    for seed in range(60):
        jitter = np.random.default_rng(seed).uniform(0.0, 0.02, 256)
        assert tones_in(60_000.0 + 0.2 * np.arange(256) + jitter, np.full(256, 26.0)) == []


def test_red_noise_is_no_tone_where_there_is_little_room_below_it() -> None:
    """Lines between four and six periods a stretch have no neighbours below to be held against."""
    for seed in range(300):
        time_s, rng = uneven(512, seed)
        values = np.asarray(lfilter([1.0], [1.0, -0.93], rng.normal(0.0, 1.0, 512)))
        assert all(tone.chance > 1e-7 for tone in tones_in(time_s, values, 0.0, 0.5))


def test_the_weaker_of_two_tones_is_told_too() -> None:
    time_s, rng = uneven(512, 4)
    values = rng.normal(0.0, 0.3, 512) + 2.0 * np.sin(2.0 * np.pi * 0.2 * time_s)
    values += 0.8 * np.sin(2.0 * np.pi * 1.1 * time_s)
    assert [tone.hz for tone in tones_in(time_s, values)] == pytest.approx([0.2, 1.1], abs=0.004)


def test_a_phasor_has_amplitude_and_phase() -> None:
    """Taken at the middle of the stretch's own time, as a tone is written: 3 cos(2πft + 1)."""
    time_s = np.linspace(0.0, 99.75, 400)
    values = np.asarray(3.0 * np.cos(2.0 * np.pi * 0.3 * time_s + 1.0), dtype=np.float64)
    found = phasor_at(time_s, values, 0.3)
    assert abs(found) == pytest.approx(3.0, rel=1e-3)
    assert np.angle(found) == pytest.approx(1.0, abs=1e-3)


def test_rows_in_bursts_are_looked_at_as_far_as_their_mean_rate_tells(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Seven rows within microseconds, four times a second: no grid up to megahertz."""
    rng = np.random.default_rng(5)
    time_s = (0.25 * np.arange(300)[:, None] + 2e-6 * np.arange(7)).ravel()
    values = 210.0 + rng.normal(0.0, 0.1, len(time_s))
    values += 0.4 * np.sin(2 * np.pi * 0.31 * time_s)
    looked: list[int] = []
    whole = tones.periodogram

    def counted(at_s: Floats, of: Floats, hz: Floats) -> Floats:
        looked.append(len(hz))
        return whole(at_s, of, hz)

    monkeypatch.setattr(tones, "periodogram", counted)
    best = tones.tones_in(time_s, values)[0]
    assert best.hz == pytest.approx(0.31, abs=0.01)
    assert looked[0] < 8 * len(time_s)


@pytest.mark.parametrize("size", [2, 5])
def test_rows_sent_together_show_no_tone_faster_than_their_bursts(size: int) -> None:
    """When each of them was read is not told; a slower tone is found all the same."""
    rng = np.random.default_rng(size)
    sent_s = np.repeat(np.arange(120) * 0.25 * size, size)
    time_s: Floats = sent_s + np.tile(np.arange(size) * 0.004, 120)
    read_s = np.arange(120 * size) * 0.25
    values: Floats = rng.normal(0.0, 0.1, len(time_s)) + 0.3 * np.sin(2.0 * np.pi * 1.7 * read_s)
    assert all(tone.hz <= 0.5 / (0.25 * size) for tone in tones_in(time_s, values))
    slow: Floats = values + np.sin(2.0 * np.pi * 0.1 * read_s)
    assert any(tone.hz == pytest.approx(0.1, abs=0.01) for tone in tones_in(time_s, slow))
