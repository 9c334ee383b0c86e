"""The worlds keep to physics, to their own truth, and to their seed."""

import numpy as np
import pytest

from shared import platinum
from shared.updates import Batch
from shared.words import Kind
from tests.quality.worlds.around import Around
from tests.quality.worlds.chain import Sensor
from tests.quality.worlds.control import Settings
from tests.quality.worlds.csvlog import write_csv
from tests.quality.worlds.element import celsius_of, ratio_of
from tests.quality.worlds.faults import FAULTS
from tests.quality.worlds.faults_heat import REST_S
from tests.quality.worlds.heat import Body
from tests.quality.worlds.machine import Heater, Machine
from tests.quality.worlds.program import still
from tests.quality.worlds.run import Run, run
from tests.quality.worlds.upset import Upset
from tests.quality.worlds.world import HEALTHY, World, make_world

HOURS = 1.0
BODY = Body(
    watts=40.0, wire_j_k=3.0, block_j_k=15.0, joint_w_k=3.0, loss_w_k=0.06, radiating_m2=1e-3,
    far_j_k=10.0, far_w_k=0.02, far_loss_w_k=0.3, fan_w_k=0.01, lag_s=2.0,
)  # fmt: skip
HELD = Settings("pid", 0.2, 0.5, 0.1, 40.0, 1.0, 0.0, 0.0, 1.0, 0)
FINE = Sensor(100.0, 4, 4.02, 24, 0.001, "white", 1.0, 0.0)


def _held(count: int, target_c: float, fan: float = 0.0, feed_mm_s: float = 0.0) -> Run:
    """One plain heater in still air, for so many steps of 0.1 s."""
    machine = Machine((Heater("nozzle", "nozzle", BODY, HELD),), (), False, 800.0, 50.0, 0.0, 0.1)
    program = still(0.1, {"nozzle": np.full(count, target_c)}, "held")
    program.fan[:], program.feed_mm_s[:] = fan, feed_mm_s
    around = Around(np.full(count, 20.0), np.ones(count), np.ones(count), 0)
    rng = np.random.default_rng(1)
    return run(machine, program, around, {"nozzle": FINE}, 2, Upset(), rng)


@pytest.mark.parametrize("celsius", [-150.0, -40.0, 0.0, 25.0, 100.0, 230.0, 600.0])
def test_its_platinum_is_the_standard_s(celsius: float) -> None:
    """IEC 60751, against the product's own, both ways."""
    assert ratio_of(celsius) == pytest.approx(platinum.ratio(celsius), abs=1e-12)
    assert celsius_of(ratio_of(celsius)) == pytest.approx(celsius, abs=1e-6)


@pytest.mark.parametrize(("fan", "feed"), [(0.0, 0.0), (1.0, 4.0)])
def test_energy_is_kept(fan: float, feed: float) -> None:
    """What heaters gave is what is stored and what left for room and filament."""
    made = _held(12_000, 210.0, fan, feed)
    assert made.in_j > 5000.0
    assert made.stored_j + made.out_j == pytest.approx(made.in_j, rel=1e-9)


def test_a_held_heater_takes_what_it_loses() -> None:
    """The balance in closed form, after 100 min."""
    made = _held(60_000, 210.0)
    late = slice(50_000, None)
    watts = float(made.given["nozzle"][late].mean()) * BODY.watts
    assert made.felt_c["nozzle"][late].mean() == pytest.approx(210.0, abs=0.2)
    # The air it stands in is warmer than the room by what passes its walls.
    assert watts == pytest.approx(BODY.holding_w(210.0, 20.0 + watts / 50.0), rel=0.01)


def test_a_cold_heater_rises_as_its_watts_over_its_heat() -> None:
    """Full power, before losses count."""
    made = _held(150, 210.0)
    felt = made.felt_c["nozzle"]
    rate = (felt[-1] - felt[-11]) / 1.0
    assert rate == pytest.approx(BODY.watts / (BODY.wire_j_k + BODY.block_j_k), rel=0.08)


@pytest.mark.parametrize("seed", range(40, 44))
def test_a_healthy_world_tells_its_truth(seed: int) -> None:
    """Degrees are within noise, rounding, leads and the converter's lag of what sensors had."""
    world = make_world(seed, HOURS, HEALTHY)
    for name, sensor in world.source.sensors.items():
        host = world.source.host
        felt = world.source.run.felt_c[name]
        told = world.batch.numbers[f"{name}.temperature_c"]
        told = told[~np.isnan(told)]
        spread_k = 6.0 * 1.5 * sensor.noise_k + sensor.code_k + (host.step_k or 0.001)
        leads_k = abs(sensor.offset_ohm) / sensor.r0_ohm / 3.3e-3
        assert felt.min() - spread_k - leads_k <= told.min()
        assert told.max() <= felt.max() + spread_k + leads_k
    assert not world.truths


