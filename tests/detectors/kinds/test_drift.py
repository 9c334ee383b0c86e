"""Power that grows over hours, against the earliest like state."""

import itertools

import numpy as np
import pytest

from detectors.engine.watch import Watch
from shared.events import Event
from shared.updates import Batch, Floats
from shared.words import Kind, Severity
from tests.detectors.machine import found
from tests.levels import first, one_in

HOURS = 6.0
PERIOD_S = 2.0


def log(
    excess: Floats,
    *,
    moving: Floats | None = None,
    fan: Floats | None = None,
    goal: Floats | None = None,
    seed: int = 1,
    **more: Floats,
) -> Batch:
    """A nozzle that holds 210 °C on 40 % of its power times (1 + excess)."""
    rng = np.random.default_rng(seed)
    count = len(excess)
    time_s = np.arange(count, dtype=np.float64) * PERIOD_S
    goal = np.full(count, 210.0) if goal is None else goal
    power = 0.4 * (1.0 + excess) * (1.0 + rng.normal(0.0, 0.01, count))
    numbers = {
        "nozzle.temperature_c": np.round(np.where(goal > 0, goal, 25.0), 0)
        + np.round(rng.normal(0.0, 0.05, count), 2),
        "nozzle.target_c": goal,
        "nozzle.power": np.where(goal > 0.0, np.round(power, 3), 0.0),
        "motion.speed_mm_s": np.zeros(count) if moving is None else moving,
    }
    if fan is not None:
        numbers["fan.speed"] = fan
    return Batch(time_s, numbers | {k.replace("__", "."): v for k, v in more.items()})


def times() -> Floats:
    return np.arange(int(HOURS * 3600.0 / PERIOD_S), dtype=np.float64) * PERIOD_S


def ramp(size: float) -> Floats:
    """From the first hour to the last moment."""
    return size * np.clip((times() - 3600.0) / (HOURS * 3600.0 - 3600.0), 0.0, 1.0)


def drifts(batch: Batch) -> list[Event]:
    return found(batch, Kind.DRIFT)


def off() -> Floats:
    return np.zeros(len(times()))


@pytest.mark.parametrize("size", [0.2, 0.28])
def test_a_slip_over_five_hours_shows_against_the_first_hour(size: float) -> None:
    """The own power follows it within half an hour; the first hold does not."""
    (event,) = drifts(log(ramp(size), fan=off()))
    assert 0.12 < float(event.facts["power_excess"]) < 0.2
    assert event.channel == "nozzle"
    # More power for the same reading: it reads low, and the block is hotter than it says.
    assert event.severity is Severity.FAILURE


def test_a_chamber_that_cools_by_twenty_kelvin_is_no_drift() -> None:
    """From 45 °C to 25 °C: (210 − 25) / (210 − 45) is 12 % more power."""
    assert drifts(log(ramp(0.12), fan=off())) == []


def test_more_power_that_colder_air_explains_is_no_drift() -> None:
    """A chamber that is reported to fall from 60 °C to 25 °C explains 23 % more power."""
    air = 60.0 - 35.0 * ramp(1.0)
    more = (210.0 - air) / 150.0 - 1.0
    assert drifts(log(more, fan=off(), chamber__temperature_c=air)) == []
    assert len(drifts(log(more, fan=off(), chamber__temperature_c=0.0 * air + 30.0))) == 1


def test_holds_are_compared_across_prints_between_them() -> None:
    """At rest for half an hour each two hours; in the last one a fifth more power."""
    time_s = times()
    part = time_s % 7200.0
    goal = np.where(part < 1800.0, 210.0, 0.0)
    steps = 0.1 * np.floor(time_s / 7200.0)
    (event,) = drifts(log(steps, fan=off(), goal=goal))
    assert event.start_s > 600.0


def test_flow_that_is_larger_in_the_next_print_is_no_drift() -> None:
    """40 % more from one hour on to the end, and up and down in between."""
    time_s = times()
    goal = np.where((time_s > 7200.0) & (time_s < 7800.0), 0.0, 210.0)
    flow = np.where(time_s > 7200.0, 0.4, 0.0) + 0.1 * (np.sin(time_s / 900.0) > 0.0)
    moving = np.full(len(time_s), 60.0)
    assert drifts(log(flow, fan=off(), goal=goal, moving=moving)) == []


