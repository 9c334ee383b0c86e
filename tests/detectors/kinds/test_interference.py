"""Noise and faults that depend on what the machine does."""

import numpy as np
import pytest

from detectors.chance.ties import strongest_tie
from detectors.engine.watch import Watch
from shared.events import Event
from shared.updates import Batch, Floats
from shared.words import Kind
from tests.levels import first

Log = tuple[Floats, dict[str, Floats]]


def machine(seconds: float, seed: int, period_s: float = 0.25, still_s: float = 60.0) -> Log:
    """A print: still, then moves across x with a pause each half minute; fan and bed switch."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, seconds, period_s) + rng.uniform(0.0, 0.02)
    phase = np.cumsum(rng.uniform(0.5, 1.5, len(time_s))) * period_s / 4.0
    x = 100.0 + 90.0 * np.sin(phase)
    moves = (time_s > still_s) & (time_s % 30.0 > 1.5)
    speed = np.where(moves, rng.choice([40.0, 80.0, 120.0], len(time_s)), 0.0)
    return time_s, {
        "motion.x_mm": np.where(time_s > still_s, x, 10.0),
        "motion.z_mm": 0.2 * np.floor(time_s / 30.0),
        "motion.speed_mm_s": speed,
        "fan.speed": np.where((time_s // 120.0) % 2.0 > 0.0, 1.0, 0.0),
        "bed.power": np.where((time_s // 20.0) % 2.0 > 0.0, 1.0, 0.0),
    }


def watched(log: Log, reading: Floats) -> list[Event]:
    time_s, columns = log
    held = {
        "nozzle.temperature_c": np.round(reading, 2),
        "nozzle.target_c": np.full(len(time_s), 210.0),
        "nozzle.power": np.full(len(time_s), 0.4),
        "bed.temperature_c": np.full(len(time_s), 60.0),
        "bed.target_c": np.full(len(time_s), 60.0),
    }
    watch = Watch()
    watch.feed(Batch(time_s, {**columns, **held}))
    watch.finish()
    return [event for event in watch.events if event.kind is Kind.INTERFERENCE]


def noise(log: Log, louder: Floats, seed: int) -> Floats:
    rng = np.random.default_rng(seed + 1000)
    return 210.0 + rng.normal(0.0, 0.04, len(log[0])) * louder


@pytest.mark.parametrize("period_s", [0.25, 1.0])
def test_noise_while_moving_is_tied_to_motion(period_s: float) -> None:
    """Four times the noise in motion, where the machine spends nine tenths of its time."""
    for seed in range(3):
        log = machine(1500.0 * max(period_s, 0.5), seed, period_s)
        events = watched(log, noise(log, np.where(log[1]["motion.speed_mm_s"] > 0, 4.0, 1.0), seed))
        assert [event.tied_to for event in events] == ["motion"]
        assert events[0].channel == "nozzle"


def test_noise_from_a_fan_is_tied_to_the_fan() -> None:
    log = machine(1500.0, 2)
    events = watched(log, noise(log, np.where(log[1]["fan.speed"] > 0.0, 4.0, 1.0), 2))
    assert [event.tied_to for event in events] == ["fan.speed"]


def test_noise_from_the_beds_heater_is_tied_to_its_power() -> None:
    log = machine(1500.0, 3)
    events = watched(log, noise(log, np.where(log[1]["bed.power"] > 0.5, 4.0, 1.0), 3))
    assert [event.tied_to for event in events] == ["bed.power"]


@pytest.mark.parametrize("period_s", first(1, [0.5, 0.25, 1.0]))
def test_heat_that_moves_with_the_carriage_is_no_noise(period_s: float) -> None:
    """Flow cools the tip while moving, changes each second or two, and the tip lags by 3 s."""
    for seed in range(3):
        log = machine(3600.0 * max(period_s, 0.5), seed, period_s)
        rng = np.random.default_rng(seed + 50)
        fine = np.arange(0.0, log[0][-1] + 1.0, 0.05)
        moves = np.interp(fine, log[0], log[1]["motion.speed_mm_s"] > 0) > 0.5
        flow = np.repeat(rng.uniform(0.35, 1.0, len(fine)), 30)[: len(fine)]
        tip, now = np.empty(len(fine)), 0.0
        for index, wanted in enumerate((3.0 * moves * (flow - 0.675)).tolist()):
            now += 0.05 / 3.0 * (wanted - now)
            tip[index] = now
        assert (
            watched(log, noise(log, np.ones(len(log[0])), seed) - np.interp(log[0], fine, tip))
            == []
        )


@pytest.mark.parametrize("louder", [1.0, 4.0])
def test_noise_that_is_always_there_is_tied_to_nothing(louder: float) -> None:
    for seed in range(4):
        log = machine(1500.0, seed)
        late = np.where(log[0] > 300.0, louder, 1.0)
        assert watched(log, noise(log, late, seed)) == []


def test_eight_faults_beyond_one_place_are_enough() -> None:
    """Faults only where x is above 165, found from eight of them."""
    for seed in range(5):
        time_s, columns = machine(300.0, seed)
        x = columns["motion.x_mm"]
        beyond = (x > 165.0) & (columns["motion.speed_mm_s"] > 0.0)
        entries = np.flatnonzero(beyond & ~np.concatenate(([False], beyond[:-1])))
        events_s = time_s[entries][np.diff(time_s[entries], prepend=-9.0) > 1.0][:8]
        columns = {key: values[time_s <= events_s[-1] + 20.0] for key, values in columns.items()}
        tie = strongest_tie(time_s[time_s <= events_s[-1] + 20.0], columns, events_s.tolist())
        assert tie is not None
        assert tie.key == "motion.x_mm"


def test_faults_at_random_are_tied_to_nothing() -> None:
    """Of 200 logs with 40 faults at random times or in bursts at most one finds a tie."""
    wrong = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        time_s, columns = machine(900.0, seed)
        events_s = np.sort(rng.uniform(0.0, 900.0, 40))
        if seed % 2:
            events_s = np.sort(
                (rng.uniform(0.0, 890.0, 8)[:, None] + rng.uniform(0, 5, (8, 5))).ravel()
            )
        wrong += strongest_tie(time_s, columns, events_s.tolist()) is not None
    assert wrong <= 1


def test_a_fault_that_begins_late_is_not_tied_to_height() -> None:
    """z only ever rises: what begins in mid-print is above some z, and that proves nothing."""
    time_s, columns = machine(900.0, 4)
    events_s = np.arange(500.0, 890.0, 7.3).tolist()
    tie = strongest_tie(time_s, columns, events_s)
    assert tie is None or tie.key != "motion.z_mm"


def breaks(prints: int, above_mm: float, seed: int, until: int = 9) -> list[Event]:
    """Rows each 2 s; prints of 90 min to 40 mm; fourteen times 4 Ω more, above a height."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, prints * 6300.0, 2.0) + rng.uniform(0.0, 0.1, prints * 3150)
    part = time_s % 6300.0 - 900.0
    z = np.where(part > 0.0, 0.2 + 0.2 * np.floor(part / 27.0), 50.0)
    speed = np.where((part > 0.0) & (time_s % 60.0 > 6.0), 60.0, 0.0)
    could = (speed > 0.0) & (z > above_mm) & (time_s < until * 6300.0)
    at = np.sort(rng.choice(np.flatnonzero(could)[:-2], 14, replace=False))
    reading = 210.0 + rng.normal(0.0, 0.05, len(time_s))
    reading[at] += 4.0 / 0.385
    columns = {"motion.z_mm": z, "motion.speed_mm_s": speed}
    return watched((time_s, columns), reading)