def test_a_healthy_world_s_rows_follow_its_truth_row_by_row() -> None:
    """Where a host tells every conversion at once, whole and unspoilt by bursts."""
    seeds = (s for s in range(200) if _is_plain(make_world(s, HOURS, HEALTHY)))
    world = make_world(next(seeds), HOURS, HEALTHY)
    host, step_s = world.source.host, world.source.program.step_s
    taken_s = (world.batch.time_s - host.origin_s) / (1.0 + 1e-6 * host.clock_ppm)
    for name, sensor in world.source.sensors.items():
        felt = world.source.run.felt_c[name]
        at = np.minimum((taken_s / step_s).astype(int), len(felt) - 1)
        lag_k = np.abs(np.gradient(felt)).max() * (host.converts_s + 2.0 * host.clock_step) / step_s
        spread_k = 9.0 * sensor.noise_k + sensor.code_k + (host.step_k or 0.001)
        apart = world.batch.numbers[f"{name}.temperature_c"] - felt[at]
        assert np.abs(apart).max() <= (
            spread_k + lag_k + abs(sensor.offset_ohm) / sensor.r0_ohm / 3.3e-3
        )


def _is_plain(world: World) -> bool:
    host = world.source.host
    return host.form == "whole" and host.burst == 1 and not host.cuts


def _by_length(kind: Kind) -> object:
    """Kinds that need a long log are left to the gate."""
    return pytest.param(kind, marks=[pytest.mark.long] if FAULTS[kind].hours else [])


@pytest.mark.parametrize("kind", [_by_length(kind) for kind in FAULTS])
def test_a_planted_fault_is_there(kind: Kind) -> None:
    """The log differs from that of the same world without it, and only from its time on."""
    world, spare = (make_world(77, HOURS, str(kind), spare) for spare in (False, True))
    (truth,) = world.truths
    assert truth.label.start_s < truth.label.end_s
    assert not _same(world.batch, spare.batch)
    # A switch can only stay on unasked once the machine has been told to rest.
    told_s = REST_S if kind is Kind.RISE_UNPOWERED else 0.0
    before = [
        each.cut(0, int(np.searchsorted(each.time_s, truth.label.start_s - told_s - 60.0)))
        for each in (world.batch, spare.batch)
    ]
    assert _same(*before)


def _same(one: Batch, two: Batch) -> bool:
    """Whether two logs say the same."""
    return (
        np.array_equal(one.time_s, two.time_s)
        and {*one.numbers} == {*two.numbers}
        and all(np.array_equal(c, two.numbers[k], equal_nan=True) for k, c in one.numbers.items())
        and dict(one.texts) == dict(two.texts)
    )


@pytest.mark.parametrize(
    ("kind", "least_k"), [(Kind.STEP, 10.0), (Kind.SPIKE, 1.0), (Kind.CONTACT_BREAK, 1.0)]
)
def test_a_jump_is_in_the_rows(kind: Kind, least_k: float) -> None:
    """Some reading moves by more from row to row than any does before the fault."""
    world = make_world(78, HOURS, str(kind))
    (truth,) = world.truths
    column = world.batch.numbers[f"{truth.label.channel}.temperature_c"]
    is_told = ~np.isnan(column)
    time_s, told = world.batch.time_s[is_told], column[is_told]
    moves = np.abs(np.diff(told))
    before = time_s[1:] < truth.label.start_s - 1.0
    during = ~before & (time_s[1:] <= truth.label.end_s + 30.0)
    assert moves[during].max() > max(least_k, moves[before].max())


@pytest.mark.parametrize("kind", [HEALTHY, "contact-break"])
def test_the_same_seed_gives_the_same_bytes(
    kind: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """A world is its seed, its hours and its kind."""
    folder = tmp_path_factory.mktemp("worlds")
    for name in ("one", "two"):
        write_csv(folder / name, make_world(5, HOURS, kind).batch)
    assert (folder / "one").read_bytes() == (folder / "two").read_bytes()
    write_csv(folder / "three", make_world(6, HOURS, kind).batch)
    assert (folder / "one").read_bytes() != (folder / "three").read_bytes()
