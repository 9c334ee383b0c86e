"""Sensor inputs against Ohm's law along the loop, written down by hand for each of them."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from shared.chain import Chain, Excitation
from shared.circuit import (
    FITTED,
    Contacts,
    Inputs,
    Lead,
    contacts_of,
    inputs_of,
    lead_effect,
    reads_broken,
    seen,
)
from shared.leads import read_ohm
from tests.levels import some

INPUTS: tuple[Excitation, ...] = ("bias-over-reference", "one-source", "two-sources")
ELEMENTS = ((100.0, 402.0), (1000.0, 4020.0))
"""R0 and reference, Ω."""
BIAS_V = 1.8


def by_hand(
    wires: int, excitation: Excitation, r: float, leads: dict[Lead, float], reference: float
) -> float:
    """The reading in Ω, by Ohm's law: voltages along the loop over its current.

    Sense leads carry no current and drop nothing. Where one current flows it is the same
    in every part of the loop, so that it cancels against a reference in series.
    """
    plus, minus = leads["force+"], leads["force-"]
    if excitation == "bias-over-reference":
        amperes = BIAS_V / (reference + plus + r + minus)
    else:
        amperes = 0.003
    if wires == 2:
        return (amperes * plus + amperes * r + amperes * minus) / amperes
    if wires == 4:
        return amperes * r / amperes
    if excitation == "two-sources":
        # The one current comes in at the lone end, the other in the pair's sense lead; both
        # leave through the pair's current lead, whose drop is common to both inputs.
        common_v = 2.0 * amperes * plus
        lone_v = amperes * minus + amperes * r + common_v
        sense_v = amperes * leads["sense+"] + common_v
        return (lone_v - sense_v) / amperes
    sensed_v = amperes * r + amperes * minus
    return (sensed_v - amperes * plus) / amperes


@pytest.mark.parametrize("excitation", INPUTS)
@pytest.mark.parametrize(("r0", "reference"), ELEMENTS)
@pytest.mark.parametrize("wires", [2, 3, 4])
@settings(max_examples=some(30))
@given(
    t=st.floats(0.2, 3.3),
    ohms=st.lists(st.floats(0.0, 60.0), min_size=4, max_size=4),
)
def test_every_input_reads_what_ohms_law_says(
    wires: int, r0: float, reference: float, excitation: Excitation, t: float, ohms: list[float]
) -> None:
    """2, 3 and 4 wires, Pt100 and Pt1000, three inputs, any four leads.

    As long as a source can give its current: at the bias it drives R0 and the reference.
    """
    leads: dict[Lead, float] = dict(zip(FITTED[4], ohms, strict=True))
    inputs = Inputs(wires, wires, excitation, reference_ohm=reference, r0_ohm=r0)
    if (wires, excitation) == (3, "two-sources"):
        # Two currents flow in the lead that both come back through.
        assume(t * r0 + leads["force-"] + 2.0 * leads["force+"] < r0 + reference)
    expected = by_hand(wires, excitation, t * r0, leads, reference)
    assert seen(inputs, t * r0, leads).ohm == pytest.approx(expected, abs=1e-6 * r0)


EFFECTS: dict[tuple[int, Excitation, Lead], float] = {
    **{(2, each, "force+"): 1.0 for each in INPUTS},
    **{(2, each, "force-"): 1.0 for each in INPUTS},
    **{(4, each, lead): 0.0 for each in INPUTS for lead in FITTED[4]},
    **{(3, each, "force-"): 1.0 for each in INPUTS},
    (3, "bias-over-reference", "force+"): -1.0,
    (3, "bias-over-reference", "sense+"): 0.0,
    (3, "one-source", "force+"): -1.0,
    (3, "one-source", "sense+"): 0.0,
    (3, "two-sources", "force+"): 0.0,
    (3, "two-sources", "sense+"): -1.0,
}
"""The derivatives of `by_hand`, read off it."""


@pytest.mark.parametrize("case", EFFECTS)
def test_a_contact_raises_lowers_or_leaves_the_reading(case: tuple[int, Excitation, Lead]) -> None:
    """Only with two wires can a contact but add ohms."""
    wires, excitation, lead = case
    assert lead_effect(wires, excitation, lead) == EFFECTS[case]


@pytest.mark.parametrize("case", EFFECTS)
@pytest.mark.parametrize(("r0", "reference"), ELEMENTS)
def test_the_effect_is_what_ten_ohms_do(
    case: tuple[int, Excitation, Lead], r0: float, reference: float
) -> None:
    wires, excitation, lead = case
    inputs = Inputs(wires, wires, excitation, reference_ohm=reference, r0_ohm=r0)
    more = seen(inputs, r0, {lead: 10.0}).ohm - seen(inputs, r0, {}).ohm
    assert more == pytest.approx(10.0 * EFFECTS[case], abs=1e-6 * r0)


def test_a_lead_beside_a_strapped_one_counts_for_a_quarter() -> None:
    """Two equal leads in parallel: d/dr of r·r'/(r + r') is r'²/(r + r')² = 1/4."""
    assert lead_effect(3, "one-source", "sense+", strapped=2) == pytest.approx(0.25, abs=1e-5)
    assert lead_effect(4, "bias-over-reference", "force-", strapped=3) == pytest.approx(0.25, 1e-4)


@pytest.mark.parametrize("excitation", INPUTS)
def test_where_no_current_can_flow_the_reading_goes_to_an_end_and_says_open(
    excitation: Excitation,
) -> None:
    """Force + broken, sense + still at the element: 0 V there, less the whole bias. Force −
    broken: both sense inputs stand at the bias, 0 V between them."""
    broken: list[tuple[int, Lead, str]] = [
        (2, "force+", "upper"),
        (2, "force-", "upper"),
        (3, "force-", "upper"),
        (3, "force+", "lower"),
        (4, "force+", "lower"),
        (4, "force-", "lower"),
    ]
    for wires, lead, expected in broken:
        end, flags = reads_broken(wires, excitation, lead)
        assert (wires, lead, end) == (wires, lead, expected)
        assert flags == ("open", "high" if expected == "upper" else "low")


@pytest.mark.parametrize("excitation", INPUTS)
def test_an_open_sense_input_follows_its_pull_to_the_bias(excitation: Excitation) -> None:
    """Sense + up there reads high, sense − reads low: their difference, by sign. With two
    sources the pair's sense lead drives a current of its own and counts against the other."""
    low = excitation == "two-sources"
    assert reads_broken(3, excitation, "sense+")[0] == ("lower" if low else "upper")
    assert reads_broken(4, excitation, "sense+")[0] == "upper"
    assert reads_broken(4, excitation, "sense-")[0] == "lower"


