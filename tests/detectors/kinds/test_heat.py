"""Power without heat, heat without power, and power that a closed loop gives away."""

import numpy as np
import pytest

from detectors.engine.watch import Watch
from detectors.heat.heatmodel import HeatModel
from detectors.kinds.heater import HeaterDetectors
from shared.updates import Batch
from shared.words import Kind
from tests.detectors.machine import found, heated, together
from tests.levels import one_in


def model_of(batch: Batch, channel: str = "nozzle") -> HeatModel:
    watch = Watch()
    watch.feed(batch)
    detectors = watch._channels[channel].window_detectors
    return next(detector for detector in detectors if isinstance(detector, HeaterDetectors)).model


def cycle(now: float) -> float:
    """Heat, hold, another target, cool, and again."""
    for until, target in ((60, 0), (500, 200), (900, 215), (1500, 0), (2000, 180)):
        if now < until:
            return float(target)
    return 0.0


@pytest.mark.parametrize("period_s", [0.25, 1.0])
@pytest.mark.parametrize(("rise", "loss"), [(2.5, 250.0), (0.5, 900.0), (5.0, 150.0)])
def test_gain_and_loss_lie_in_their_intervals(rise: float, loss: float, period_s: float) -> None:
    """The truth of a first-order heater, within an interval that is narrow enough to use."""
    model = model_of(heated(3000.0, cycle, rise_c_s=rise, loss_s=loss, period_s=period_s))
    assert model.is_known
    assert model.gain.value == pytest.approx(rise, rel=0.1)
    assert model.loss.value == pytest.approx(1.0 / loss, rel=0.15)
    assert model.gain.low < rise * 1.05
    assert model.gain.high > rise * 0.95
    hold = (200.0 - 22.0) / loss / rise
    assert model.rate(hold, 200.0, 0.0) == pytest.approx(0.0, abs=0.02 * rise)


@pytest.mark.parametrize(
    ("rise", "loss", "period_s", "seed"),
    one_in(
        5,
        [
            (rise, loss, period_s, seed)
            for rise, loss in ((2.5, 250.0), (0.4, 1500.0), (5.0, 150.0))
            for period_s in (0.25, 1.0)
            for seed in range(2)
        ],
    ),
)
def test_a_healthy_heater_says_nothing(
    rise: float, loss: float, period_s: float, seed: int
) -> None:
    """Heat-ups, target steps, cool-downs and rest, fast heaters and slow ones."""
    batch = heated(3000.0, cycle, rise_c_s=rise, loss_s=loss, period_s=period_s, seed=seed)
    assert found(batch, Kind.NO_RISE, Kind.RISE_UNPOWERED, Kind.DRIFT, Kind.MAINS_BEAT) == []


@pytest.mark.parametrize("rounding", [0.01, 0.1])
@pytest.mark.parametrize(("period_s", "within_s"), [(0.25, 60.0), (1.0, 140.0)])
def test_a_heater_that_never_heats_is_found(
    period_s: float, within_s: float, rounding: float
) -> None:
    """Cold and at full power for a minute: one event, and it ends with the power."""
    batch = heated(
        400.0,
        lambda now: 0.0 if now < 60.0 or now > 300.0 else 200.0,
        works=lambda _: 0.0,
        period_s=period_s,
        rounding=rounding,
    )
    (event,) = found(batch, Kind.NO_RISE)
    assert event.start_s == pytest.approx(60.0, abs=within_s)
    assert event.end_s is not None


@pytest.mark.parametrize(("period_s", "within_s"), [(0.25, 60.0), (1.0, 140.0)])
def test_a_heater_that_stops_in_mid_print_is_found(period_s: float, within_s: float) -> None:
    """It falls while power climbs to its top."""
    batch = heated(
        1200.0,
        lambda _: 210.0,
        start_c=210.0,
        works=lambda now: float(now < 600.0),
        period_s=period_s,
    )
    (event,) = found(batch, Kind.NO_RISE)
    assert 600.0 - 40.0 * period_s * 4.0 < event.start_s < 600.0 + within_s
    assert event.value > 1.5


