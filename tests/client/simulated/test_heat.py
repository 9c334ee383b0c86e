"""Heat against closed forms and against an independent solution of the same equations."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import expm

from client.simulated.heat import NOZZLE, Air, BlockFacts, Electronics, HotBlock
from client.simulated.rhythm import STEP_S

SINGLE = replace(NOZZLE, couple_w_k=0.0, dead_s=0.0)
ROOM_C = 20.0


def run(block: HotBlock, power: float, for_s: float, fan: float = 0.0, flow: float = 0.0) -> None:
    for _ in range(round(for_s / STEP_S)):
        block.step(power, ROOM_C, fan, flow)


@pytest.mark.parametrize("for_s", [10.0, 100.0, 400.0, 2000.0])
def test_a_single_mass_follows_the_first_order_answer(for_s: float) -> None:
    """T = room + P/G · (1 − e^(−t G/C)): the textbook's lumped body."""
    block = HotBlock(SINGLE, ROOM_C)
    run(block, 0.4, for_s)
    loss, mass = SINGLE.core_loss_w_k, SINGLE.core_j_k
    final = 0.4 * SINGLE.watts / loss
    expected = ROOM_C + final * (1.0 - math.exp(-for_s * loss / mass))
    assert block.core_c == pytest.approx(expected, abs=5e-4 * final)


def test_an_unpowered_mass_cools_exponentially() -> None:
    """After one time constant 1/e of the excess is left."""
    block = HotBlock(SINGLE, 220.0)
    run(block, 0.0, SINGLE.core_j_k / SINGLE.core_loss_w_k)
    assert block.core_c - ROOM_C == pytest.approx(200.0 / math.e, rel=1e-3)


def test_dead_time_shifts_the_answer_and_changes_nothing_else() -> None:
    """With a dead time of 1 s the block does at t + 1 s what it did at t without."""
    prompt, tardy = HotBlock(SINGLE, ROOM_C), HotBlock(replace(SINGLE, dead_s=1.0), ROOM_C)
    run(prompt, 0.7, 30.0)
    run(tardy, 0.7, 1.0)
    assert tardy.core_c == ROOM_C
    run(tardy, 0.7, 30.0)
    assert tardy.core_c == pytest.approx(prompt.core_c, abs=1e-9)


def test_two_masses_follow_the_matrix_exponential() -> None:
    """The exact solution of both equations (scipy.linalg.expm) with fan and flow."""
    facts: BlockFacts = replace(NOZZLE, dead_s=0.0)
    fan, flow, power, for_s = 0.6, 0.8, 0.5, 60.0
    block = HotBlock(facts, ROOM_C)
    run(block, power, for_s, fan, flow)
    core_loss = facts.core_loss_w_k + facts.core_fan_w_k * fan
    tip_loss = facts.tip_loss_w_k + facts.tip_fan_w_k * fan + facts.flow_w_k * flow
    rates = np.array(
        [
            [-(facts.couple_w_k + core_loss) / facts.core_j_k, facts.couple_w_k / facts.core_j_k],
            [facts.couple_w_k / facts.tip_j_k, -(facts.couple_w_k + tip_loss) / facts.tip_j_k],
        ]
    )
    drive = np.array([power * facts.watts / facts.core_j_k, 0.0])
    final = np.linalg.solve(rates, -drive)
    exact = ROOM_C + final - expm(rates * for_s) @ final
    assert [block.core_c, block.tip_c] == pytest.approx(exact.tolist(), abs=0.1)


def test_a_settled_block_stays_where_it_is() -> None:
    """The power that `settle` gives holds the tip's temperature."""
    block = HotBlock(NOZZLE, ROOM_C)
    power = block.settle(210.0, ROOM_C)
    core_c = block.core_c
    run(block, power, 300.0)
    assert (block.tip_c, block.core_c) == pytest.approx((210.0, core_c), abs=1e-6)


def test_a_broken_heater_heats_nothing() -> None:
    """Full power into an open circuit."""
    block = HotBlock(NOZZLE, ROOM_C)
    block.is_broken = True
    run(block, 1.0, 60.0)
    assert block.core_c == pytest.approx(ROOM_C)


def test_a_slipped_sensor_reads_low_by_the_divider_of_its_couplings() -> None:
    """At rest the tip divides the block's excess as its two couplings do."""
    block = HotBlock(replace(NOZZLE, dead_s=0.0), ROOM_C)
    block.left, block.air_w_k = 0.2, 0.05
    run(block, 0.3, 3000.0)
    inner = 0.2 * NOZZLE.couple_w_k
    outer = NOZZLE.tip_loss_w_k + 0.05
    expected = (block.core_c - ROOM_C) * inner / (inner + outer)
    assert block.tip_c - ROOM_C == pytest.approx(expected, rel=1e-3)


def test_air_and_electronics_end_where_heat_in_is_heat_out() -> None:
    """Steady states by hand."""
    air, board = Air(ROOM_C), Electronics(ROOM_C)
    for _ in range(40_000):
        air.step(STEP_S, ROOM_C, 60.0, 0.0)
        board.step(STEP_S, ROOM_C, True)
    share = Air.FROM_BED_W_K / (Air.FROM_BED_W_K + Air.LEAK_W_K)
    assert air.celsius - ROOM_C == pytest.approx(40.0 * share, rel=0.01)
    heat_w = Electronics.IDLE_W + Electronics.MOTORS_W
    assert board.celsius - ROOM_C == pytest.approx(heat_w / Electronics.LOSS_W_K, rel=0.01)
