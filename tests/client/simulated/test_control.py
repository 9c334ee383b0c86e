"""The controller: it holds a goal, does not wind up, and halts on its limits."""

from client.simulated.control import Guard, Regulator
from client.simulated.heat import NOZZLE, Block
from client.simulated.rhythm import STEP_S, TICK_S
from client.simulated.scenario import Limit


def regulate(goal_c: float, for_s: float) -> tuple[Block, Regulator, float]:
    """A block under regulation, without noise; and the highest temperature on the way."""
    block, regulator = Block(NOZZLE, 20.0), Regulator(0.03, 35.0)
    regulator.goal_c = goal_c
    highest = 0.0
    for turn in range(round(for_s / STEP_S)):
        if turn % round(TICK_S / STEP_S) == 0:
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