@pytest.mark.parametrize("begin_s", [60.0, 63.0, 66.0])
def test_a_heater_that_never_heats_is_found_before_a_guard_stops_it(begin_s: float) -> None:
    """At full power from cold the slowest heater brings 1 K in 19 s; a guard may wait 45 s."""
    batch = heated(
        begin_s + 45.0,
        lambda now: 200.0 if now > begin_s else 0.0,
        works=lambda _: 0.0,
        period_s=0.3,
    )
    assert len(found(batch, Kind.NO_RISE)) == 1


def test_a_fall_that_goes_on_with_power_says_for_how_long() -> None:
    """While it lasts and when it is over."""
    batch = heated(
        1500.0, lambda _: 210.0, start_c=210.0, works=lambda now: float(not 600.0 < now < 1000.0)
    )
    events = [found(part, Kind.NO_RISE)[0] for part in (batch.cut(0, 3600), batch)]
    assert events[0].is_active
    assert float(events[0].facts["fell_s"]) == pytest.approx(120.0, abs=20.0)
    assert float(events[1].facts["fell_s"]) == pytest.approx(400.0, abs=30.0)
    assert events[1].value > 50.0


@pytest.mark.parametrize("rise_c_s", [0.0, 0.07])
def test_whole_degrees_tell_a_slow_bed_from_a_dead_one(rise_c_s: float) -> None:
    """One that gains a kelvin in 14 s may show but one of two."""
    batch = heated(
        300.0,
        lambda now: 100.0 if now > 60.0 else 0.0,
        rise_c_s=rise_c_s,
        dead_s=6.0,
        loss_s=2000.0,
        noise_c=0.01,
        rounding=1.0,
    )
    assert bool(found(batch, Kind.NO_RISE)) == (rise_c_s == 0.0)


def test_a_bed_that_goes_out_near_its_target_is_found() -> None:
    """6 K below its target and at full power it loses 1 K: held back by nothing, and no heat."""
    batch = heated(
        500.0,
        lambda _: 60.0,
        start_c=54.0,
        rise_c_s=0.4,
        loss_s=900.0,
        works=lambda _: 0.0,
        period_s=0.3,
        channel="bed",
    )
    assert len(found(batch, Kind.NO_RISE)) == 1


@pytest.mark.parametrize(("is_out", "followed"), [(False, 1.0), (True, 0.0)])
def test_heat_that_arrives_in_part_is_told_from_none(is_out: bool, followed: float) -> None:
    """A sensor that slipped falls and stands; without heat the fall goes on as losses have it."""

    def slipped(now: float, celsius: float) -> float:
        gone = 1.0 - np.exp(-max(now - 300.0, 0.0) / 8.0)
        return celsius if is_out else celsius - 0.3 * gone * (celsius - 22.0)

    batch = heated(
        380.0,
        lambda now: 210.0 if now < 350.0 else 0.0,
        start_c=210.0,
        seen=slipped,
        works=lambda now: float(not is_out or now < 300.0),
        period_s=0.3,
    )
    (event,) = found(batch, Kind.NO_RISE)
    assert event.facts["followed"] == followed


def test_heat_without_power_is_found() -> None:
    """A switch that sticks: the reading rises by itself."""
    batch = heated(900.0, lambda _: 0.0, extra_c_s=lambda now: 0.4 if now > 600.0 else 0.0)
    (event,) = found(batch, Kind.RISE_UNPOWERED)
    assert event.start_s == pytest.approx(610.0, abs=25.0)
    assert event.value > 4.0


def test_a_neighbours_warmth_is_no_fault() -> None:
    """A nozzle over a hot bed rises slowly and stays below it."""
    bed = heated(1500.0, lambda _: 100.0, start_c=100.0, rise_c_s=0.5, loss_s=900.0, channel="bed")
    nozzle = heated(1500.0, lambda _: 0.0, extra_c_s=lambda _: 0.08)
    joined = Batch(bed.time_s, {**bed.numbers, **nozzle.numbers})
    assert found(joined, Kind.RISE_UNPOWERED) == []