def test_power_that_creeps_up_by_two_fifths_in_one_print_is_a_drift() -> None:
    """Material comes and goes by a quarter of the power all the time."""
    time_s = times()
    rng = np.random.default_rng(3)
    flow = np.repeat(rng.uniform(0.0, 0.25, len(time_s) // 90 + 1), 90)[: len(time_s)]
    moving = np.full(len(time_s), 60.0)
    assert len(drifts(log(ramp(0.42) + flow, fan=off(), moving=moving))) == 1
    assert drifts(log(ramp(0.2) + flow, fan=off(), moving=moving)) == []


def closed_case(hotter_c: float, slip: float = 0.0) -> Batch:
    """A bed that stood at `hotter_c` for an hour and then holds 55 °C, in a case that it warms.

    The case's air follows the bed with a time constant of 20 min, to 0.35 of its way from a room
    of 22 °C; power is what the way from air to bed takes. Its door is opened after 1.7 h, and the
    air is 7 K colder from then on; after 2.5 h power is `slip` more.
    """
    rng = np.random.default_rng(4)
    count = int(3.5 * 3600 / PERIOD_S)
    time_s = np.arange(count, dtype=np.float64) * PERIOD_S
    goal = np.where(time_s < 3600.0, hotter_c, 55.0)
    celsius = np.maximum(goal, 22.0 + (hotter_c - 22.0) * np.exp(-(time_s - 3600.0) / 1500.0))
    celsius[time_s < 3600.0] = hotter_c
    air = np.empty(count)
    air[0] = 22.0 + 0.35 * (hotter_c - 22.0)
    for k in range(1, count):
        air[k] = air[k - 1] + (22.0 + 0.35 * (celsius[k] - 22.0) - air[k - 1]) * PERIOD_S / 1200.0
    air[time_s > 1.7 * 3600.0] -= 7.0
    power = 0.005 * (celsius - air) * (1.0 + rng.normal(0.0, 0.02, count))
    power[(celsius > goal + 0.01) & (time_s > 3600.0)] = 0.0
    power[time_s > 2.5 * 3600.0] *= 1.0 + slip
    numbers: dict[str, Floats] = {
        "bed.temperature_c": np.round(celsius + rng.normal(0.0, 0.03, count), 2),
        "bed.target_c": goal,
        "bed.power": np.round(power, 3),
        "motion.speed_mm_s": np.zeros(count),
    }
    return Batch(time_s, numbers)


def test_a_case_that_cools_after_a_hotter_bed_is_no_drift() -> None:
    """The air falls by 15 K while the bed holds: its power grows by more than half."""
    assert found(closed_case(100.0), Kind.DRIFT) == []


def test_the_same_bed_without_a_hotter_time_before_is_judged() -> None:
    """Half as much power again, at once, is a drift of it."""
    assert found(closed_case(60.0), Kind.DRIFT) == []
    assert len(found(closed_case(60.0, slip=0.9), Kind.DRIFT)) == 1


def bed(power: Floats, goal: Floats, seed: int = 1, period_s: float = PERIOD_S) -> Batch:
    """A bed whose power is told; it reads its target, but for noise."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(len(power), dtype=np.float64) * period_s
    celsius = np.where(goal > 0.0, goal, 25.0) + rng.normal(0.0, 0.05, len(power))
    numbers: dict[str, Floats] = {
        "bed.temperature_c": np.round(celsius, 2),
        "bed.target_c": goal,
        "bed.power": np.asarray(np.round(np.where(goal > 0.0, power, 0.0), 3), np.float64),
    }
    return Batch(time_s, numbers)


@pytest.mark.parametrize("phase", [0.0, 0.8, 1.6, 2.4])
def test_a_loop_that_rings_on_after_a_heat_up_is_no_drift(phase: float) -> None:
    """Half of its power at first, every 110 s, dying away over ten minutes; its first minute may be
    a trough."""
    now: Floats = np.arange(3000, dtype=np.float64) * 0.5
    ring = 0.5 * np.exp(-now / 600.0) * np.sin(2.0 * np.pi * now / 110.0 + phase)
    assert drifts(bed(0.4 * (1.0 + ring), np.full(len(now), 105.0), period_s=0.5)) == []


def test_a_bed_that_is_back_in_a_cold_case_is_no_drift() -> None:
    """An hour of heat warmed the case; two hours without let it cool, so that it takes a third more
    until the case is warm again. What stays is the sensor's."""
    now = times()[:9000]
    goal = np.where((now < 5400.0) | (now > 12600.0), 110.0, 0.0)
    since = np.where(now < 5400.0, now, now - 12600.0)
    cold = 0.35 * np.exp(-np.maximum(since, 0.0) / 1200.0)
    assert drifts(bed(0.22 * (1.0 + cold), goal)) == []
    stays = np.where(now > 12600.0, 0.5, cold)
    (event,) = drifts(bed(0.22 * (1.0 + stays), goal))
    assert float(event.facts["power_excess"]) > 0.3


@pytest.mark.parametrize("seeds", first(1, [range(1), range(1, 16)]))
def test_rough_power_does_not_pull_its_own_mean_down(seeds: range) -> None:
    """Windows that scatter by a fourteenth about the same mean, for six hours."""
    for seed in seeds:
        rng = np.random.default_rng(seed)
        rough = np.repeat(rng.normal(0.0, 1.0 / 14.0, len(times()) // 32 + 1), 32)[: len(times())]
        assert drifts(bed(0.16 * (1.0 + rough), np.full(len(times()), 100.0), seed)) == []


@pytest.mark.parametrize(("fades", "found_less"), [(0.9, 0), (2.2, 1)])
def test_a_fan_that_blows_on_less_and_less_is_no_drift(fades: float, found_less: int) -> None:
    """A quarter of the power is the fan's, as its steps show; what falls beyond is a drift."""
    time_s = times()
    fan = np.where(time_s % 1200.0 < 600.0, 0.9, 0.3)
    fan[time_s > 7200.0] = 0.9
    fade = 0.25 * fades * np.clip((time_s - 7200.0) / 7200.0, 0.0, 1.0)
    events = drifts(log(0.25 * fan / 0.9 - fade, fan=fan, chamber__temperature_c=0.0 * fan + 30.0))
    assert len(events) == found_less
    assert all(float(event.facts["power_excess"]) < 0.0 for event in events)


@pytest.mark.long
def test_a_channel_that_comes_late_changes_nothing_that_was_before() -> None:
    """Row by row nobody knows of it yet; in a block its column is there from the start."""
    late = np.where(times() > 9000.0, 30.0 + 0.1 * np.sin(times() / 100.0), np.nan)
    one = log(ramp(0.3), fan=off(), alone__temperature_c=late)
    others = {f"{name}.temperature_c": off() + 26.0 for name in "zyxwvu"}
    whole = Batch(one.time_s, {**one.numbers, **others})
    (event,) = drifts(whole)
    watch = Watch()
    for start in range(0, len(whole.time_s), 96):
        part = whole.cut(start, min(start + 96, len(whole.time_s)))
        told = {k: v for k, v in part.numbers.items() if not np.isnan(v).all()}
        watch.feed(Batch(part.time_s, told))
    watch.finish()
    (again,) = (each for each in watch.events if each.kind is Kind.DRIFT)
    assert again.facts == event.facts


@pytest.mark.parametrize(
    ("key", "value"),
    one_in(
        4,
        itertools.product(
            ["fan.speed", "motion.speed_mm_s", "bed.temperature_c"], [1e-200, 1e29, -1e29]
        ),
    ),
)
def test_absurd_numbers_for_an_hour_hide_no_later_drift(key: str, value: float) -> None:
    """No warning, which would end this test, and half as much power again is told hours later."""
    batch = log(np.where(times() > 16000.0, 0.5, 0.0), fan=off(), bed__temperature_c=off() + 60.0)
    batch.numbers[key][:1800] = value
    assert any(15500.0 < event.start_s < 16500.0 for event in drifts(batch))


@pytest.mark.parametrize("value", first(1, [1e29, -1e29, 1e-200]))
def test_absurd_power_leaves_figures_that_are_numbers(value: float) -> None:
    batch = log(off(), fan=off())
    batch.numbers["nozzle.power"][1800:3600] = value
    sizes = [float(size) for event in drifts(batch) for size in event.facts.values()]
    assert np.isfinite(sizes).all()


@pytest.mark.parametrize("left", [0.0, 0.3])
def test_a_heater_that_others_keep_warm_reads_not_high(left: float) -> None:
    """One whose power is all gone holds nothing; a part of it gone is a reading that is high."""
    excess = np.where(times() > 5400.0, left - 1.0, 0.0)
    goal = np.where((times() > 3600.0) & (times() < 5400.0), 0.0, 210.0)
    assert bool(drifts(log(excess, fan=off(), goal=goal))) == (left > 0.0)


def test_a_plate_in_warm_air_is_held_against_that_air() -> None:
    """A door opens for ten minutes: from 12 K over the air it is 24."""
    rng = np.random.default_rng(2)
    time_s = times()
    air_c = np.where((time_s > 7200.0) & (time_s < 7800.0), 36.0, 48.0)
    kept_c = np.convolve(air_c, np.ones(30) / 30.0, "same")
    kept_c[:30] = kept_c[-30:] = 48.0
    power = 0.004 * (60.0 - kept_c) * (1.0 + rng.normal(0.0, 0.01, len(time_s)))
    batch = Batch(
        time_s,
        {
            "plate.temperature_c": np.round(60.0 + rng.normal(0.0, 0.03, len(time_s)), 2),
            "plate.target_c": np.full(len(time_s), 60.0),
            "plate.power": power,
            "chamber.temperature_c": np.round(kept_c + rng.normal(0.0, 0.05, len(time_s)), 2),
            "chamber.target_c": np.full(len(time_s), 48.0),
        },
    )
    assert drifts(batch) == []


def test_a_heater_of_air_is_not_evaluated() -> None:
    numbers = log(ramp(0.5), fan=off()).numbers
    batch = Batch(times(), {k.replace("nozzle", "chamber"): v for k, v in numbers.items()})
    watch = Watch({})
    watch.feed(batch)
    watch.finish()
    assert not any(event.kind is Kind.DRIFT for event in watch.events)
    whys = [one.why for one in watch.not_evaluated() if one.kind is Kind.DRIFT]
    assert whys[0].startswith("doors")
