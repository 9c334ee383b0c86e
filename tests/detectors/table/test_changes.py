"""How long a reading may stand still by chance, against chance itself."""

import math

import numpy as np
import pytest

from detectors.engine.watch import Watch
from detectors.table.changes import ChangeRate
from detectors.table.windows import ROWS
from shared.updates import Batch, Floats


def rounded_noise(sd_steps: float, rows: int, seed: int) -> Floats:
    """White noise rounded to whole steps of 0.1 °C about 60 °C."""
    noise = np.random.default_rng(seed).normal(0.0, sd_steps, rows)
    return np.asarray(np.round(600.0 + noise) / 10.0, dtype=np.float64)


def learned_rows(celsius: Floats) -> float:
    """The limit that a channel with these readings is judged by at the end."""
    watch = Watch({})
    time_s: Floats = np.arange(len(celsius), dtype=np.float64) * 0.25
    watch.feed(Batch(time_s, {"bed.temperature_c": celsius}))
    return watch._channels["bed"].learned.frozen_rows


def limits_on_the_way(celsius: Floats, rows: int) -> list[float]:
    """The same after every so many readings."""
    watch = Watch({})
    limits = []
    for start in range(0, len(celsius), rows):
        part = celsius[start : start + rows]
        time_s: Floats = np.arange(start, start + len(part), dtype=np.float64) * 0.25
        watch.feed(Batch(time_s, {"bed.temperature_c": part}))
        limits.append(watch._channels["bed"].learned.frozen_rows)
    return limits


@pytest.mark.parametrize(
    ("sd_steps", "needed"), [(2.0, 12.8), (1.0, 21.6), (0.5, 54.0), (0.3, 206.0)]
)
def test_the_limit_is_above_the_run_that_chance_makes(sd_steps: float, needed: float) -> None:
    """Runs for 1e-9 in white noise (computed: ln 1e-9 / ln of the likeliest value's chance)."""
    exact = math.log(1e-9) / math.log(math.erf(0.5 / sd_steps / math.sqrt(2.0)))
    assert needed == pytest.approx(exact, rel=0.02)
    limits = [learned_rows(rounded_noise(sd_steps, 1600, seed)) for seed in range(20)]
    told = [limit for limit in limits if limit < math.inf]
    assert len(told) >= (19 if sd_steps >= 0.5 else 0)
    for limit in told:
        assert 0.8 * needed <= limit <= 4.0 * needed + 12.0


def test_a_channel_below_a_fifth_of_a_step_can_not_be_told() -> None:
    """Quiet channels, and those that flip between two steps, have no limit."""
    assert learned_rows(rounded_noise(0.15, 3200, 1)) == math.inf
    edge = np.random.default_rng(2).normal(0.5, 0.1, 3200)
    assert learned_rows(np.asarray(np.round(600.0 + edge) / 10.0)) == math.inf


def test_steps_that_rounding_makes_uneven_are_no_noise() -> None:
    """Steps of 1/8 told in tenths are 0.1 or 0.2: flips over a wide one are between neighbours.

    What is measured wanders over the steps, so that noise of a quarter step, or less, flips as
    often as noise can where it lies between two, and hardly where it lies on one.
    """
    for seed in range(8):
        rng = np.random.default_rng(seed)
        slow = 0.1 * np.sin(np.arange(6400) / 1500.0)
        noise = rng.normal(0.0, 0.25 * 0.125, 6400)
        eighths = np.round((21.75 + slow + noise) * 8.0) / 8.0
        told = np.asarray(np.round(eighths, 1), dtype=np.float64)
        assert set(limits_on_the_way(told, 160)[3:]) == {math.inf}


def test_a_window_in_which_a_reading_begins_to_stand_teaches_nothing() -> None:
    """It did so once before: what was known stays known while it stands."""
    reading = rounded_noise(1.0, 40 * ROWS, 3)
    for window in (20, 30):
        reading[window * ROWS + 1 : (window + 1) * ROWS] = reading[window * ROWS + 1]
    limits = limits_on_the_way(reading, ROWS)
    assert max(limits[8:]) < 60.0


def test_a_slow_ramp_in_coarse_steps_is_no_noise() -> None:
    """Steps of a smooth ramp teach nothing about noise, so its end is not a frozen reading."""
    ramp = np.round(600.0 + np.arange(3200) * 5.0 / ROWS) / 10.0
    assert learned_rows(np.asarray(ramp)) == math.inf


def test_the_fewer_windows_the_longer_a_run_must_be() -> None:
    """A fresh channel has no limit; one of two windows has a long one."""
    assert ChangeRate().frozen_rows == math.inf
    limits = [learned_rows(rounded_noise(1.0, count * ROWS, 3)) for count in (2, 3, 6, 12)]
    assert math.inf > limits[0] > limits[1] > limits[2] >= limits[3]


def test_one_quiet_window_of_few_leaves_it_open() -> None:
    """A channel that once stood still for a whole window may do so again."""
    noise = rounded_noise(1.0, 3 * ROWS, 4)
    noise[ROWS : 2 * ROWS - 1] = noise[ROWS]
    assert learned_rows(noise) == math.inf