def test_after_heat_is_no_fault() -> None:
    """A slow sensor goes on rising for half a minute after the power went."""
    heat: list[float] = [25.0]

    def slow(_: float, celsius: float) -> float:
        heat[0] += 0.25 / 15.0 * (celsius - heat[0])
        return heat[0]

    batch = heated(400.0, lambda now: 200.0 if 60.0 < now < 110.0 else 0.0, seen=slow)
    assert found(batch, Kind.RISE_UNPOWERED) == []


@pytest.mark.parametrize("period_s", [0.25, 1.0])
def test_a_slipped_sensor_shows_in_the_power(period_s: float) -> None:
    """A sensor that loses a quarter of its way over the room makes the block run hotter."""

    def slipped(now: float, celsius: float) -> float:
        part = min(max((now - 900.0) / 60.0, 0.0), 1.0)
        return celsius - 0.25 * part * (celsius - 22.0)

    batch = heated(2400.0, lambda _: 210.0, start_c=210.0, seen=slipped, period_s=period_s)
    events = found(batch, Kind.DRIFT, Kind.NO_RISE)
    assert Kind.DRIFT in {event.kind for event in events}
    drift = next(event for event in events if event.kind is Kind.DRIFT)
    assert 880.0 < drift.start_s < 1300.0
    assert 0.2 < float(drift.facts["power_excess"]) < 0.5


@pytest.mark.parametrize(
    ("rise", "loss", "period_s"),
    one_in(3, [(0.4, 1000.0, 1.0), (0.8, 600.0, 1.0), (0.4, 1000.0, 0.25), (0.8, 600.0, 0.25)]),
)
def test_power_switched_on_and_off_is_judged_by_whole_cycles(
    rise: float, loss: float, period_s: float
) -> None:
    """A bed that is on for a part of a minute has no drift, until its sensor slips."""
    hot = {"rise_c_s": rise, "loss_s": loss, "on_off_k": 0.4, "period_s": period_s}
    batch = heated(5400.0, lambda _: 80.0, start_c=80.0, **hot)  # type: ignore[arg-type]
    assert found(batch, Kind.DRIFT, Kind.NO_RISE) == []

    def slipped(now: float, celsius: float) -> float:
        part = min(max((now - 2700.0) / 600.0, 0.0), 1.0)
        return celsius - 0.4 * part * (celsius - 22.0)

    batch = heated(5400.0, lambda _: 80.0, start_c=80.0, seen=slipped, **hot)  # type: ignore[arg-type]
    (drift,) = found(batch, Kind.DRIFT)
    assert drift.start_s > 2300.0
    assert float(drift.facts["power_excess"]) > 0.3


def test_a_slow_change_of_the_room_is_no_drift() -> None:
    """Ten kelvin more or less over hours moves a held nozzle's power by a few per cent."""
    batch = heated(
        7200.0,
        lambda _: 210.0,
        start_c=210.0,
        extra_c_s=lambda now: 0.04 * float(np.sin(now / 1500.0)),
    )
    assert found(batch, Kind.DRIFT, Kind.NO_RISE, Kind.MAINS_BEAT) == []


def test_without_power_it_says_that_it_cannot_judge() -> None:
    watch = Watch()
    time_s = np.arange(0.0, 60.0, 0.25)
    watch.feed(Batch(time_s, {"room.temperature_c": 20.0 + 0.01 * (time_s % 0.5)}))
    kinds = {said.kind for said in watch.not_evaluated() if said.channel == "room"}
    assert {Kind.NO_RISE, Kind.RISE_UNPOWERED, Kind.DRIFT} <= kinds


def smoothed(batch: Batch, seconds: float) -> Batch:
    """The same rows from a host that tells power as a moving mean."""
    time_s, numbers = batch.time_s, dict(batch.numbers)
    power = numbers["nozzle.power"].copy()
    parts = 1.0 - np.exp(-np.diff(time_s) / seconds)
    for index, part in enumerate(parts.tolist(), start=1):
        power[index] = power[index - 1] + part * (power[index] - power[index - 1])
    return Batch(time_s, numbers | {"nozzle.power": power})


