"""Tolerance classes."""

import pytest
from rtd_sensor.tolerance import thermometer_tolerance_c

from shared.tolerance import TOLERANCES


@pytest.mark.parametrize(("name", "at_200"), [("AA", 0.44), ("A", 0.55), ("B", 1.3), ("C", 2.6)])
def test_a_class_allows_what_the_standard_says(name: str, at_200: float) -> None:
    """IEC 60751 (secondary source): fixed part and part per degree, worked out at 200 °C."""
    assert TOLERANCES[name].limit_c(200.0) == pytest.approx(at_200)
    assert TOLERANCES[name].limit_c(-200.0) == pytest.approx(at_200)


@pytest.mark.parametrize("name", TOLERANCES)
@pytest.mark.parametrize("construction", ["film", "wire-wound"])
def test_ranges_and_limits_agree_with_an_independent_library(name: str, construction: str) -> None:
    """rtd-sensor refuses a temperature exactly where the class ends here."""
    low, high = TOLERANCES[name].range_c(construction)
    for temperature in range(-210, 701):
        holds = low <= temperature <= high
        try:
            limit = thermometer_tolerance_c(
                temperature,
                tolerance_class=name,
                construction=construction.replace("-", "_"),
            )
        except ValueError:
            assert not holds
        else:
            assert holds
            assert TOLERANCES[name].limit_c(temperature) == pytest.approx(limit)
