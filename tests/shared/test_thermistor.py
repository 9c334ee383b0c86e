"""Thermistors and their divider."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.thermistor import Beta, Divider, SteinhartHart

USUAL = Beta(10e3, 3950.0)
TEXTBOOK = SteinhartHart(1.129148e-3, 2.34125e-4, 8.76741e-8)


# β 3950, 10 kΩ at 25 °C (published, recomputed).
@pytest.mark.parametrize(
    ("celsius", "ohm"), [(-20.0, 105384.7), (32.0, 7379.3), (50.0, 3588.2), (120.0, 407.1)]
)
def test_beta_gives_the_published_ohms(celsius: float, ohm: float) -> None:
    """To the digits that are published."""
    assert USUAL.ohms(celsius) == pytest.approx(ohm, abs=0.06)


# A textbook's Steinhart–Hart example (secondary source and memory).
@pytest.mark.parametrize(
    ("ohm", "celsius"), [(32650.0, 0.000), (10000.0, 25.000), (1752.0, 69.993)]
)
def test_steinhart_hart_gives_the_textbook_degrees(ohm: float, celsius: float) -> None:
    """Within a millikelvin."""
    assert TEXTBOOK.celsius(ohm) == pytest.approx(celsius, abs=1.5e-3)


@given(celsius=st.floats(-50.0, 300.0))
def test_both_equations_return_to_the_temperature(celsius: float) -> None:
    """Ω and back."""
    assert USUAL.celsius(USUAL.ohms(celsius)) == pytest.approx(celsius, abs=1e-9)
    assert TEXTBOOK.celsius(TEXTBOOK.ohms(celsius)) == pytest.approx(celsius, abs=1e-8)


def test_three_points_give_the_coefficients_back() -> None:
    """The curve through three of its own points is itself."""
    points = tuple((TEXTBOOK.ohms(t), t) for t in (0.0, 60.0, 120.0))
    found = SteinhartHart.through(points)
    assert (found.a, found.b, found.c) == pytest.approx((TEXTBOOK.a, TEXTBOOK.b, TEXTBOOK.c))


@pytest.mark.parametrize("ohm", [0.0, -1.0, math.inf, math.nan])
def test_no_thermistor_has_such_a_resistance(ohm: float) -> None:
    """Short, open and nonsense are no temperature."""
    assert math.isnan(USUAL.celsius(ohm))
    assert math.isnan(TEXTBOOK.celsius(ohm))


def test_a_divider_is_finest_where_both_halves_are_alike() -> None:
    """Half of the codes at R = pull-up; a step grows toward the hot end."""
    divider = Divider(4700.0, 12)
    assert divider.code(4700.0) == 2048.0
    assert divider.ohms(2048.0) == pytest.approx(4700.0)
    assert divider.step_c(250.0, USUAL) > 5.0 * divider.step_c(45.0, USUAL) > 0.0


def test_an_open_thermistor_reads_full_scale() -> None:
    """And full scale is no finite resistance."""
    assert Divider(4700.0).code(math.inf) == 4096.0
    assert math.isinf(Divider(4700.0).ohms(4096.0))