@pytest.mark.parametrize("strapped", [2, 3, 4])
@pytest.mark.parametrize("excitation", INPUTS)
def test_leads_without_any_resistance_read_the_element_alone(
    strapped: int, excitation: Excitation
) -> None:
    """Though leads and straps then make loops of no ohms."""
    found = seen(Inputs(4, strapped, excitation), 138.5, {})
    assert found.ohm == pytest.approx(138.5, abs=1e-5)


@pytest.mark.parametrize("wires", [2, 3, 4])
@pytest.mark.parametrize("excitation", INPUTS)
def test_a_parted_element_reads_at_the_upper_end_whatever_the_wires(
    wires: int, excitation: Excitation
) -> None:
    """Its two ends stand at the bias and at the ground."""
    assert reads_broken(wires, excitation, None) == ("upper", ("open", "high"))


@pytest.mark.parametrize("excitation", INPUTS)
def test_a_strand_of_a_strapped_pair_may_part_and_the_reading_stays(
    excitation: Excitation,
) -> None:
    assert reads_broken(3, excitation, "sense+", strapped=2) == ("stays", ())


@pytest.mark.parametrize(("r0", "reference"), ELEMENTS)
@pytest.mark.parametrize("excitation", INPUTS)
def test_a_short_reads_low_while_its_current_flows(
    excitation: Excitation, r0: float, reference: float
) -> None:
    """0.3 Ω: below a hundredth of full scale, and no input is open."""
    inputs = Inputs(4, 4, excitation, reference_ohm=reference, r0_ohm=r0)
    assert seen(inputs, 0.3, {}).flags == ("low", "short")


def test_what_contacts_can_do_depends_on_the_wires() -> None:
    assert contacts_of(2, "one-source") == Contacts(raises=True, lowers=False, share_low=0.0)
    assert contacts_of(3, "one-source") == Contacts(raises=True, lowers=True, share_low=1 / 3)
    assert contacts_of(4, "one-source") == Contacts(raises=False, lowers=False, share_low=3 / 4)


@pytest.mark.parametrize("excitation", INPUTS)
@pytest.mark.parametrize("strapped", [2, 3, 4])
@pytest.mark.parametrize("wires", [2, 3, 4])
def test_the_share_of_the_leads_is_what_the_network_reads_with_their_ohms(
    wires: int, strapped: int, excitation: Excitation
) -> None:
    """`read_ohm` is the network's sum at any resistance, not at that of its own two probes."""
    facts = {"wires": wires, "strapped_for": strapped, "excitation": excitation}
    chain = Chain(**facts, lead_ohm_per_m=1.0, lead_m=3.7, contact_ohm=0.0)  # type: ignore[arg-type]
    at_b = 3.7 + 0.45
    leads: dict[Lead, float] = {"force+": 3.7, "sense+": 3.7, "sense-": at_b, "force-": at_b}
    expected = seen(inputs_of(chain), 138.5, leads)
    found = read_ohm(chain, 138.5, copper_c=20.0, mismatch_ohm=0.45)
    if "open" in expected.flags:
        assert math.isinf(found)
    else:
        assert found == pytest.approx(expected.ohm, abs=1e-4)


def test_leads_that_are_not_there_are_refused() -> None:
    with pytest.raises(KeyError):
        lead_effect(3, "one-source", "sense-")
