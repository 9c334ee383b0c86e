"""Copper leads and wire counts."""

import math

import msgspec
import pytest

from shared.chain import Chain
from shared.leads import (
    at_copper_c,
    awg_diameter_mm,
    awg_ohm_per_m,
    lead_ohm,
    read_ohm,
    section_ohm_per_m,
    share_read,
)
from shared.platinum import celsius, ohms

# Round copper wire table, Ω/m at 20 °C (published).
COPPER_TABLE = {
    20: 0.03330,
    22: 0.05295,
    24: 0.08422,
    26: 0.13389,
    28: 0.21293,
    30: 0.33858,
    32: 0.53839,
    34: 0.85597,
    36: 1.3609,
}


@pytest.mark.parametrize(("gauge", "ohm_per_m"), COPPER_TABLE.items())
def test_the_copper_table_is_met(gauge: int, ohm_per_m: float) -> None:
    """The formula agrees with the published table within 0.025 %."""
    assert awg_ohm_per_m(gauge) == pytest.approx(ohm_per_m, rel=2.5e-4)


def test_gauge_36_is_defined_as_five_mils() -> None:
    """The definition of the gauge (ASTM B258, from memory): 0.005 inch at 36, 0.46 at 4/0."""
    assert awg_diameter_mm(36) == pytest.approx(0.127)
    assert awg_diameter_mm(-3) == pytest.approx(0.46 * 25.4, rel=1e-4)


# IEC 60228, class 5, plain (secondary source), Ω/km.
@pytest.mark.parametrize(
    ("section", "ohm_per_km"), [(0.5, 39.0), (0.75, 26.0), (1.0, 19.5), (1.5, 13.3), (2.5, 7.98)]
)
def test_a_class_5_section_has_its_highest_resistance(section: float, ohm_per_km: float) -> None:
    """Listed sections as listed."""
    assert section_ohm_per_m(section) * 1000.0 == pytest.approx(ohm_per_km)


def test_a_section_that_is_not_listed_lies_between_its_neighbours() -> None:
    """0.14 and 0.25 mm² are common in sensor cable; they follow the small sections' product."""
    assert section_ohm_per_m(0.25) == pytest.approx(0.078)
    assert section_ohm_per_m(0.5) < section_ohm_per_m(0.34) < section_ohm_per_m(0.14)


def test_warm_copper_resists_more() -> None:
    """α20 = 0.00393/K (from memory): 31.4 % more at 100 °C."""
    assert at_copper_c(1.0, 20.0) == 1.0
    assert at_copper_c(1.0, 100.0) == pytest.approx(1.3144)


@pytest.mark.parametrize(("r0", "shift"), [(100.0, 0.73), (1000.0, 0.073)])
def test_a_metre_of_two_wire_cable_shifts_the_reading(r0: float, shift: float) -> None:
    """AWG 26, 1 m, at 200 °C: +0.73 °C for a Pt100, a tenth for a Pt1000 (computed)."""
    chain = Chain(r0_ohm=r0, wires=2, lead_awg=26, lead_m=1.0, contact_ohm=0.0)
    seen = read_ohm(chain, ohms(200.0, r0), copper_c=20.0)
    assert celsius(seen, r0) - 200.0 == pytest.approx(shift, rel=0.01)


def _network_reading(fitted: int, strapped: int, r: float, lead_a: float, lead_b: float) -> float:
    """The same by nodal analysis: 1 A in at end A and out at end B, voltages read off.

    Terminals: force and sense for either end. Set for two wires both pairs are joined;
    for three the B pair is; for four none.
    """
    wires_a = 2 if fitted >= 3 else 1
    wires_b = 2 if fitted >= 4 else 1
    joined_a, joined_b = strapped == 2, strapped <= 3
    # A joined pair shares the current; otherwise force alone carries it and sense none.
    drop_a = lead_a / wires_a if joined_a else lead_a
    drop_b = lead_b / wires_b if joined_b else lead_b
    sense_a = drop_a + r if joined_a else r
    sense_b = drop_b if joined_b else 0.0
    force_minus_sense_a = 0.0 if joined_a else drop_a
    reading = sense_a + sense_b
    return reading - force_minus_sense_a if strapped == 3 else reading


@pytest.mark.parametrize(("fitted", "strapped"), [(2, 2), (3, 2), (4, 2), (3, 3), (4, 3), (4, 4)])
def test_each_pair_of_wires_and_straps_reads_as_its_network(fitted: int, strapped: int) -> None:
    """Voltages along the loop, written down by hand, give the same resistance."""
    facts = {"wires": fitted, "strapped_for": strapped, "lead_ohm_per_m": 1.0, "lead_m": 0.5}
    chain = msgspec.convert({**facts, "contact_ohm": 0.02}, Chain)
    seen = read_ohm(chain, 138.5, copper_c=20.0, mismatch_ohm=0.03)
    expected = _network_reading(fitted, strapped, 138.5, lead_a=0.52, lead_b=0.55)
    assert seen == pytest.approx(expected, abs=1e-12)


def test_two_wires_on_a_board_set_for_more_hang_open() -> None:
    """Until the empty terminals are bridged, when all of the leads is read."""
    set_for_3 = Chain(wires=2, strapped_for=3, lead_ohm_per_m=1.0, lead_m=0.5)
    set_for_4 = msgspec.structs.replace(set_for_3, strapped_for=4)
    for chain in (set_for_3, set_for_4):
        assert math.isinf(read_ohm(chain, 138.5))
        bridged = read_ohm(chain, 138.5, copper_c=20.0, bridged=True)
        assert bridged == pytest.approx(138.5 + 2 * 0.51)


def test_four_wires_cancel_every_lead() -> None:
    """However long, warm and unlike."""
    chain = Chain(wires=4, lead_m=30.0, contact_ohm=1.0)
    assert read_ohm(chain, 138.5, copper_c=80.0, mismatch_ohm=3.0) == 138.5
    assert share_read(chain) == (0.0, 0.0)


def test_the_chains_own_figure_beats_section_and_section_beats_gauge() -> None:
    """The most specific fact counts, since the gauge has a default."""
    assert lead_ohm(Chain(lead_m=2.0, lead_ohm_per_m=0.1, lead_mm2=0.5), 20.0) == 0.2
    assert lead_ohm(Chain(lead_m=2.0, lead_mm2=0.5), 20.0) == pytest.approx(0.078)
