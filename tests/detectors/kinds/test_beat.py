"""A steady tone in a held reading."""

from typing import Any

import numpy as np
import pytest
from scipy.signal import lfilter

from detectors.chance.tones import Tone
from detectors.engine.watch import Watch
from detectors.kinds.beat import _Stretches
from shared.updates import Batch, Update, batch_of
from shared.words import Kind
from tests.detectors.machine import found, heated, together
from tests.levels import first


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


@pytest.mark.parametrize("begins_s", [30.0, 900.0])
def test_small_turns_of_a_switch_are_no_hum_unless_they_begin_while_it_is_hot(
    begins_s: float,
) -> None:
    """A heater that turns once a second swings its reading for as long as it is hot."""

    def seen(now: float, celsius: float) -> float:
        turns = 0.05 * float(np.sin(2.0 * np.pi * 0.93 * now)) if now > begins_s else 0.0
        return celsius + turns

    batch = heated(
        2400.0, lambda now: 0.0 if now < 30.0 else 100.0, seen=seen, rise_c_s=2.0, noise_c=0.01
    )
    is_hum = begins_s > 100.0
    assert len(found(batch, Kind.MAINS_BEAT)) == is_hum
    watch = Watch({})
    watch.feed(batch)
    watch.finish()
    whys = [str(one.why) for one in watch.not_evaluated() if one.kind is Kind.MAINS_BEAT]
    assert any("own switching" in why for why in whys) != is_hum


def test_a_slope_that_is_told_now_younger_now_older_is_no_hum() -> None:
    """A bed that is switched, and swings: conversions of a third of a second, told every 0.5 s."""
    time_s = np.arange(0.0, 3000.0, 0.5)
    converted_s = np.floor(time_s / 0.333) * 0.333
    swing = 0.5 * np.sin(2.0 * np.pi * converted_s / 37.0)
    noise = np.random.default_rng(4).normal(0.0, 0.004, len(time_s))
    is_on = np.cos(2.0 * np.pi * time_s / 37.0) > 0.0
    batch = Batch(
        time_s,
        {
            "bed.temperature_c": np.round(60.0 + swing + noise, 3),
            "bed.target_c": np.full(len(time_s), 60.0),
            "bed.power": np.where(is_on, 1.0, 0.0),
        },
    )
    assert found(batch, Kind.MAINS_BEAT) == []


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


@pytest.mark.parametrize("smooth_s", [2.0, 5.0])
def test_ripple_whose_power_is_told_smoothed_is_no_tone_nor_are_its_harmonics(
    smooth_s: float,
) -> None:
    """A relay's triangle has harmonics; smoothing makes its power look too small for them."""
    batch = heated(4000.0, lambda now: 200.0, rise_c_s=3.0, on_off_k=0.8, start_c=199.0,
                   noise_c=0.01, rounding=0.001, dead_s=3.0)  # fmt: skip
    keep = float(np.exp(-0.25 / smooth_s))
    power = lfilter([1.0 - keep], [1.0, -keep], batch.numbers["nozzle.power"])
    told = Batch(batch.time_s, {**batch.numbers, "nozzle.power": np.round(power, 3)})
    assert found(told, Kind.MAINS_BEAT) == []


def test_hum_that_a_loop_answers_is_told_from_a_ripple_of_its_own() -> None:
    """4 K at 0.07 Hz: its power swings by 0.12 and would, smoothed, do for heat; but it follows
    the reading's noise row by row, so that nothing of it is hidden."""
    batch = toned(0.07, 4.0, 1800.0, gain=0.03)
    (event,) = found(batch, Kind.MAINS_BEAT)
    assert float(event.facts["hz"]) == pytest.approx(0.07, rel=0.02)


@pytest.mark.parametrize(("then", "is_one"), [(0.5, True), (0.2, False), (1.5, False)])
def test_two_stretches_are_one_tone_if_they_agree_in_size(then: float, is_one: bool) -> None:
    """What a loop rings with shrinks from one stretch to the next; hum stays as it is."""
    stretches = _Stretches()
    assert stretches.found(Tone(0.4, 0.6, 0.02, 0.02, 0.0), 0.0, 64.0, is_sure=True) is None
    found = stretches.found(Tone(0.405, then, 0.02, 0.02, 0.0), 64.0, 128.0, is_sure=True)
    assert found == (0.0 if is_one else None)


def steadily(sizes: list[float], hz: float = 0.1) -> float | None:
    """What stretches of a tone that heat could have made are taken for."""
    stretches, found = _Stretches(), None
    for index, size in enumerate(sizes):
        tone = Tone(hz, size, 0.02, 0.02, 0.0)
        start_s = 64.0 * index
        found = found or stretches.found(tone, start_s, start_s + 64.0, is_sure=False)
    return found


