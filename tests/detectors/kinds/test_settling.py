"""How much heat a channel may still have to lose."""

import math

import pytest

from detectors.kinds.settling import MOST_S, SLOWEST_S, Fall


@pytest.mark.parametrize("tau_s", [1800.0, 5000.0, 9000.0])
def test_the_time_constant_of_a_fall_is_told_from_its_bend(tau_s: float) -> None:
    """An exact exponential, looked at after two hours: its slope and fall give τ back."""
    fall = Fall()
    now_s = 7200.0
    for at_s in range(0, int(now_s), 8):
        fall.add(float(at_s), 23.0 + 60.0 * math.exp(-at_s / tau_s))
    left_k = 60.0 * math.exp(-now_s / tau_s)
    found_s = fall.time_constant_s(now_s, 23.0 + left_k, left_k / tau_s)
    assert found_s == pytest.approx(tau_s, rel=0.02)


def test_a_fall_that_gets_no_slower_has_long_to_go() -> None:
    fall = Fall()
    for at_s in range(0, 3600, 8):
        fall.add(float(at_s), 60.0 - 0.005 * at_s)
    assert fall.time_constant_s(3600.0, 42.0, 0.005) == MOST_S


def test_what_did_not_fall_is_taken_for_a_thick_bed() -> None:
    fall = Fall()
    for at_s in range(0, 3600, 8):
        fall.add(float(at_s), 23.0)
    assert fall.time_constant_s(3600.0, 23.0, 1e-5) == SLOWEST_S
