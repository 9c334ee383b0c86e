"""The error budget of a chain, its reach, and what wrong settings show."""

import math

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from shared.budget import Conditions, agrees, budget, inputs_of, self_heating_mw, simulate
from shared.chain import Chain
from shared.leads import path_ohm
from shared.platinum import ohms, slope
from shared.reach import other_straps, reach, shown_c, step_c, wrong_settings

AT = Conditions(temperature_c=210.0)
BARE = Chain(wires=2, lead_awg=30, lead_m=1.2, capacitance_nf=100.0)
BETTER = msgspec.structs.replace(BARE, wires=3, capacitance_nf=400.0)
WIDE = st.fixed_dictionaries(
    {
        "wires": st.sampled_from([2, 3, 4]),
        "lead_m": st.floats(0.0, 5.0),
        "contact_ohm": st.floats(0.0, 0.5),
        "capacitance_nf": st.floats(0.0, 400.0),
        "reference_tolerance": st.floats(0.0, 0.01),
        "tolerance": st.sampled_from(["AA", "A", "B", "C"]),
        "noise_codes": st.floats(0.0, 5.0),
    }
)


def _offset(chain: Chain, name: str) -> float:
    return next(each.celsius for each in budget(chain, AT).offsets if each.name == name)


def _term(chain: Chain, name: str) -> float:
    terms = budget(chain, AT).combined.contributions
    return next(each.standard for each in terms if each.input.name == name)


def test_the_bare_chain_can_be_checked_by_hand() -> None:
    """The arithmetic of docs/chain.md, from the copper table and the curve alone."""
    lead = 0.33858 * 1.2 * (1.0 + 0.00393 * 5.0)
    loop = 2.0 * (lead + 0.010)
    assert path_ohm(BARE) == pytest.approx(loop / 2.0, rel=1e-3)
    ohm_per_k = 100.0 * (3.9083e-3 - 2.0 * 5.775e-7 * 210.0)
    assert _offset(BARE, "leads") == pytest.approx(loop / ohm_per_k, rel=2e-3)
    reference_c = 179.53 * 0.001 / ohm_per_k / math.sqrt(3.0)
    assert _term(BARE, "reference") == pytest.approx(reference_c, rel=0.01)
    assert _term(BARE, "element") == pytest.approx(1.35 / math.sqrt(3.0), rel=2e-3)
    assert budget(BARE, AT).filter.corner_hz == pytest.approx(12.78e3, rel=0.01)


def test_a_third_wire_takes_the_offset_and_keeps_the_element() -> None:
    """The leads' 2.3 °C go; the element's class, which rules the uncertainty, stays."""
    assert _offset(BARE, "leads") == pytest.approx(2.315, abs=0.001)
    assert _offset(BETTER, "leads") == pytest.approx(0.0, abs=1e-9)
    before, after = budget(BARE, AT).combined.standard, budget(BETTER, AT).combined.standard
    assert 0.98 * before < after < before


def test_four_times_the_capacitance_lets_a_quarter_of_the_chopper_through() -> None:
    """Well above the corner a first-order filter goes with 1/C."""
    (_, before), (_, after) = budget(BARE, AT).filter.passes[2], budget(BETTER, AT).filter.passes[2]
    assert before / after == pytest.approx(4.0, rel=0.02)


@settings(max_examples=25, deadline=None)
@given(facts=WIDE, temperature=st.floats(0.0, 300.0))
def test_monte_carlo_agrees_within_its_bounds(facts: dict[str, object], temperature: float) -> None:
    """Mean within 0.05 u, u within 2 %, ±U holds 94 % or more, for any settled chain."""
    chain = msgspec.convert(facts, Chain)
    at = Conditions(temperature_c=temperature)
    combined = budget(chain, at).combined
    assert agrees(combined, simulate(chain, at, combined, draws=50_000))


def test_monte_carlo_disagrees_where_the_model_is_too_bent() -> None:
    """A Pt1000 that has not settled: exponential in the capacitance, so not first order."""
    chain = Chain(r0_ohm=1000.0, reference_ohm=4020.0, capacitance_nf=150.0, wait_ms=1.0)
    combined = budget(chain, AT).combined
    assert not agrees(combined, simulate(chain, AT, combined))


@given(facts=WIDE, temperature=st.floats(0.0, 300.0))
def test_the_whole_is_the_root_of_the_squares(facts: dict[str, object], temperature: float) -> None:
    """And no term exceeds it."""
    at = Conditions(temperature_c=temperature)
    combined = budget(msgspec.convert(facts, Chain), at).combined
    parts = [each.standard for each in combined.contributions]
    assert combined.standard == pytest.approx(math.hypot(*parts))
    assert combined.expanded() == 2.0 * combined.standard


