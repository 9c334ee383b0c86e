"""What is learned of a channel: the same however its windows come."""

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from detectors.floor import Floor
from detectors.learned import LearnedColumns, Learner
from detectors.windows import ROWS, ChannelWindows, windows_of
from shared.updates import Floats

WINDOWS = 40


def channel_windows(seed: int) -> tuple[ChannelWindows, Floats]:
    """A channel's windows and their lengths: noise, stillness, a heat-up, a gap, a late start."""
    rng = np.random.default_rng(seed)
    rows = WINDOWS * ROWS
    time_s: Floats = np.arange(rows, dtype=np.float64) * 0.25
    noise = rng.normal(0.0, rng.choice([0.02, 0.2, 1.0]), rows)
    signal = np.asarray(np.round(60.0 + noise, 1), dtype=np.float64)
    signal += np.clip(time_s - 150.0, 0.0, 40.0)
    still = int(rng.integers(0, rows - 300))
    signal[still : still + 300] = signal[still]
    late = int(rng.choice([0, 45]))
    signal[:late] = np.nan
    gap = int(rng.integers(0, rows))
    signal[gap : gap + 3] = np.nan
    off = np.full(rows, np.nan)
    power = np.where((time_s > 150.0) & (time_s < 190.0), 1.0, 0.0)
    changed = np.diff(signal, prepend=signal[0]) != 0.0
    columns = {
        "signal": signal,
        "changed": changed.astype(np.float64),
        "joined": np.zeros(rows),
        "celsius": signal,
        "target_c": off,
        "power": off if rng.random() < 0.5 else np.asarray(power, dtype=np.float64),
        "fresh": np.ones(rows),
    }
    arrays = {f"bed/{name}": column for name, column in columns.items()}
    windows = windows_of({"time_s": time_s, **arrays}, 0, WINDOWS)
    return windows.channels["bed"], windows.end_s - windows.start_s


def learned(seed: int, cuts: list[int]) -> list[list[float]]:
    """Every number after each window, learned in runs that end at the cuts."""
    windows, seconds = channel_windows(seed)
    learner, floor = Learner(), Floor(0.003)
    found: list[list[float]] = []
    edges = sorted({0, *cuts, WINDOWS})
    for begin, end in itertools.pairwise(edges):
        at = np.arange(begin, end)
        part = windows.take(at)
        columns = learner.learn(part, seconds[at], floor.after(part))
        assert learner.now == columns.after(len(at)) or np.isnan(learner.now.noise)
        found += _rows(columns, len(at))
    return found


def _rows(columns: LearnedColumns, count: int) -> list[list[float]]:
    return [list(map(float, columns.after(k))) for k in range(1, count + 1)]


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 10_000), st.lists(st.integers(1, WINDOWS - 1), max_size=12))
def test_windows_teach_the_same_in_any_runs(seed: int, cuts: list[int]) -> None:
    """To the last bit: one by one as live, or many at once as in replay."""
    whole = np.array(learned(seed, []))
    np.testing.assert_array_equal(np.array(learned(seed, cuts)), whole)
    np.testing.assert_array_equal(np.array(learned(seed, list(range(WINDOWS)))), whole)


def test_windows_before_a_channel_speaks_teach_nothing() -> None:
    """The numbers stay those of a channel that nothing is known of."""
    windows, seconds = channel_windows(1)
    silent = windows.take(np.arange(3))
    silent.present[:] = False
    learner = Learner()
    before = learner.now
    columns = learner.learn(silent, seconds[:3], np.full(4, np.nan))
    assert len(columns["step"]) == 4
    assert learner.now is before
