"""Advice in numbers follows the chain, or is not given."""

import math

import msgspec
import pytest

from detectors.diagnosis.chainfacts import E6, added_nf, chain_facts
from detectors.diagnosis.checks import CATALOGUE
from detectors.diagnosis.table import Scene
from shared.chain import UNTOLD, Chain
from shared.filters import source_ohm, unsettled_ohm
from shared.platinum import celsius, ohms
from shared.words import Kind

PT100 = Chain(wires=3)
PT1000 = Chain(wires=3, r0_ohm=1000.0, reference_ohm=4020.0, capacitance_nf=10.0, wait_ms=1.0)
NEEDED = ("r0_ohm", "reference_ohm", "wires", "bits", "capacitance_nf", "wait_ms")
SIZE = CATALOGUE["add-capacitance"]


def shown_c(chain: Chain, in_all_nf: float, true_c: float) -> float:
    """What is read with so much capacitance, from R C by hand: e^(−t/RC) of it is missing."""
    element = ohms(true_c, chain.r0_ohm)
    tau_s = source_ohm(chain, element) * in_all_nf * 1e-9
    missing = math.exp(-chain.wait_ms / 1000.0 / tau_s)
    return celsius(unsettled_ohm(element, chain.reference_ohm, missing), chain.r0_ohm)


@pytest.mark.parametrize("chain", [PT100, PT1000, msgspec.structs.replace(PT100, bits=15)])
def test_the_most_that_is_advised_still_settles_when_hot_with_20_per_cent_more(
    chain: Chain,
) -> None:
    """Less than a code's worth at 300 °C, by the exponential itself."""
    pair = added_nf(chain)
    assert pair is not None
    in_all = 1.2 * (pair[1] + chain.capacitance_nf)
    step_k = chain.step_ohm / (ohms(300.5, chain.r0_ohm) - ohms(299.5, chain.r0_ohm))
    assert abs(shown_c(chain, in_all, 300.0) - 300.0) < step_k


def test_what_cures_a_pt100_overheats_a_pt1000() -> None:
    """503 nF and 1 ms: 210 °C is shown as some 80 °C. The old advice, 100 to 470 nF, is gone."""
    assert shown_c(PT1000, 503.0, 210.0) < 110.0
    pair = added_nf(PT1000)
    assert pair is not None
    assert pair[1] < 60.0
    assert "100 to 470" not in SIZE.do + SIZE.told(PT1000).do + SIZE.told().do


def test_the_least_that_is_advised_lets_a_third_of_20_khz_through_or_less() -> None:
    """1/√(1 + (2π f R C)²), at room temperature, where the source is smallest."""
    for chain in (PT100, PT1000):
        pair = added_nf(chain)
        assert pair is not None
        turn = 2.0 * math.pi * 20e3 * source_ohm(chain, ohms(20.0, chain.r0_ohm))
        tau = turn * 1e-9 * (pair[0] + chain.capacitance_nf)
        assert 1.0 / math.sqrt(1.0 + tau * tau) <= 1.0 / 3.0
        assert all(
            any(math.isclose(v / 10 ** math.floor(math.log10(v)), e) for e in E6) for v in pair
        )


@pytest.mark.parametrize("missing", NEEDED)
def test_no_capacitor_is_advised_before_the_chain_is_known(missing: str) -> None:
    """Each single fact that is not told takes the advice away."""
    told = tuple(key for key in NEEDED if key != missing)
    chain = msgspec.structs.replace(PT100, told=told)
    assert added_nf(chain) is None
    assert not SIZE.fits(Scene(chain))
    assert SIZE.fits(Scene(msgspec.structs.replace(PT100, told=NEEDED)))
    assert not SIZE.fits(Scene())


def test_no_capacitor_is_advised_where_none_fits() -> None:
    """A Pt1000 with 100 nF has too much already."""
    full = msgspec.structs.replace(PT1000, capacitance_nf=100.0)
    assert added_nf(full) is None


def test_a_steady_bias_asks_for_no_wait() -> None:
    """It has always settled, so only the filter counts."""
    told = (*NEEDED[:-1], "bias")
    chain = msgspec.structs.replace(PT1000, bias="continuous", told=told)
    assert added_nf(chain) is not None


