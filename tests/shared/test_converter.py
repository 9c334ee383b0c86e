"""The ratiometric converter."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.converter import code_of, ohms_of, step_ohm
from shared.platinum import celsius


def test_a_flipped_bit_is_worth_what_was_computed() -> None:
    """15 bits, reference 430 Ω, 210 °C: code 13681; flips as in the computed table."""
    code = code_of(179.5294, 430.0, 15)
    assert code == 13681
    base = celsius(ohms_of(code, 430.0, 15), 100.0)
    flips = {7: 4.585, 8: -9.151, 10: -36.448, 11: 74.181}
    for bit, degrees in flips.items():
        flipped = celsius(ohms_of(code ^ (1 << bit), 430.0, 15), 100.0)
        assert flipped - base == pytest.approx(degrees, abs=0.005)


def test_a_code_saturates_at_both_ends() -> None:
    """Nothing below 0 or above 2^bits − 1; an open input is the highest code."""
    assert code_of(-3.0, 430.0, 15) == 0
    assert code_of(430.0, 430.0, 15) == 32767
    assert code_of(math.inf, 430.0, 15) == 32767


def test_no_reading_has_no_code() -> None:
    """NaN is a mistake of the caller."""
    with pytest.raises(ValueError):
        code_of(math.nan, 430.0, 15)


@given(code=st.integers(0, 32767), bits=st.just(15))
def test_a_code_comes_back_from_its_ohms(code: int, bits: int) -> None:
    """Code → Ω → code."""
    assert code_of(ohms_of(code, 430.0, bits), 430.0, bits) == code


@given(resistance=st.floats(0.0, 429.0))
def test_a_code_is_within_half_a_step(resistance: float) -> None:
    """Rounding to nearest."""
    error = ohms_of(code_of(resistance, 430.0, 15), 430.0, 15) - resistance
    assert abs(error) <= step_ohm(430.0, 15) / 2 * (1 + 1e-9)