@pytest.mark.parametrize("period_s", [0.25, 1.0, 2.0])
def test_switched_power_that_is_told_smoothed_is_no_drift(period_s: float) -> None:
    """A bed on and off by turns; its power never leaps, and a window shows a part of a cycle."""
    hot = {"rise_c_s": 0.4, "loss_s": 1000.0, "on_off_k": 0.6, "period_s": period_s}
    batch = heated(5400.0, lambda _: 80.0, start_c=80.0, **hot)  # type: ignore[arg-type]
    assert found(smoothed(batch, 5.0), Kind.DRIFT, Kind.NO_RISE, Kind.MAINS_BEAT) == []


def test_flow_that_comes_and_goes_while_printing_is_no_drift() -> None:
    """A third more power within half a minute, for ten minutes, and back."""

    def flow(now: float) -> float:
        return -0.3 * min(max((now - 1500.0) / 30.0, 0.0), max((2100.0 - now) / 30.0, 0.0), 1.0)

    batch = heated(3600.0, lambda _: 210.0, start_c=210.0, extra_c_s=flow, reset_s=20.0)
    moves = together(batch, motion__speed_mm_s=np.full(len(batch.time_s), 60.0))
    still = together(batch, motion__speed_mm_s=np.zeros(len(batch.time_s)))
    assert found(moves, Kind.DRIFT, Kind.NO_RISE) == []
    assert [event.kind for event in found(still, Kind.DRIFT)] == [Kind.DRIFT]


@pytest.mark.parametrize("beat_s", [240.0])
def test_power_switched_as_fast_as_it_is_told_is_not_judged(beat_s: float) -> None:
    """One row a cycle shows on or off for minutes, and nothing of the mean."""
    batch = heated(9000.0, lambda _: 80.0, start_c=80.0, rise_c_s=0.4, loss_s=1000.0, period_s=1.0)
    rng = np.random.default_rng(2)
    wander = np.cumsum(rng.normal(0.0, 0.05, len(batch.time_s))) / beat_s * 60.0
    turn = np.mod(batch.time_s / beat_s + wander, 1.0)
    seen = (turn < 2.0 * batch.numbers["nozzle.power"]).astype(np.float64)
    assert found(Batch(batch.time_s, {**batch.numbers, "nozzle.power": seen}), Kind.DRIFT) == []


def told_as_switched(batch: Batch, phase_s: float) -> Batch:
    """The same heater from a host that shows whether its switch is on: turns of a second."""
    turn = np.mod(batch.time_s + phase_s, 1.0)
    seen = (turn < batch.numbers["nozzle.power"]).astype(np.float64)
    return Batch(batch.time_s, {**batch.numbers, "nozzle.power": seen})


@pytest.mark.parametrize("phase_s", [0.5, 0.9, 0.97])
def test_a_switch_that_is_seen_off_by_turns_heats_all_the_same(phase_s: float) -> None:
    """One reading a turn, in step with it: power is 0 for minutes while the reading climbs."""
    batch = heated(2400.0, cycle, period_s=1.0, rise_c_s=5.0, loss_s=150.0)
    assert found(told_as_switched(batch, phase_s), Kind.RISE_UNPOWERED) == []


def test_a_switch_that_sticks_is_found_though_power_has_one_level() -> None:
    """At no target, and above one, a heater has no reason to be on."""
    hot = {"start_c": 200.0, "on_off_k": 1.0, "period_s": 1.0}
    for target in (200.0, 0.0):
        batch = heated(
            1500.0,
            lambda now, last=target: 200.0 if now < 600.0 else last,  # type: ignore[misc]
            extra_c_s=lambda now: 2.0 if now > 900.0 else 0.0,
            **hot,  # type: ignore[arg-type]
        )
        (event,) = found(batch, Kind.RISE_UNPOWERED)
        assert event.start_s == pytest.approx(960.0, abs=50.0)