def test_what_heat_could_have_made_counts_once_it_stayed_the_same_for_six_stretches() -> None:
    assert steadily([0.5] * 5) is None
    assert steadily([0.3, 0.5, 0.52, 0.48, 0.5, 0.53, 0.5]) == 64.0
    assert steadily([0.5, 0.5, 0.5, 0.35, 0.5, 0.5, 0.5]) is None


@pytest.mark.parametrize("gain", [0.08, 0.1])
def test_hum_that_a_strong_loop_answers_is_found_by_its_steadiness(gain: float) -> None:
    """A heater of 7.5 K/s could swing by more than this kelvin, with what the loop answers."""
    assert 7.5 * gain / (2.0 * np.pi * 0.09) > 1.0

    def seen(now: float, celsius: float) -> float:
        return celsius + float(np.sin(2.0 * np.pi * 0.09 * now))

    batch = heated(3000.0, lambda now: 200.0, seen=seen, gain=gain, start_c=200.0)
    (event,) = found(batch, Kind.MAINS_BEAT)
    assert float(event.facts["hz"]) == pytest.approx(0.09, rel=0.02)


def test_hum_that_a_strong_loop_answers_is_not_told_before_it_was_steady() -> None:
    """Four stretches are too few for what heat could have made."""

    def seen(now: float, celsius: float) -> float:
        hums = 700.0 < now < 1000.0
        return celsius + (float(np.sin(2.0 * np.pi * 0.09 * now)) if hums else 0.0)

    batch = heated(1600.0, lambda now: 200.0, seen=seen, gain=0.1, start_c=200.0)
    assert found(batch, Kind.MAINS_BEAT) == []


def test_a_harmonic_of_a_swing_that_heat_makes_is_no_hum() -> None:
    """Its fourth, which the power does not show; without the swing the same wave is hum."""
    time_s = np.arange(0.0, 1500.0, 0.25)
    noise = np.random.default_rng(3).normal(0.0, 0.01, len(time_s))

    def log(swing_k: float) -> Batch:
        swing = np.sin(2.0 * np.pi * 0.05 * time_s)
        wave = 0.4 * np.sin(2.0 * np.pi * 0.2 * time_s)
        return Batch(
            time_s,
            {
                "nozzle.temperature_c": np.round(200.0 + swing_k * swing + wave + noise, 3),
                "nozzle.target_c": np.full(len(time_s), 200.0),
                "nozzle.power": np.round(
                    0.5 + 0.1 * swing_k * np.cos(2.0 * np.pi * 0.05 * time_s), 3
                ),
            },
        )

    assert found(log(2.0), Kind.MAINS_BEAT) == []
    assert len(found(log(0.0), Kind.MAINS_BEAT)) == 1


@pytest.mark.parametrize("seed", first(1, range(4)))
def test_a_loop_that_noise_drives_near_its_own_frequency_is_no_hum(seed: int) -> None:
    """So much gain and dead time that it rings for long: what it makes comes and goes."""
    batch = heated(5000.0, lambda now: 100.0, rise_c_s=1.5, gain=0.12, dead_s=6.0,
                   reset_s=400.0, noise_c=0.2, start_c=100.0, seed=seed)  # fmt: skip
    assert found(batch, Kind.MAINS_BEAT) == []


@pytest.mark.parametrize("seed", first(1, range(3)))
def test_noise_alone_is_no_tone(seed: int) -> None:
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


def test_a_carriage_with_nearly_the_same_rhythm_does_not_hide_a_slow_wave() -> None:
    """0.062 Hz against 0.06 Hz: within minutes they are out of step."""
    batch = toned(0.06, 0.5, 2400.0, gain=0.01)
    speed = 60.0 + 30.0 * np.sin(2.0 * np.pi * 0.0625 * batch.time_s)
    (event,) = found(together(batch, motion__speed_mm_s=speed), Kind.MAINS_BEAT)
    assert float(event.facts["hz"]) == pytest.approx(0.06, rel=0.03)


@pytest.mark.parametrize("turns", [3, 5])
def test_a_channel_that_is_told_in_turns_has_no_tone_of_the_turn(turns: int) -> None:
    """Between two tellings its value is held, and a slow swing has images about the turn."""
    rng = np.random.default_rng(turns)
    time_s = np.arange(0.0, 2400.0, 0.25)
    swing = 0.1 * np.sin(2.0 * np.pi * time_s / 7.0) + rng.normal(0.0, 0.03, len(time_s))
    updates = [
        Update(
            float(at),
            {
                f"c{n % turns}.temperature_c": round(100.0 + float(swing[n]), 2),
                f"c{n % turns}.target_c": 100.0,
            },
        )
        for n, at in enumerate(time_s)
    ]
    watch = Watch()
    watch.feed(batch_of(updates))
    watch.finish()
    assert [event for event in watch.events if event.kind is Kind.MAINS_BEAT] == []
