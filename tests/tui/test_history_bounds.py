"""What a chart keeps of each key is bounded, and no spike goes with it."""

import numpy as np

from shared.updates import Batch
from tui.history import MOST_SAMPLES, History

KEY = "nozzle.temperature_c"


def test_a_flood_fills_no_memory_and_every_spike_stays() -> None:
    """Five times as many samples as are kept; one spike up and one down early on."""
    history = History()
    count = 5 * MOST_SAMPLES
    time_s = np.arange(count) / 1000.0
    value = np.array(210.0 + 0.05 * (np.arange(count) % 7), dtype=np.float64)
    value[1234], value[5678] = 999.0, -99.0
    for start in range(0, count, 500):
        part = slice(start, start + 500)
        history.append(Batch(time_s[part], {KEY: value[part]}))
    times, values = history.samples(KEY, 0.0, time_s[-1])
    assert len(times) <= MOST_SAMPLES
    assert values.max() == 999.0
    assert values.min() == -99.0
    assert (np.diff(times) > 0.0).all()
    assert times[0] < 2.0
    assert times[-1] == time_s[-1]
    assert len(history.gaps(0.0, float(time_s[-1]), float(time_s[-1]))) == 0


def test_a_day_at_the_usual_rate_keeps_its_newest_samples_whole() -> None:
    """At 4 Hz the last half hour has every sample, and nothing seems a pause."""
    history = History()
    time_s = np.arange(0.0, 12 * 3600.0, 0.25)
    for start in range(0, len(time_s), 2000):
        part = time_s[start : start + 2000]
        history.append(Batch(part, {KEY: np.sin(part)}))
    times, _ = history.samples(KEY, time_s[-1] - 1800.0, time_s[-1])
    assert len(times) >= 4 * 1800
    assert len(history.gaps(0.0, float(time_s[-1]), float(time_s[-1]))) == 0