@pytest.mark.parametrize("seed", first(1, range(4)))
def test_breaks_above_a_height_are_tied_to_it_over_two_prints(seed: int) -> None:
    """They come by the quarter of an hour: an hour never holds enough of them."""
    events = breaks(2, 22.0, seed)
    assert {event.tied_to for event in events} == {"motion.z_mm"}
    assert "above" in events[0].text


@pytest.mark.parametrize("seed", first(1, range(4)))
def test_breaks_late_in_one_print_are_not_tied_to_height(seed: int) -> None:
    """Height and time grow alike in one print, whatever the next one, without breaks, does."""
    assert breaks(1, 22.0, seed) == []
    assert breaks(2, 22.0, seed, until=1) == []


@pytest.mark.parametrize("seed", first(1, range(6)))
def test_breaks_at_any_height_are_tied_to_nothing(seed: int) -> None:
    assert breaks(3, 0.0, seed) == []


def test_power_that_faults_move_is_not_asked() -> None:
    time_s, columns = machine(900.0, 5)
    events_s = (time_s[np.flatnonzero(np.diff(columns["bed.power"]) > 0)] + 0.3).tolist()
    tie = strongest_tie(time_s, columns, events_s)
    assert tie is not None
    assert tie.key == "bed.power"
    assert strongest_tie(time_s, columns, events_s, {"bed"}) is None


@pytest.mark.parametrize(("period_s", "is_told"), [(0.5, True), (5.0, False)])
def test_rare_readings_that_flow_stirs_are_no_interference(period_s: float, is_told: bool) -> None:
    """Six times as uneven while the carriage moves: 5 s apart, heat may be so."""
    rng = np.random.default_rng(6)
    time_s: Floats = np.arange(4800, dtype=np.float64) * period_s
    is_moving = np.arange(4800) % 1200 >= 600
    reading = 210.0 + rng.normal(0.0, 0.05, 4800) * np.where(is_moving, 6.0, 1.0)
    columns = {"motion.speed_mm_s": np.where(is_moving, 60.0, 0.0)}
    assert bool(watched((time_s, columns), np.round(reading, 2))) == is_told
