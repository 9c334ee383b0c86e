"""The input filter, against published multiples, circuit theory and a numerical solver."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from shared.chain import Chain
from shared.converter import code_of
from shared.filters import (
    attenuation,
    averaging_attenuation,
    capacitance_range,
    corner_hz,
    settling_error,
    settling_time_constants,
    source_ohm,
    unsettled_ohm,
)
from shared.leads import path_ohm


# ln 2^(N+1) (computed).
@pytest.mark.parametrize(
    ("bits", "multiples"), [(12, 9.011), (15, 11.090), (16, 11.784), (24, 17.329)]
)
def test_settling_takes_the_known_multiples(bits: int, multiples: float) -> None:
    """Time constants to half a step of a full-scale change."""
    assert settling_time_constants(bits) == pytest.approx(multiples, abs=5e-4)
    assert settling_error(settling_time_constants(bits), 1.0) == pytest.approx(2.0 ** -(bits + 1))


def test_a_corner_lets_through_one_over_root_two() -> None:
    """And a decade above a tenth of it: first order."""
    corner = corner_hz(1000.0, 100e-9)
    assert corner == pytest.approx(1591.549, abs=1e-3)
    assert attenuation(corner, corner) == pytest.approx(math.sqrt(0.5))
    assert attenuation(100.0 * corner, corner) == pytest.approx(0.01, rel=1e-3)


def test_no_capacitor_filters_nothing() -> None:
    """All passes, and all has settled."""
    assert attenuation(1e6, corner_hz(100.0, 0.0)) == 1.0
    assert settling_error(1e-3, 0.0) == 0.0


@given(frequency=st.floats(10.0, 1e6), tau=st.floats(1e-6, 1e-3))
def test_an_independent_solver_gives_the_same_attenuation(frequency: float, tau: float) -> None:
    """scipy.signal's frequency response of 1/(1 + s τ)."""
    _, response = signal.freqs([1.0], [tau, 1.0], worN=[2.0 * math.pi * frequency])
    found = attenuation(frequency, corner_hz(tau, 1.0))
    assert found == pytest.approx(abs(response[0]), rel=1e-9)


def test_a_conversion_of_whole_periods_is_blind_to_mains() -> None:
    """20 ms hold one period of 50 Hz, and 1.2 of 60 Hz: sin(1.2 π)/(1.2 π) is left."""
    assert averaging_attenuation(50.0, 0.020) == pytest.approx(0.0, abs=1e-12)
    assert averaging_attenuation(60.0, 0.020) == pytest.approx(0.1559, abs=1e-4)
    assert averaging_attenuation(0.0, 0.020) == 1.0


@pytest.mark.parametrize("wires", [2, 3, 4])
def test_the_source_resistance_is_that_of_the_network(wires: int) -> None:
    """Nodal analysis of the inputs with the bias shorted and one ampere into the inputs."""
    chain = Chain(wires=wires, lead_ohm_per_m=1.0, lead_m=1.0, contact_ohm=0.5)  # type: ignore[arg-type]
    element, lead, reference = 138.5, path_ohm(chain, 20.0), chain.reference_ohm
    # Nodes: 0 element's end A, 1 end B, 2 sense A, 3 sense B; ground is the bias' return.
    g = np.zeros((4, 4))

    def join(a: int, b: int | None, ohm: float) -> None:
        g[a, a] += 1.0 / ohm
        if b is not None:
            g[b, b] += 1.0 / ohm
            g[a, b] -= 1.0 / ohm
            g[b, a] -= 1.0 / ohm

    tiny = 1e-6
    join(0, 1, element)
    join(1, None, lead)
    if wires == 2:
        # Sense A sits where the reference meets the one lead; sense B at the return.
        join(2, None, reference)
        join(2, 0, lead)
        join(3, None, tiny)
    else:
        join(0, None, reference + lead)
        join(2, 0, lead)
        join(3, *((1, lead) if wires == 4 else (None, tiny)))
    current = np.array([0.0, 0.0, 1.0, -1.0])
    volts = np.linalg.solve(g, current)
    assert source_ohm(chain, element, 20.0) == pytest.approx(volts[2] - volts[3], rel=1e-6)


def test_what_is_read_before_settling_follows_the_charging_curve() -> None:
    """Integrate the charging step by step and take the converter's ratio of voltages."""
    element, reference, capacitance = 1800.0, 4300.0, 100e-9
    tau = element * reference / (element + reference) * capacitance
    wait, steps, volt = 3.0 * tau, 100_000, 0.0
    for _ in range(steps):
        volt += wait / steps * ((1.0 - volt) / reference - volt / element) / capacitance
    ratio = volt / (1.0 - volt) * reference
    found = unsettled_ohm(element, reference, settling_error(wait, tau))
    assert found == pytest.approx(ratio, rel=1e-4)


@given(source=st.floats(10.0, 5000.0), bits=st.integers(8, 24), wait=st.floats(1e-4, 1e-1))
def test_both_ends_of_the_capacitance_range_just_do(source: float, bits: int, wait: float) -> None:
    """At the low end a third of 20 kHz passes; at the high end half a code is missing."""
    window = capacitance_range(source, bits, wait)
    assert attenuation(20e3, corner_hz(source, window.lowest_f)) == pytest.approx(1.0 / 3.0)
    missing = settling_error(wait, source * window.highest_f)
    assert missing == pytest.approx(2.0 ** -(bits + 1))


def test_the_usual_added_capacitance_lands_in_the_range_at_print_temperature() -> None:
    """Common practice: 100–500 nF beside the board's 100, for a Pt100 with a 430 Ω reference.

    At 210 °C and after 1 ms. The board's 100 nF alone do not filter enough.
    """
    chain = Chain()
    window = capacitance_range(source_ohm(chain, 179.53), chain.bits, 1e-3)
    assert window.holds(200e-9)
    assert window.holds(600e-9)
    assert not window.holds(100e-9)


def test_a_tenfold_element_wants_a_tenth_of_the_capacitance() -> None:
    """100 nF, right for a Pt100, keep a Pt1000 from settling within 1 ms."""
    chain = Chain(r0_ohm=1000.0, reference_ohm=4300.0)
    window = capacitance_range(source_ohm(chain, 1795.3), chain.bits, 1e-3)
    assert window.highest_f < 100e-9
    assert window.holds(40e-9)


def test_half_a_code_of_full_scale_is_what_settled_means() -> None:
    """A reading that is settled by this rule loses no code to the wait."""
    missing = 2.0**-16
    settled = unsettled_ohm(200.0, 430.0, missing)
    assert abs(code_of(settled, 430.0, 15) - code_of(200.0, 430.0, 15)) <= 1