def test_every_term_of_the_chain_has_its_row() -> None:
    """What the budget promises to weigh."""
    assert [each.name for each in inputs_of(BARE, AT)] == [
        "element",
        "element drift",
        "hysteresis",
        "insulation",
        "self-heating",
        "lead",
        "copper",
        "mismatch",
        "contact-a",
        "contact-b",
        "capacitance",
        "reference",
        "drift",
        "offset",
        "gain",
        "linearity",
        "quantisation",
        "noise",
        "rounding",
    ]


def test_unlike_leads_are_what_a_third_wire_leaves() -> None:
    """Mismatch counts with three wires and not at all with four."""
    assert _term(BETTER, "mismatch") == pytest.approx(
        0.02 * 0.41424 / (100.0 * slope(210.0)) / math.sqrt(3.0), rel=0.01
    )
    assert _term(msgspec.structs.replace(BETTER, wires=4), "mismatch") == 0.0


def test_self_heating_follows_the_bias_squared() -> None:
    """P = (U/(R_ref + R + 2 L))² R by hand: 1.8 V over 582 Ω in 179.5 Ω are 1.72 mW."""
    assert self_heating_mw(BARE, 210.0) == pytest.approx(
        1000.0 * (1.8 / (402.0 + ohms(210.0) + 2.0 * path_ohm(BARE))) ** 2 * ohms(210.0)
    )
    half = msgspec.structs.replace(BARE, bias_v=0.9)
    assert self_heating_mw(half, 210.0) == pytest.approx(self_heating_mw(BARE, 210.0) / 4.0)


def test_wrong_settings_show_the_known_signatures() -> None:
    """Fitted to IEC, believed to be otherwise, and the reverse of the computed 254.08 °C."""
    gost = Chain(curve="gost-6651", host_curve="iec-60751")
    assert shown_c(gost, ohms(250.0, 100.0, gost.element_curve)) == pytest.approx(254.08, abs=0.005)
    shown = {each.what: each.shown_c for each in wrong_settings(Chain(), (25.0, 250.0))}
    # 109.735 Ω · 432/402 = 117.924 Ω, which IEC 60751 has at 46.2 °C.
    assert shown["reference 432 Ω"][0] == pytest.approx(46.18, abs=0.02)
    assert math.isnan(shown["R0 1000 Ω"][0])


def test_a_three_wire_sensor_on_a_board_set_for_two_reads_a_lead_and_a_half() -> None:
    """Two of the three share a terminal: L/2 + L."""
    shown = {each.value: each.shown_c[0] for each in other_straps(BETTER, (25.0,))}
    excess = 1.5 * path_ohm(BETTER) / (100.0 * slope(25.0))
    assert shown[2] == pytest.approx(25.0 + excess, abs=0.005)
    assert shown[3] == pytest.approx(25.0)
    assert math.isnan(shown[4])


def test_the_reach_ends_where_the_code_saturates() -> None:
    """With 402 Ω the whole curve fits; with 200 Ω it ends where R + 2 L = 200 Ω · (1 − 2^−16)."""
    assert reach(BARE).ended_by == "curve"
    short = reach(msgspec.structs.replace(BARE, reference_ohm=200.0))
    assert short.ended_by == "code"
    assert short.highest_code == 65535
    assert ohms(short.highest_c) + 2 * path_ohm(BARE) == pytest.approx(200.0 * (1.0 - 2.0**-16))


def test_a_step_is_worth_more_when_hot() -> None:
    """402 Ω/2^16 = 6.134 mΩ; at 0 °C 15.7 m°C, growing as the curve flattens."""
    assert BARE.step_ohm == pytest.approx(0.0061340, abs=1e-7)
    assert step_c(BARE, 0.0) == pytest.approx(0.015695, abs=1e-5)
    assert step_c(BARE, 300.0) > step_c(BARE, 0.0)


def test_a_normal_budget_covers_what_a_normal_should() -> None:
    """Noise alone, quiet of all else: ±2 u hold 95.45 %."""
    quiet = Conditions(
        temperature_c=100.0,
        copper_spread_k=0.0,
        board_spread_k=0.0,
        lead_spread=0.0,
        contact_spread=0.0,
        self_heating_spread=0.0,
    )
    chain = Chain(wires=4, noise_codes=500.0, reference_tolerance=0.0, tolerance="AA")
    combined = budget(chain, quiet).combined
    covered = simulate(chain, quiet, combined).covered
    assert covered == pytest.approx(norm.cdf(2.0) - norm.cdf(-2.0), abs=0.003)
