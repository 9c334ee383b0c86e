"""The platinum curves against the standard's values and an independent library."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rtd_sensor import pt100

from shared.platinum import (
    CURVES,
    GOST_6651,
    IEC_60751,
    JIS_3916,
    Curve,
    celsius,
    celsius_array,
    ohms,
    ratio,
    ratio_array,
    slope,
)

# IEC 60751:2022, exact values of its equation for R0 = 100 Ω (published, recomputed).
IEC_TABLE = {
    -200.0: 18.52008,
    -100.0: 60.25584,
    -50.0: 80.306281875,
    0.0: 100.0,
    25.0: 109.73465625,
    50.0: 119.397125,
    100.0: 138.5055,
    150.0: 157.325125,
    200.0: 175.856,
    250.0: 194.098125,
    300.0: 212.0515,
    400.0: 247.092,
    500.0: 280.9775,
    600.0: 313.708,
    850.0: 390.481125,
}
every_curve = pytest.mark.parametrize("curve", CURVES.values(), ids=lambda curve: curve.name)
temperatures = st.floats(-200.0, 850.0)


@pytest.mark.parametrize(("temperature", "resistance"), IEC_TABLE.items())
def test_the_table_of_the_standard_is_met_both_ways(temperature: float, resistance: float) -> None:
    """Every published pair holds to the last digits, as one value and as an array."""
    assert ohms(temperature) == pytest.approx(resistance, abs=1e-11)
    assert celsius(resistance) == pytest.approx(temperature, abs=1e-9)
    assert celsius_array(np.array([resistance]))[0] == pytest.approx(temperature, abs=1e-9)


def test_the_coefficients_are_those_of_the_standard() -> None:
    """A, B and C of IEC 60751:2008 and 2022."""
    assert (IEC_60751.a, IEC_60751.b, IEC_60751.c) == (3.9083e-3, -5.775e-7, -4.183e-12)


def test_an_independent_library_agrees_over_the_whole_range() -> None:
    """rtd-sensor, written apart from this, on a quarter-degree grid of −200…850 °C."""
    grid = np.arange(-200.0, 850.0, 0.25)
    forward = np.array([pt100.celsius_to_resistance(t) for t in grid.tolist()])
    np.testing.assert_allclose(100.0 * ratio_array(grid), forward, rtol=0, atol=1e-12)
    backward = np.array([pt100.resistance_to_celsius(r) for r in forward.tolist()])
    np.testing.assert_allclose(celsius_array(forward), backward, rtol=0, atol=1e-9)


# GOST 6651-2009 and JIS (0.003916): ohms computed from the published coefficients, which
# come from secondary sources.
@pytest.mark.parametrize(
    ("curve", "expected"),
    [(GOST_6651, (139.11, 177.04, 213.81)), (JIS_3916, (139.15, 177.13, 213.93))],
)
def test_other_curves_give_their_own_ohms(curve: Curve, expected: tuple[float, ...]) -> None:
    """At 100, 200 and 300 °C, to the two decimals of a table."""
    found = tuple(round(ohms(t, 100.0, curve), 2) for t in (100.0, 200.0, 300.0))
    assert found == expected


@pytest.mark.parametrize(("curve", "shown"), [(GOST_6651, 254.08), (JIS_3916, 254.37)])
def test_an_element_of_another_curve_shows_its_signature(curve: Curve, shown: float) -> None:
    """At a true 250 °C a host set to IEC shows some four degrees more (computed values)."""
    assert celsius(ohms(250.0, 100.0, curve)) == pytest.approx(shown, abs=0.005)


@every_curve
@given(temperature=temperatures, r0=st.sampled_from([10.0, 50.0, 100.0, 500.0, 1000.0]))
def test_the_inverse_returns_to_the_temperature(
    curve: Curve, temperature: float, r0: float
) -> None:
    """To 1e-9 °C for every curve and every usual R0."""
    assert celsius(ohms(temperature, r0, curve), r0, curve) == pytest.approx(temperature, abs=1e-9)


@every_curve
@given(values=st.lists(temperatures, min_size=1, max_size=20))
def test_one_value_and_an_array_give_the_same_bits(curve: Curve, values: list[float]) -> None:
    """Live readings come singly and replays in blocks; results must not depend on it."""
    ratios = ratio_array(np.array(values), curve)
    assert ratios.tolist() == [ratio(t, curve) for t in values]
    back = celsius_array(100.0 * ratios, 100.0, curve)
    assert back.tolist() == [celsius(100.0 * w, 100.0, curve) for w in ratios.tolist()]


@every_curve
@given(temperature=st.floats(-199.0, 849.0))
def test_the_slope_is_the_derivative(curve: Curve, temperature: float) -> None:
    """It equals the difference quotient of the curve itself."""
    step = 1e-3
    quotient = (ratio(temperature + step, curve) - ratio(temperature - step, curve)) / (2 * step)
    assert slope(temperature, curve) == pytest.approx(quotient, rel=1e-6)


@pytest.mark.parametrize("resistance", [math.nan, math.inf, -math.inf, -5.0, 0.0, 18.5, 390.5])
def test_what_no_element_can_show_is_no_number(resistance: float) -> None:
    """NaN beyond −200…850 °C, from either path, without a warning."""
    assert math.isnan(celsius(resistance))
    assert np.isnan(celsius_array(np.array([resistance, 100.0]))).tolist() == [True, False]


def test_rounded_ends_of_the_range_still_count() -> None:
    """One unit in the last place beyond either end is a rounding, no fault."""
    assert celsius(math.nextafter(390.481125, 400.0)) == pytest.approx(850.0)
    assert celsius(math.nextafter(18.52008, 0.0)) == pytest.approx(-200.0)


def test_an_array_keeps_its_shape_and_is_not_changed() -> None:
    """Inputs are read only."""
    resistances = np.array([[60.0, 100.0], [900.0, 138.5055]])
    before = resistances.copy()
    result = celsius_array(resistances)
    assert result.shape == (2, 2)
    np.testing.assert_array_equal(resistances, before)
    assert np.isnan(result[1, 0])