def air(*, dies: bool, name: str = "chamber") -> Batch:
    """Air behind a fan heater: its block takes half a minute, its sensor too, doors open."""
    time_s = np.arange(0.0, 7200.0, 0.5)
    block = reading = 24.0
    here = 24.0
    readings, powers = [], []
    rng = np.random.default_rng(5)
    for now in time_s:
        power = 1.0 if reading < 55.0 else 0.0
        heat = 0.0 if dies else power
        block += (60.0 * heat - (block - here)) * 0.5 / 40.0
        loss = 1.0 / 200.0 if 3000.0 < now < 3060.0 else 1.0 / 2400.0
        here += ((block - here) / 1500.0 - (here - 24.0) * loss) * 0.5
        reading += (here - reading) * 0.5 / 25.0
        readings.append(reading + rng.normal(0.0, 0.05))
        powers.append(power)
    target = np.full(len(time_s), 55.0)
    values = {"temperature_c": np.round(readings, 1), "power": np.array(powers), "target_c": target}
    return Batch(time_s, {f"{name}.{quantity}": column for quantity, column in values.items()})


def test_air_that_warms_slowly_is_no_fault_and_a_dead_heater_of_air_is_one() -> None:
    """Hundredths of a kelvin a second, with a door that opens for a minute."""
    watch = Watch()
    watch.feed(air(dies=False))
    watch.finish()
    assert [event for event in watch.events if event.kind is Kind.NO_RISE] == []
    watch = Watch()
    watch.feed(air(dies=True))
    watch.finish()
    (event,) = [event for event in watch.events if event.kind is Kind.NO_RISE]
    assert event.start_s < 900.0


def test_what_is_held_without_a_told_target_lacks_no_heat() -> None:
    """At 70 % of power for hours, where it stands; from cold a dead heater is told all the same."""
    rng = np.random.default_rng(6)
    time_s = np.arange(0.0, 4000.0, 0.25)
    warm = 24.0 + 186.0 * (1.0 - np.exp(-time_s / 60.0))
    for celsius, is_found in ((warm, False), (np.full(len(time_s), 24.0), True)):
        reading = np.round(celsius + rng.normal(0.0, 0.1, len(time_s)), 2)
        power = np.round(np.where(time_s < 200.0, 1.0, 0.7) + rng.normal(0.0, 0.02, len(time_s)), 3)
        watch = Watch()
        columns = {"nozzle.temperature_c": reading, "nozzle.power": np.clip(power, 0.0, 1.0)}
        watch.feed(Batch(time_s, columns))
        watch.finish()
        assert (Kind.NO_RISE in {event.kind for event in watch.events}) is is_found


@pytest.mark.parametrize("warmed_k", [0.0, 8.0])
def test_a_dead_heater_that_a_hot_bed_keeps_warm_follows_no_power(warmed_k: float) -> None:
    """It comes to stand above the room, or creeps up with what is near: no loose sensor's sign."""
    rng = np.random.default_rng(9)
    time_s = np.arange(0.0, 5000.0, 0.5)
    fall = 57.0 + 153.0 * np.exp(-np.maximum(time_s - 1500.0, 0.0) / 120.0)
    creep = warmed_k * np.clip((time_s - 2600.0) / 1500.0, 0.0, 1.0)
    hold = np.where(time_s < 1500.0, 0.45, 1.0) + rng.normal(0.0, 0.01, len(time_s))
    numbers = {
        "nozzle.temperature_c": np.round(fall + creep + rng.normal(0.0, 0.05, len(time_s)), 2),
        "nozzle.target_c": np.full(len(time_s), 210.0),
        "nozzle.power": np.clip(np.round(hold, 3), 0.0, 1.0),
        "bed.temperature_c": np.round(105.0 + rng.normal(0.0, 0.05, len(time_s)), 2),
    }
    watch = Watch()
    watch.feed(Batch(time_s, numbers))
    numbers = {key: column[-1:] for key, column in numbers.items()}
    numbers |= {"nozzle.power": np.zeros(1), "nozzle.target_c": np.zeros(1)}
    for n in range(100):
        watch.feed(Batch(np.array([5000.5 + 0.5 * n]), numbers))
    watch.finish()
    (event,) = [event for event in watch.events if event.kind is Kind.NO_RISE]
    assert event.facts["followed"] == 0.0
