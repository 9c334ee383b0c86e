"""Noise in motion is told from noise at rest without any burst, and chance is not."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import signal

from detectors.chance.contrast import MotionContrast
from detectors.engine.watch import Watch
from shared.updates import Batch
from shared.words import Kind
from tests.levels import one_in


def thirds(rng: np.random.Generator, rows: int, sd: float, memory: float) -> tuple[float, float]:
    """Sum and count of the sizes of third differences of noise of this memory."""
    white = rng.normal(0.0, sd, rows)
    share = np.sqrt(1.0 - memory**2)
    noise = signal.lfilter([share], [1.0, -memory], white, zi=[(1.0 - share) * white[0]])[0]
    sizes = np.abs(np.diff(noise, 3))
    return float(sizes.sum()), float(len(sizes))


@pytest.mark.parametrize(
    ("memory", "louder", "is_found"),
    one_in(
        4,
        (
            (memory, *of)
            for memory in (0.0, 0.5, 0.9)
            for of in ((1.0, False), (1.2, False), (2.5, True))
        ),
    ),
)
def test_only_a_true_difference_is_found(memory: float, louder: float, is_found: bool) -> None:
    """Of 200 machines with the same noise none is found, of those 2.5 times as loud all are."""
    found = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        contrast = MotionContrast()
        result = None
        for k in range(16):
            moving, count = thirds(rng, int(rng.integers(20, 300)), louder, memory)
            still, rests = thirds(rng, int(rng.integers(6, 40)), 1.0, memory)
            at = 100.0 * k
            if contrast.add(at, at + 99.0, (moving, still), (count, rests), 0.0):
                result = result or contrast.judge()
        found += result is not None
    assert found == (200 if is_found else 0)


@pytest.mark.parametrize(("moves", "stands"), [(8, 8), (200, 8), (40, 20)])
def test_a_group_scatters_as_its_counts_say(moves: int, stands: int) -> None:
    """Variance of the logarithm of a ratio: each state has its own part, by its own count."""
    logs, expected = [], 0.0
    rng = np.random.default_rng(6)
    for _ in range(3000):
        contrast = MotionContrast()
        moving, still = thirds(rng, moves + 3, 1.0, 0.0)[0], thirds(rng, stands + 3, 1.0, 0.0)[0]
        assert contrast.add(0.0, 90.0, (moving, still), (float(moves), float(stands)), 0.0)
        logs.append(contrast._groups[0][2])
        expected = contrast._groups[0][3]
    assert float(np.var(logs)) == pytest.approx(expected, rel=0.3)


def test_four_groups_of_clearly_louder_motion_are_enough() -> None:
    """Noise four times as large: hosts that report once a second give four groups a print."""
    found = 0
    for seed in range(100):
        rng = np.random.default_rng(seed)
        contrast = MotionContrast()
        for k in range(4):
            moving, still = thirds(rng, 60, 4.0, 0.0)[0], thirds(rng, 12, 1.0, 0.0)[0]
            contrast.add(100.0 * k, 100.0 * k + 99.0, (moving, still), (57.0, 9.0), 0.0)
        found += contrast.judge() is not None
    assert found >= 60


def test_noise_that_grows_slowly_is_no_contrast() -> None:
    """Ten times the noise within an hour is the same in both states of every group."""
    rng = np.random.default_rng(3)
    contrast = MotionContrast()
    for k in range(60):
        sd = 10.0 ** (k / 60.0)
        moving, count = thirds(rng, 200, sd, 0.0)
        still, rests = thirds(rng, 20, sd, 0.0)
        contrast.add(60.0 * k, 60.0 * k + 59.0, (moving, still), (count, rests), 0.0)
        assert contrast.judge() is None


@pytest.mark.parametrize("period_s", [0.25, 1.0])
@pytest.mark.parametrize("by_speed", [True, False])
def test_pauses_shorter_than_a_window_are_enough(period_s: float, by_speed: bool) -> None:
    """Noise 2.5 times as large in motion with pauses of 8 s, told by speed or by places alone."""
    rng = np.random.default_rng(5)
    time_s = np.arange(0.0, 3600.0, period_s)
    moves = time_s % 80.0 > 8.0
    x = np.where(moves, 100.0 + 80.0 * np.sin(time_s / 7.0), 100.0)
    x = np.where(moves, x, x[np.maximum.accumulate(np.where(moves, np.arange(len(x)), 0))])
    noise = rng.normal(0.0, 0.05, len(time_s)) * np.where(moves, 2.5, 1.0)
    motion = {"motion.speed_mm_s": np.where(moves, 80.0, 0.0)} if by_speed else {"motion.x_mm": x}
    watch = Watch()
    numbers = {
        "nozzle.temperature_c": np.round(210.0 + noise, 2),
        "nozzle.target_c": np.full(len(time_s), 210.0),
        "nozzle.power": np.full(len(time_s), 0.4),
    }
    watch.feed(Batch(time_s, numbers | motion))
    watch.finish()
    (event,) = [event for event in watch.events if event.kind is Kind.INTERFERENCE]
    assert event.tied_to == "motion"
    assert 1.8 < float(event.facts["ratio"]) < 4.0


@given(
    st.lists(
        st.tuples(
            st.floats(0.0, 5000.0),
            st.floats(0.0, 1e4),
            st.floats(0.0, 1e4),
            st.integers(0, 29),
            st.integers(0, 29),
            st.floats(0.0, 0.1),
        ),
        max_size=60,
    )
)
@example([(0.0, 0.0, 5.0, 10, 10, 0.0)])
def test_no_windows_however_far_apart_break_it(
    rows: list[tuple[float, float, float, int, int, float]],
) -> None:
    """Gaps of hours, states without rows, noise of nought: a verdict or none, and no error."""
    contrast = MotionContrast()
    end_s = 0.0
    for gap_s, moving, still, moves, stands, step in rows:
        start_s, end_s = end_s + gap_s, end_s + gap_s + 8.0
        sizes = (moving if moves else 0.0, still if stands else 0.0)
        contrast.add(start_s, end_s, sizes, (float(moves), float(stands)), step)
        found = contrast.judge()
        assert found is None or (found.ratio > 1.3 and found.start_s <= found.end_s)
