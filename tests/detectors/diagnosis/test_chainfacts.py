"""What leads can do is the circuit's; sizes and limits follow R0 and the temperature."""

import pytest

from detectors.diagnosis.case import Case
from detectors.diagnosis.chainfacts import UNTOLD, Ways, class_ohm, open_at_low, ways_of
from detectors.diagnosis.evidence import facts_of
from shared.chain import Chain
from shared.events import Event
from shared.words import Kind
from tests.detectors.diagnosis.found import event


def case_of(*events: Event, chain: Chain | None) -> Case:
    return Case("nozzle", events, (), chain, 1)


def names_of(*events: Event, chain: Chain | None) -> dict[str, float]:
    return {fact.name: fact.strength for fact in facts_of(case_of(*events, chain=chain))}


def test_two_wires_only_add_three_also_take_away_four_do_neither() -> None:
    """Ohm's law along the loop, see `tests/shared/test_circuit.py`."""
    assert ways_of(Chain(wires=2)) == Ways(1.0, 0.0, 0.0, 0.0)
    assert ways_of(Chain(wires=3)) == Ways(1.0, 1.0, 1.0, 1 / 3)
    assert ways_of(Chain(wires=4)) == Ways(0.0, 0.0, 1.0, 3 / 4)


def test_where_nobody_told_the_wires_nothing_is_ruled_out() -> None:
    for chain in (None, Chain(told=("r0_ohm",))):
        assert ways_of(chain) == Ways(1.0, UNTOLD, UNTOLD)


LOW = event(Kind.CODE_LOW, count=3, signal=0.02, r0_ohm=100.0)
SAYS_OPEN = event(Kind.CONVERTER_FLAG, flags="open;short")


def test_a_low_end_is_a_lead_as_far_as_the_flags_say_so() -> None:
    """With `open` beside it surely; without any flag perhaps; with `short` alone not."""
    three = Chain(wires=3)
    surely = open_at_low(case_of(LOW, SAYS_OPEN, chain=three))
    perhaps = open_at_low(case_of(LOW, chain=three))
    says_short = event(Kind.CONVERTER_FLAG, flags="short")
    assert surely == 1.0 > perhaps > 0.0 == open_at_low(case_of(LOW, says_short, chain=three))
    some_ohms = event(Kind.CODE_LOW, signal=2.0, r0_ohm=100.0)
    assert open_at_low(case_of(some_ohms, chain=three)) == 0.0
    assert open_at_low(case_of(LOW, SAYS_OPEN, chain=Chain(wires=2))) == 0.0
    high = event(Kind.CODE_HIGH)
    assert open_at_low(case_of(LOW, high, SAYS_OPEN, chain=three)) == 0.0


def test_an_upper_end_speaks_less_for_leads_the_more_of_them_read_low() -> None:
    high = event(Kind.CODE_HIGH, end_s=None)
    strengths = [
        names_of(high, chain=chain).get("open-at-upper-end", 0.0)
        for chain in (Chain(wires=2), Chain(wires=3), Chain(wires=4))
    ]
    assert strengths == [0.0, 1 / 3, 3 / 4]


def test_no_offset_fits_straps_that_leave_an_input_open() -> None:
    """An open input reads at an end: no size of an offset is that of its leads."""
    found = event(Kind.OFFSET_COLD, offset_c=5.0, others_c=23.0)
    names = names_of(found, chain=Chain(wires=3, strapped_for=4))
    assert "offset-high" in names
    assert "offset-fits-leads" not in names


@pytest.mark.parametrize(("r0", "reference"), [(100.0, 402.0), (1000.0, 4020.0)])
def test_small_is_small_beside_r0(r0: float, reference: float) -> None:
    """A stray voltage over the bias' current makes ohms in proportion to R0 (Ohm's law)."""
    chain = Chain(wires=3, r0_ohm=r0, reference_ohm=reference)
    small, large = (
        event(Kind.CONTACT_BREAK, count=20, full=0.0, delta_ohm=part * r0) for part in (0.05, 0.1)
    )
    assert "breaks-small" in names_of(small, chain=chain)
    assert "breaks-small" not in names_of(large, chain=chain)


@pytest.mark.parametrize("r0", [100.0, 1000.0])
@pytest.mark.parametrize(("name", "limit_c"), [("A", 0.15 + 0.002 * 23), ("C", 0.6 + 0.01 * 23)])
def test_the_class_limit_is_of_the_temperature_and_of_r0(
    r0: float, name: str, limit_c: float
) -> None:
    """IEC 60751: class A 0.15 + 0.002 t, C 0.6 + 0.01 t; 0.00388/K at 23 °C."""
    chain = Chain(r0_ohm=r0, tolerance=name)  # type: ignore[arg-type]
    expected = limit_c * r0 * (3.9083e-3 - 2 * 5.775e-7 * 23.0)
    assert class_ohm(chain, 23.0) == pytest.approx(expected, rel=1e-3)
