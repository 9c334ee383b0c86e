"""White noise is told from heat by how neighbouring second differences go together."""

import numpy as np
import pytest
from scipy.signal import lfilter

from detectors.chance.whiteness import (
    ALTERNATING,
    LEAST_TIMES,
    WHITE,
    Look,
    is_electrical,
    look,
    whiteness,
)
from detectors.table.windows import ROWS
from shared.updates import Floats
from tests.levels import one_in

WINDOWS = 2000


def looks(signal: Floats, rough: float = 1.0) -> list[Look]:
    whole = len(signal) // ROWS * ROWS
    return [look(rows, rough) for rows in signal[:whole].reshape(-1, ROWS).tolist()]


def white(seed: int = 1) -> Floats:
    return np.random.default_rng(seed).normal(0.0, 1.0, WINDOWS * ROWS)


def stirred(spacing: float, block_lags: float, seed: int = 1) -> Floats:
    """Heat of random flow behind a sensor's lag, which is one, and perhaps a block's; `spacing`
    is that of readings. Flow changes every 0.4 lags."""
    rng = np.random.default_rng(seed)
    steps = 30
    fine = WINDOWS // 4 * ROWS * steps
    step = spacing / steps
    heat = np.repeat(rng.uniform(-1.0, 1.0, fine), max(round(0.4 / step), 1))[:fine]
    for lag in (block_lags, 1.0) if block_lags else (1.0,):
        keep = float(np.exp(-step / lag))
        heat = np.asarray(lfilter([1.0 - keep], [1.0, -keep], heat))
    return np.asarray(heat[::steps])


def test_white_noise_has_whiteness_one() -> None:
    """The correlation of its neighbouring second differences is -4/6, by counting shares."""
    assert whiteness(
        [look(rows, 1.0, clip=False) for rows in white().reshape(-1, ROWS).tolist()]
    ) == (pytest.approx(1.0, abs=0.02))
    assert whiteness(looks(white())) == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("keep", one_in(3, [0.3, 0.7, 0.95, 1.0]))
def test_noise_behind_a_filter_of_one_pole_counts_as_white(keep: float) -> None:
    """Its least is that of a random walk: -2/4 over -2/3."""
    filtered = np.asarray(lfilter([1.0], [1.0, -keep], white()))
    assert 0.7 < whiteness(looks(filtered)) < 1.05


@pytest.mark.parametrize(("rows", "expected"), [(2, 3.0 / 8.0), (3, 3.0 / 4.0), (5, 3.0 / 4.0)])
def test_sliding_means_have_the_whiteness_of_their_shares(rows: int, expected: float) -> None:
    """Counted by hand: second differences of (1, 1), (1, 1, 1) … against themselves, one on."""
    slid = np.convolve(white(), np.ones(rows) / rows, "valid")
    assert whiteness(looks(slid)) == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize(
    ("spacing", "block_lags", "most"),
    one_in(
        3,
        [(0.1, 0.0, 0.1), (0.2, 0.0, 0.2), (0.33, 0.0, 0.42), (0.33, 10.0, 0.0), (1.0, 10.0, 0.35)],
    ),
)
def test_stirred_heat_is_not_white(spacing: float, block_lags: float, most: float) -> None:
    """Even where a reading comes but once in a third of the one lag that there is."""
    assert whiteness(looks(stirred(spacing, block_lags))) < most < WHITE


def test_two_windows_are_enough_to_call_noise_white() -> None:
    """Fewer than one pair of windows in five hundred of white noise looks like heat."""
    pairs = np.array(
        [whiteness(looks(each)) for each in white(3).reshape(-1, 2 * ROWS)], dtype=float
    )
    assert np.mean(pairs < WHITE) < 0.002


def test_readings_that_are_told_again_change_nothing() -> None:
    """A host that tells each reading twice gives no more of them."""
    rows = white()[:16].tolist()
    twice = [row for row in rows for _ in range(2)]
    assert look(twice, 1.0).cross == look(rows, 1.0).cross
    assert look(twice, 1.0).square == look(rows, 1.0).square


def test_a_reading_that_stands_tells_nothing_and_is_not_excused() -> None:
    assert whiteness([look([20.0] * ROWS, 0.0)]) == 1.0


def test_readings_that_alternate_are_no_noise() -> None:
    """A wave at half the rate of rows, by its definition 3/2; noise of one step hardly ever is."""
    wave: Floats = np.asarray(3.0 * (-1.0) ** np.arange(WINDOWS * ROWS), dtype=np.float64)
    assert whiteness(looks(wave)) == pytest.approx(1.5)
    assert not is_electrical(looks(wave + white()))
    eights = np.round(white(6)).reshape(-1, 8 * ROWS)
    assert np.mean([whiteness(looks(each)) > ALTERNATING for each in eights]) <= 1.0 / 250.0
    pairs = np.round(white(7)).reshape(-1, 2 * ROWS)
    assert np.mean([whiteness(looks(each)) > ALTERNATING for each in pairs]) < 1.0 / 35.0


def test_stairs_of_repeated_readings_are_heat_and_no_noise() -> None:
    """Readings come at three rows of five while the heater cools: their roughness is exact."""
    rows = np.arange(WINDOWS * ROWS, dtype=np.float64)
    told = -0.04 * (rows - np.isin(rows % 5.0, (1.0, 3.0)))
    rough = float(np.sqrt(np.mean(np.diff(told, 3) ** 2) / 20.0))
    assert looks(told)[0].misdated == pytest.approx(rough, rel=0.1)
    assert not is_electrical(looks(told, rough))


def test_stairs_of_heat_that_goes_up_and_down_are_no_noise_either() -> None:
    """Down and up again to where it began, each reading told five times."""
    way = np.abs(np.arange(32) // 5 * 5 - 15.0)
    rows = (0.05 * way).tolist()
    rough = float(np.sqrt(np.mean(np.diff(rows, 3) ** 2) / 20.0))
    assert not is_electrical([look(rows, rough)] * 3)


def test_misdated_readings_of_heat_that_moves_are_no_noise() -> None:
    """A triangle of a relay, each reading taken up to one spacing before it was written down."""
    rng = np.random.default_rng(4)
    at = np.arange(WINDOWS * ROWS) - rng.uniform(0.0, 1.0, WINDOWS * ROWS)
    told = 0.1 * np.abs(at % 80.0 - 40.0)
    rough = float(np.sqrt(np.mean(np.diff(told, 3) ** 2) / 20.0))
    assert not is_electrical(looks(told, rough))
    misdated = looks(told, rough)[0].misdated
    assert misdated == pytest.approx(0.1 / np.sqrt(12.0), rel=0.25)
    noisy = told + rng.normal(0.0, 2.0 * LEAST_TIMES * misdated, len(told))
    rough = float(np.sqrt(np.mean(np.diff(noisy, 3) ** 2) / 20.0))
    assert is_electrical(looks(noisy, rough))
