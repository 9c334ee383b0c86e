"""What a chain shows while it is watched, against simulated truth and published values."""

import math

import msgspec
import numpy as np
import pytest

from client.simulated.scenario import load_scenario
from detectors.engine.watch import Watch
from shared.chain import EXAMPLE, Chain
from shared.chainstate import ChainState, Finding, Stage
from shared.leads import path_ohm
from shared.platinum import CURVES, celsius, ohms
from shared.twopoint import Point
from shared.updates import Update, Value, batch_of
from tests import scenario_logs
from tests.levels import first

STEP_OHM = EXAMPLE.step_ohm
FOR_S = 700.0


def states(rows: list[Update], chains: dict[str, Chain]) -> dict[str, ChainState]:
    watch = Watch(chains)
    watch.feed(batch_of(rows))
    watch.finish()
    return {state.channel: state for state in watch.chain_states()}


def of_scenario(name: str, seed: int, for_s: float | None = FOR_S) -> dict[str, ChainState]:
    scenario = load_scenario(name)
    return states(scenario_logs.updates(name, seed, for_s), dict(scenario.chains))


def off(state: ChainState) -> set[Stage]:
    return {each.stage for each in state.off}


def at_rest(
    nozzle_ohm: float,
    bed_c: float = 23.0,
    *,
    seconds: float = 300.0,
    start_s: float = 0.0,
    noise_codes: float = 0.5,
    seed: int = 1,
    every: int = 1,
    heated: bool = False,
    drift_ohm_s: float = 0.0,
    degrees: bool = True,
) -> list[Update]:
    """A cold machine: the nozzle as codes of a resistance, the bed in degrees.

    `every` says in how many rows the nozzle is read and sent.
    """
    rng = np.random.default_rng(seed)
    rows: list[Update] = []
    code = 0.0
    for index in range(int(seconds * 4)):
        time_s = index / 4.0
        if index % every == 0:
            ohm = nozzle_ohm + drift_ohm_s * time_s
            code = float(round(ohm / STEP_OHM + rng.normal(0.0, noise_codes)))
        values: dict[str, Value] = {
            "bed.temperature_c": round(bed_c + float(rng.normal(0.0, 0.02)), 2),
            "bed.power": 0.5 if heated else 0.0,
            "motion.speed_mm_s": 0.0,
            "nozzle.power": 0.0,
        }
        if index % every == 0:
            values["nozzle.code"] = code
            if degrees:
                shown = celsius(code * STEP_OHM, 100.0)
                values["nozzle.temperature_c"] = round(shown, 2)
        rows.append(Update(start_s + time_s, values))
    return rows


@pytest.mark.parametrize(
    ("seed", "for_s"), first(1, [(0, None), (0, 900.0), (1, 900.0), (2, 900.0)])
)
@pytest.mark.parametrize(
    ("name", "stage"),
    [
        ("wrong-reference", Stage.CONVERTER),
        ("wrong-wire-count", Stage.LEADS),
        ("flying-bus-wires", Stage.BUS),
        ("frozen-reading", Stage.BUS),
        ("loose-terminal", Stage.LEADS),
        ("mains-hum", Stage.FILTER),
        ("pickup-small-filter", Stage.FILTER),
        ("supply-dip", Stage.CONTROLLER),
    ],
)
def test_the_stage_with_the_simulated_fault_is_the_one_that_is_off(
    name: str, stage: Stage, seed: int, for_s: float | None
) -> None:
    """Each fault is put into the physics of one stage; no other stage takes the blame.

    At the scenario's own end already, and after a quarter of an hour.
    """
    assert off(of_scenario(name, seed, for_s)["nozzle"]) == {stage}


@pytest.mark.parametrize("seed", first(1, range(4)))
@pytest.mark.parametrize("name", ["healthy-print", "pickup-large-filter"])
def test_no_stage_of_a_healthy_machine_is_off(name: str, seed: int) -> None:
    found = of_scenario(name, seed)
    assert set(found) == {"nozzle", "bed"}
    assert all(not state.off and state.noise.finding == "as expected" for state in found.values())


@pytest.mark.parametrize("seed", first(1, range(4)))
def test_a_wrong_reference_is_sized_by_the_cold_check(seed: int) -> None:
    """402 Ω set for 432 Ω fitted: a gain of −7.0 %, and leads that would have to be negative."""
    state = of_scenario("wrong-reference", seed)["nozzle"]
    assert state.cold is not None
    assert state.cold.prefers == "gain"
    low, high = state.cold.implied_gain.interval
    assert low < 402.0 / 432.0 - 1.0 < high < 0.0
    assert "402 Ω set for 432 Ω" in state.off[0].why


@pytest.mark.parametrize("seed", first(1, range(4)))
def test_a_wrong_wire_count_is_sized_by_the_cold_check(seed: int) -> None:
    """Three wires on a board set for two: half of one end's two leads, and the other end's."""
    scenario = load_scenario("wrong-wire-count")
    true_ohm = 1.5 * path_ohm(scenario.channels.nozzle.chain)
    state = of_scenario("wrong-wire-count", seed)["nozzle"]
    assert state.cold is not None
    assert state.cold.prefers == "offset"
    low, high = state.cold.implied_leads_ohm.interval
    assert 0.0 < low < true_ohm < high
    assert "a board set for 2 wires" in state.off[0].why


