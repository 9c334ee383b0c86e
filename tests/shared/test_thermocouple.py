"""Type K against NIST's table and an independent library."""

import math

import pytest
from thermocouple_its90 import TypeK

from shared.thermocouple import celsius, millivolts


# NIST SRD 60, mV (published).
@pytest.mark.parametrize(
    ("temperature", "mv"), [(-200, -5.891), (25, 1.000), (100, 4.096), (300, 12.209), (500, 20.644)]
)
def test_the_table_is_met(temperature: float, mv: float) -> None:
    """To the microvolt that is printed."""
    assert millivolts(temperature) == pytest.approx(mv, abs=5e-4)
    assert celsius(mv) == pytest.approx(temperature, abs=0.04)


def test_an_independent_library_agrees_over_the_whole_range() -> None:
    """thermocouple-its90, whose coefficients were parsed from NIST's files."""
    for temperature in range(-200, 1373):
        mv = millivolts(temperature)
        assert mv == pytest.approx(TypeK.emf(float(temperature)), abs=1e-9)
        assert celsius(mv) == pytest.approx(temperature, abs=1e-6)
        assert TypeK.temperature(mv) == pytest.approx(celsius(mv), abs=1e-4)


def test_a_warm_junction_is_made_up_for() -> None:
    """The voltage between 200 °C and a junction at 25 °C reads as 200 °C."""
    assert celsius(millivolts(200.0) - millivolts(25.0), junction_c=25.0) == pytest.approx(200.0)


@pytest.mark.parametrize("mv", [-6.4, 55.0, math.nan, math.inf])
def test_a_voltage_beyond_the_range_is_no_temperature(mv: float) -> None:
    """NaN, not an extrapolation."""
    assert math.isnan(celsius(mv))
