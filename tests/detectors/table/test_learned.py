"""What is learned of a channel: the same however its windows come."""

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from detectors.table.floor import Floor
from detectors.table.learned import NOTHING, Learner
from detectors.table.windows import ROWS, ChannelWindows, Windows, windows_of
from shared.updates import Floats
from tests.levels import some

WINDOWS = 40


def channel_windows(seed: int) -> Windows:
    """A channel's windows: noise, stillness, a heat-up, a gap, a late start."""
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
    return windows_of({"time_s": time_s, **arrays}, ["bed"], 0, WINDOWS)


def learned(seed: int, cuts: list[int]) -> list[list[float]]:
    """Every number after each window, in runs that end at the cuts."""
    windows = channel_windows(seed)
    channel, seconds = windows.channels["bed"], windows.end_s - windows.start_s
    floors = floors_of(channel, cuts)
    learner = Learner()
    found: list[list[float]] = []
    for begin, end in itertools.pairwise(sorted({0, *cuts, WINDOWS})):
        at = np.arange(begin, end)
        part = windows.figures.of(slice(begin, end))
        (table,) = learner.learn(
            part, seconds[at], seconds[at] / 31.0, floors[None, begin : end + 1]
        )
        found += table[:, 1:].T.tolist()
    return found


def floors_of(channel: ChannelWindows, cuts: list[int]) -> Floats:
    """The floor before each window and after the last, learned in runs."""
    floor = Floor(0.003)
    found = [floor.value]
    for begin, end in itertools.pairwise(sorted({0, *cuts, WINDOWS})):
        found += floor.after(channel.take(np.arange(begin, end))).tolist()[1:]
    return np.array(found)


@settings(deadline=None, max_examples=some(60))
@given(st.integers(0, 10_000), st.lists(st.integers(1, WINDOWS - 1), max_size=12))
def test_windows_teach_the_same_in_any_runs(seed: int, cuts: list[int]) -> None:
    """To the last bit: one by one as live, or many at once as in replay."""
    whole = np.array(learned(seed, []))
    np.testing.assert_array_equal(np.array(learned(seed, cuts)), whole)
    np.testing.assert_array_equal(np.array(learned(seed, list(range(WINDOWS)))), whole)


def test_windows_before_a_channel_speaks_teach_nothing() -> None:
    """The numbers stay those of a channel that nothing is known of."""
    windows = channel_windows(1)
    silent = windows.figures.of(slice(0, 3))
    silent.present[:] = False
    seconds = (windows.end_s - windows.start_s)[:3]
    (table,) = Learner().learn(silent, seconds, seconds / 31.0, np.full((1, 4), np.nan))
    np.testing.assert_array_equal(table, np.repeat(np.array([NOTHING]), 4, axis=0).T)


def test_a_channel_that_speaks_later_begins_with_nothing() -> None:
    """And those that were there before go on with what they have learned."""
    windows = channel_windows(3)
    seconds, floors = windows.end_s - windows.start_s, np.full((1, WINDOWS + 1), 0.1)
    alone = Learner().learn(windows.figures, seconds, seconds / 31.0, floors)
    learner = Learner()
    learner.learn(
        windows.figures.of(slice(0, 10)), seconds[:10], seconds[:10] / 31.0, floors[:, :11]
    )
    both = ChannelWindows.on_end([windows.figures, windows.figures]).of(slice(10, WINDOWS))
    found = learner.learn(
        both, seconds[10:], seconds[10:] / 31.0, np.repeat(floors[:, 10:], 2, axis=0)
    )
    np.testing.assert_array_equal(found[0], alone[0][:, 10:])
    np.testing.assert_array_equal(found[1][:, 0], np.array(NOTHING))