@pytest.mark.parametrize("degrees", [True, False])
@pytest.mark.parametrize("codes", [0.5, 2.0, 5.0])
def test_the_noise_measured_is_the_noise_put_in(codes: float, degrees: bool) -> None:
    """Normal noise and the rounding of codes (1/12), within the interval that is given."""
    true_codes = math.hypot(codes, 1.0 / math.sqrt(12.0))
    noise = states(at_rest(109.0, noise_codes=codes, degrees=degrees), {"nozzle": EXAMPLE})[
        "nozzle"
    ].noise
    assert noise.readings > 900
    expected = math.hypot(EXAMPLE.noise_codes, 1.0 / math.sqrt(12.0))
    low, high = noise.interval
    assert low < true_codes / expected < high
    assert noise.codes == pytest.approx(true_codes, rel=0.06)
    assert noise.finding == ("as expected" if codes < 1.0 else "louder")


def test_slow_heat_is_no_noise() -> None:
    """The room warms by 1 K a minute: an even slope falls out of the differences."""
    still = states(at_rest(109.0), {"nozzle": EXAMPLE})["nozzle"].noise
    moving = states(at_rest(109.0, drift_ohm_s=0.385 / 60.0), {"nozzle": EXAMPLE})["nozzle"].noise
    assert moving.measured_ohm == pytest.approx(still.measured_ohm, rel=0.08)


def test_a_value_held_between_readings_is_no_second_reading() -> None:
    """Read and sent at 1 Hz beside channels at 4 Hz."""
    rows = at_rest(109.0, every=4, seconds=500.0, noise_codes=2.0)
    noise = states(rows, {"nozzle": EXAMPLE})["nozzle"].noise
    assert noise.readings < 550
    assert noise.codes == pytest.approx(2.02, rel=0.1)


def test_heaters_at_work_leave_no_quiet_moment() -> None:
    """A heater that switches within every window: the noise is not told, and why is said."""
    rows = [
        Update(row.time_s, {**row.values, "bed.power": float(index % 2)})
        for index, row in enumerate(at_rest(109.0))
    ]
    state = states(rows, {"nozzle": EXAMPLE})["nozzle"]
    assert state.noise.readings == 0
    assert "no quiet moment" in state.noise.could_not_tell


def test_a_host_with_another_curve_is_off_by_what_the_curves_differ() -> None:
    """A GOST element at 250 °C read as IEC 60751 shows 254.08 °C (computed from both curves'
    published coefficients)."""
    chain = Chain(curve="gost-6651", wires=4)
    ohm = ohms(250.0, 100.0, CURVES["gost-6651"])
    rows = [
        Update(
            row.time_s,
            {
                "nozzle.code": row.values["nozzle.code"],
                "nozzle.temperature_c": 254.08,
                "nozzle.target_c": 254.0,
                "nozzle.power": 0.4,
            },
        )
        for row in at_rest(ohm)
    ]
    state = states(rows, {"nozzle": chain})["nozzle"]
    assert off(state) == {Stage.HOST}
    assert "254.1 °C where these facts give 250.0" in state.off[0].why
    believed = msgspec.structs.replace(chain, host_curve="iec-60751")
    assert not states(rows, {"nozzle": believed})["nozzle"].off
    # Without facts there is nothing to hold the host's degrees against.
    told = {each.stage: each.finding for each in states(rows, {})["nozzle"].stages}
    assert told[Stage.HOST] is Finding.NOT_TOLD


def test_with_two_sensors_the_check_does_not_say_which_is_off() -> None:
    state = states(at_rest(113.0, bed_c=23.0), {"nozzle": EXAMPLE})["nozzle"]
    assert state.cold is not None
    assert state.cold.is_off
    assert Stage.LEADS not in off(state)
    assert any("a third would tell" in words for words in state.could_not_tell)


def test_the_newest_rest_at_a_temperature_counts() -> None:
    """Off at the first rest, repaired, right at the next: the leads are no longer off."""
    right = ohms(23.0, 100.0) + 2.0 * path_ohm(EXAMPLE)
    rows = at_rest(right + 4.0)
    rows += at_rest(right, start_s=300.0, seconds=100.0, heated=True)
    before = states(rows, {"nozzle": EXAMPLE})["nozzle"]
    rows += at_rest(right, start_s=400.0)
    after = states(rows, {"nozzle": EXAMPLE})["nozzle"]
    assert before.cold is not None
    assert before.cold.is_off
    assert after.cold is not None
    assert not after.cold.is_off


def test_a_chain_known_by_its_profile_alone_says_what_is_missing() -> None:
    """Degrees only: facts are shown, noise is not told."""
    rows = [Update(row.time_s, {"bed.temperature_c": 23.0, "bed.power": 0.0})
            for row in at_rest(109.0)]  # fmt: skip
    state = states(rows, {"bed": EXAMPLE})["bed"]
    assert state.noise.finding == "cannot tell"
    assert "degrees only" in state.noise.could_not_tell
    assert states(rows, {}) == {}


def test_a_state_carries_a_two_point_check_once_points_are_given() -> None:
    """Resistors of 100 and 150 Ω read with 1 Ω of leads and 0.5 % of gain error."""
    state = of_scenario("healthy-print", 0, 120.0)["bed"]
    assert state.with_points((), element_in=False).two_point is None
    points = tuple(Point(known, 1.005 * known + 1.0, 0.01) for known in (100.0, 150.0))
    found = state.with_points(points, element_in=False).two_point
    assert found is not None
    assert found.split.offset_ohm is not None
    assert found.split.gain is not None
    assert found.split.offset_ohm.value == pytest.approx(1.0, abs=1e-9)
    assert found.split.gain.value == pytest.approx(0.005, abs=1e-9)
    assert "two points" in state.with_points(points, element_in=False).lines[-1]