def test_the_advice_names_terminals_kind_and_the_first_heat_up() -> None:
    """And holds the range in nF."""
    words = SIZE.told(PT100).do
    low, high = added_nf(PT100) or (0.0, 0.0)
    assert f"{low:g} to {high:g} nF" in words
    for each in ("two sense inputs", "C0G or film", "first heat-up", "hand at the mains switch"):
        assert each in words


@pytest.mark.parametrize(
    ("wires", "strapped", "words"),
    [(2, 2, "no such pair"), (3, 2, "0.75 times"), (4, 2, "0.5 times"), (3, 3, "subtracts it")],
)
def test_the_pair_of_one_end_is_counted_as_the_wiring_has_it(
    wires: int, strapped: int, words: str
) -> None:
    """The pair reads 2 L; the reading is off by 2 L, 1.5 L, L or nothing (`shared.leads`)."""
    chain = Chain(wires=wires, strapped_for=strapped)  # type: ignore[arg-type]
    assert words in CATALOGUE["measure-lead-ohms"].told(chain).do


def test_trial_resistors_scale_with_r0_and_are_never_0_degrees() -> None:
    """100 Ω is 0 °C, a host's lower limit; 110, 120 and 180 Ω are 26, 52 and 211 °C (IEC 60751)."""
    form = CATALOGUE["fixed-resistor"]
    assert "110 or 120 Ω, then 180 Ω" in form.told(PT100).do
    assert "1100 or 1200 Ω, then 1800 Ω" in form.told(PT1000).do
    assert "100 Ω of" not in form.told().do


def test_cold_ohms_are_those_of_the_element_and_its_leads() -> None:
    """IEC 60751: 107.79 Ω at 20 °C, 109.73 at 25; ten times that for a Pt1000."""
    form = CATALOGUE["measure-cold-ohms"]
    bare = Chain(lead_m=0.0, contact_ohm=0.0)
    assert "107.8 to 109.7 Ω" in form.told(bare).do
    big = msgspec.structs.replace(bare, r0_ohm=1000.0, told=("r0_ohm",))
    assert "1078 to 1097 Ω at 20 to 25 °C, and what the leads have" in form.told(big).do
    assert "{" not in form.told(UNTOLD).do


def test_no_check_leaves_a_blank_open() -> None:
    """In anybody's words, or in a chain's."""
    for form in CATALOGUE.values():
        for chain in (UNTOLD, PT100, PT1000):
            assert "{" not in form.told(chain).do
    assert Kind.RISE_UNPOWERED in {form.only_after for form in CATALOGUE.values()}


@pytest.mark.parametrize(
    ("r0_ohm", "nf", "name"),
    [
        (100.0, 100.0, "small-filter"),
        (100.0, 150.0, ""),
        (100.0, 220.0, "large-filter"),
        (1000.0, 100.0, "large-filter"),
        (1000.0, 10.0, "small-filter"),
    ],
)
def test_a_filter_is_small_or_large_by_its_corner_and_not_by_its_nf(
    r0_ohm: float, nf: float, name: str
) -> None:
    """100 nF before a Pt1000 have the corner of 1 µF before a Pt100: 1/(2π R C)."""
    chain = Chain(wires=3, r0_ohm=r0_ohm, reference_ohm=4.02 * r0_ohm, capacitance_nf=nf)
    facts = {fact.name for fact in chain_facts(chain)}
    assert facts & {"small-filter", "large-filter"} == ({name} if name else set())


def test_a_filter_is_judged_untold_only_where_every_usual_element_agrees() -> None:
    """47 nF are small before a Pt100 and large before a Pt1000; 470 are large before both."""

    def named(nf: float, *told: str) -> set[str]:
        chain = Chain(capacitance_nf=nf, told=("capacitance_nf", *told))
        return {fact.name for fact in chain_facts(chain)}

    assert named(47.0) == set()
    assert named(47.0, "r0_ohm") == {"small-filter"}
    assert named(470.0) == {"large-filter"}
