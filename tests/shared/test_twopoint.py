"""Offset apart from gain at two known points."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.chain import Chain
from shared.platinum import ohms
from shared.twopoint import (
    Point,
    bath_points,
    boiling_c,
    pressure_hpa,
    split,
    two_point_check,
)


# ISO 2533 standard atmosphere, hPa (from memory).
@pytest.mark.parametrize(
    ("altitude", "hpa"), [(0.0, 1013.25), (1000.0, 898.75), (2000.0, 794.95), (5000.0, 540.2)]
)
def test_air_thins_as_the_standard_atmosphere(altitude: float, hpa: float) -> None:
    """Within half a hectopascal."""
    assert pressure_hpa(altitude) == pytest.approx(hpa, abs=0.5)


# Boiling point of water: 99.97 °C at 1013.25 hPa on ITS-90, 99.61 at 1000 hPa (IAPWS-95); steam
# tables, 95.0 °C at 845.5 hPa, 90.0 at 701.8. All from memory.
@pytest.mark.parametrize(
    ("hpa", "celsius"), [(1013.25, 99.97), (1000.0, 99.61), (845.5, 95.0), (701.8, 90.0)]
)
def test_water_boils_where_steam_tables_say(hpa: float, celsius: float) -> None:
    """Within the standard uncertainty that the check takes for a kitchen's boiling."""
    assert boiling_c(air_hpa=hpa) == pytest.approx(celsius, abs=0.08)


def test_height_lowers_the_boiling_point() -> None:
    """By about a kelvin for 300 m."""
    assert boiling_c(0.0) - boiling_c(300.0) == pytest.approx(1.0, abs=0.05)


@given(offset=st.floats(-2.0, 5.0), gain=st.floats(-0.05, 0.05))
def test_two_points_give_offset_and_gain_exactly(offset: float, gain: float) -> None:
    """Two equations, two unknowns."""
    points = [Point(r, (1 + gain) * r + offset, 0.01) for r in (100.0, 200.0)]
    found = split(points)
    assert found.offset_ohm is not None
    assert found.gain is not None
    assert found.offset_ohm.value == pytest.approx(offset, abs=1e-9)
    assert found.gain.value == pytest.approx(gain, abs=1e-11)


def test_least_squares_agree_with_numpy() -> None:
    """numpy.polyfit with its covariance, for five points of unlike weight."""
    rng = np.random.default_rng(2)
    known = np.array([80.0, 100.0, 120.0, 150.0, 200.0])
    standard = np.array([0.01, 0.02, 0.01, 0.03, 0.02])
    seen = 1.002 * known + 0.8 + rng.normal(0.0, standard)
    found = split([Point(*row) for row in np.stack([known, seen, standard], axis=1).tolist()])
    values, covariance = np.polyfit(known, seen - known, 1, w=1.0 / standard, cov="unscaled")
    assert found.gain is not None
    assert found.offset_ohm is not None
    assert found.gain.value == pytest.approx(values[0])
    assert found.offset_ohm.value == pytest.approx(values[1])
    assert found.gain.standard == pytest.approx(np.sqrt(covariance[0, 0]))
    assert found.offset_ohm.standard == pytest.approx(np.sqrt(covariance[1, 1]))


@pytest.mark.parametrize(
    ("offset", "gain", "prefers"),
    [(0.0, 0.0, "neither"), (1.0, 0.0, "offset"), (0.0, 0.01, "gain"), (1.0, -0.02, "both")],
)
def test_the_truth_is_preferred(offset: float, gain: float, prefers: str) -> None:
    """Each kind of error, at 100 and 200 Ω with 20 mΩ of uncertainty."""
    points = [Point(r, (1 + gain) * r + offset, 0.02) for r in (100.0, 200.0)]
    assert split(points).prefers == prefers


def test_one_point_cannot_separate_them() -> None:
    """It says so, and gives each alone."""
    found = split([Point(100.0, 101.0, 0.02)])
    assert found.offset_ohm is None
    assert found.prefers == "cannot tell"
    assert found.could_not_tell
    assert found.offset_alone_ohm.value == pytest.approx(1.0)
    assert found.gain_alone.value == pytest.approx(0.01)


def test_ice_and_boiling_water_find_the_leads_at_altitude() -> None:
    """A two-wire chain at 1,500 m whose leads are 1 Ω instead of 0.42."""
    chain = Chain(wires=2)
    boiling = ohms(boiling_c(1500.0))
    points = bath_points(chain, 100.0 + 2.0, boiling + 2.0, 0.01, altitude_m=1500.0)
    found = two_point_check(chain, points, element_in=True)
    assert found.split.prefers == "offset"
    assert found.path_ohm is not None
    assert found.path_ohm.value == pytest.approx(1.0, abs=1e-6)
    assert found.expected_path_ohm == pytest.approx(0.424, abs=0.001)


def test_forgetting_the_altitude_looks_like_gain() -> None:
    """Water at 95 °C taken for 100: the check needs the place, or finds what is not there."""
    chain = Chain(wires=4)
    points = bath_points(chain, 100.0, ohms(boiling_c(1500.0)), 0.01, altitude_m=0.0)
    assert two_point_check(chain, points, element_in=True).split.prefers in ("gain", "both")


def test_baths_cannot_tell_the_reference_from_the_element() -> None:
    """A gain error is either's; precision resistors leave the element out, and say so."""
    chain = Chain(wires=3)
    points = [Point(r, 1.01 * r, 0.02) for r in (100.0, 138.5)]
    baths = two_point_check(chain, points, element_in=True).could_not_tell
    assert any("reference from R0" in each for each in baths)
    assert any("cancels" in each for each in baths)
    resistors = two_point_check(chain, points, element_in=False).could_not_tell
    assert any("element" in each for each in resistors)
