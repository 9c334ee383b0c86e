"""The history: what is held, and where it is silent."""

import numpy as np

from shared.updates import Update, batch_of
from tests.tui.fakes import GAP_S, batch
from tui.history import History


def test_silence_in_every_key_is_a_gap() -> None:
    history = History()
    history.append(batch())
    assert history.gaps(0.0, 800.0, 754.5).tolist() == [list(GAP_S)]


def test_a_key_that_does_not_change_makes_no_gap() -> None:
    """Only one key speaks after the first update; the other still holds."""
    updates = [Update(0.0, {"a.temperature_c": 20.0, "b.temperature_c": 30.0})]
    updates += [Update(n / 4, {"a.temperature_c": 20.0 + n}) for n in range(1, 400)]
    history = History()
    history.append(batch_of(updates))
    assert len(history.gaps(0.0, 100.0, 99.75)) == 0
    assert history.last("b.temperature_c", 99.0) == 30.0


def test_ticks_and_a_host_that_is_gone_do_not_end_a_gap() -> None:
    updates = [Update(n / 4, {"a.temperature_c": float(n)}) for n in range(100)]
    updates += [Update(26.0, {"host.state": "gone"}), Update(30.0, {}), Update(35.0, {})]
    history = History()
    history.append(batch_of(updates))
    assert history.gaps(0.0, 40.0, 35.0).tolist() == [[24.75, 35.0]]
    assert history.heard_s == (0.0, 24.75)


def test_a_slow_log_has_no_gaps_at_its_own_pace() -> None:
    """Sensors that report every 31 s are not silent in between."""
    history = History()
    history.append(batch_of([Update(31.0 * n, {"a.temperature_c": 20.0}) for n in range(50)]))
    assert len(history.gaps(0.0, 1500.0, 1519.0)) == 0


def test_a_gap_that_lasts_reaches_up_to_now() -> None:
    history = History()
    history.append(batch_of([Update(n / 4, {"a.temperature_c": 1.0}) for n in range(100)]))
    assert history.gaps(0.0, 60.0, 50.0).tolist() == [[24.75, 50.0]]
    assert len(history.gaps(0.0, 60.0, 25.5)) == 0


def test_old_samples_are_dropped_and_the_rest_kept() -> None:
    history = History(keep_s=100.0)
    for first in range(0, 1000, 50):
        rows = [Update(float(first + n), {"a.temperature_c": float(n)}) for n in range(50)]
        history.append(batch_of(rows))
    assert history.span_s == (899.0, 999.0)
    times, _ = history.samples("a.temperature_c", 900.0, 999.0)
    assert times[-100:].tolist() == np.arange(900.0, 1000.0).tolist()


def test_an_update_is_late_by_the_logs_own_pace() -> None:
    slow, fast = History(), History()
    slow.append(batch_of([Update(31.0 * n, {"a.temperature_c": 20.0}) for n in range(50)]))
    fast.append(batch_of([Update(n / 4, {"a.temperature_c": 20.0}) for n in range(50)]))
    assert slow.late_after_s == 8 * 31.0
    assert fast.late_after_s == 2.0
    assert History().late_after_s == 2.0
