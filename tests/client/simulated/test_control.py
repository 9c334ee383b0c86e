"""The controller: it holds a goal, does not wind up, and halts on its limits."""

import math

from client.simulated.control import HOLD_S, NO_RISE_C, Guard, Regulator
from client.simulated.faults import ControllerRestart
from client.simulated.heat import BED, NOZZLE, BlockFacts, HotBlock
from client.simulated.rhythm import READING_S, STEP_S
from client.simulated.scenario import HostLimits, Limit, load_scenario, scenario_names
from shared.chain import Chain
from shared.converter import full_scale
from shared.platinum import ohms


def regulate(goal_c: float, for_s: float) -> tuple[HotBlock, Regulator, float]:
    """A block under regulation, without noise; and the highest temperature on the way."""
    block, regulator = HotBlock(NOZZLE, 20.0), Regulator(0.03, 35.0)
    regulator.goal_c = goal_c
    highest = 0.0
    for turn in range(round(for_s / STEP_S)):
        if turn % round(READING_S / STEP_S) == 0:
            regulator.tick(block.tip_c, True)
        block.step(regulator.power, 20.0, 0.0, 0.0)
        highest = max(highest, block.tip_c)
    return block, regulator, highest


def test_the_regulator_reaches_its_goal_and_holds_it() -> None:
    """Within 0.05 °C after five minutes, and less than 3 °C over it on the way."""
    block, regulator, highest = regulate(210.0, 400.0)
    assert abs(block.tip_c - 210.0) < 0.05
    assert highest < 213.0
    assert 0.2 < regulator.power < 0.6


def test_no_goal_is_no_power() -> None:
    """A goal of 0 switches the heater off at once."""
    _, regulator, _ = regulate(210.0, 60.0)
    regulator.goal_c = 0.0
    regulator.tick(100.0, True)
    assert regulator.power == 0.0


def test_unusable_readings_cut_the_power_after_a_second() -> None:
    """Power is kept over a short gap and cut in a long one."""
    regulator = Regulator(0.03, 35.0)
    regulator.goal_c = 210.0
    regulator.tick(100.0, True)
    for _ in range(10):
        regulator.tick(988.0, False)
    assert regulator.power == 1.0
    regulator.tick(988.0, False)
    regulator.tick(988.0, False)
    assert regulator.power == 0.0


def test_a_guard_halts_when_a_reading_stays_beyond_its_limits() -> None:
    """A reading beyond for longer than the patience; one good reading counts anew."""
    guard = Guard("nozzle", Limit(highest_c=300.0, patience_s=2.0))
    for _ in range(19):
        assert guard.tick(400.0, 0.0) == ""
    assert guard.tick(200.0, 0.0) == ""
    remarks = [guard.tick(400.0, 0.0) for _ in range(25)]
    assert "beyond its limits" in next(filter(None, remarks))
    assert remarks[:19] == [""] * 19


def test_a_guard_halts_when_full_power_brings_no_rise() -> None:
    """A rising block is let be, a falling one is not, and 0 never halts."""
    rising, falling = Guard("nozzle", Limit(no_rise_s=10.0)), Guard("nozzle", Limit(no_rise_s=10.0))
    never = Guard("nozzle", Limit(no_rise_s=0.0))
    remarks = set()
    for turn in range(150):
        assert rising.tick(50.0 + 0.05 * turn, 1.0) == ""
        assert never.tick(150.0 - 0.05 * turn, 1.0) == ""
        remarks.add(falling.tick(150.0 - 0.05 * turn, 1.0))
    assert any("no warmer" in remark for remark in remarks)


def gained_k(facts: BlockFacts, celsius: float, for_s: float, power: float = 1.0) -> float:
    """What a heater brings from here on, fan and flow full, by the closed form of one mass."""
    heat_j_k = facts.core_j_k + facts.tip_j_k
    loss_w_k = facts.core_loss_w_k + facts.tip_loss_w_k
    loss_w_k += facts.core_fan_w_k + facts.tip_fan_w_k + facts.flow_w_k
    final_k = power * facts.watts / loss_w_k
    return (final_k - (celsius - 23.0)) * (1.0 - math.exp(-for_s * loss_w_k / heat_j_k))


def test_the_time_without_a_rise_is_a_quarter_of_the_time_constant() -> None:
    """T = T0 + P/G (1 − e^(−tG/C)), the closed form of a lumped mass: even at the limit a heater
    that works brings more than ten times what it must."""
    limits = HostLimits()
    for facts, limit in ((NOZZLE, limits.nozzle), (BED, limits.bed)):
        heat_j_k = facts.core_j_k + facts.tip_j_k
        tau_s = heat_j_k / (facts.core_loss_w_k + facts.tip_loss_w_k)
        assert abs(limit.no_rise_s - 0.25 * tau_s) < 0.5
        assert gained_k(facts, limit.highest_c, limit.no_rise_s) > 10.0 * NO_RISE_C


def test_what_must_be_gained_is_far_above_the_noise() -> None:
    """Noise and rounding of a code, as a difference of two readings, by the chain's own figures."""
    chain = Chain()
    code_k = chain.step_ohm / (ohms(210.5) - ohms(209.5))
    noise_k = math.sqrt(2.0 * (chain.noise_codes**2 + 1.0 / 12.0)) * code_k
    assert 10.0 * noise_k < NO_RISE_C


def test_patience_costs_a_print_ten_kelvin() -> None:
    """Power is cut after HOLD_S, heat after the dead time; then the block cools from 210 °C."""
    patience_s = HostLimits().nozzle.patience_s
    cooled_k = -gained_k(NOZZLE, 210.0, patience_s - HOLD_S - NOZZLE.dead_s, power=0.0)
    assert 9.0 < cooled_k < 10.0


def test_grace_lasts_until_the_filters_have_settled() -> None:
    """From the worst start a restart can give, to under two codes."""
    fault = ControllerRestart()
    start = 1.1 * fault.from_code * full_scale(Chain().bits)
    assert start * math.exp(-HostLimits().grace_s / fault.settle_s) < 2.0


def test_no_scenario_wants_what_the_limits_forbid() -> None:
    """By 40 °C, which no overshoot of the regulation comes near."""
    for name in scenario_names():
        scenario = load_scenario(name)
        for heater in ("nozzle", "bed"):
            goals = [getattr(step, f"{heater}_c") or 0.0 for step in scenario.steps]
            assert max(goals) + 40.0 < getattr(scenario.limits, heater).highest_c
