"""Inputs other than a reference by Ohm's law by hand, and what was added to the budget."""

import math

import msgspec
import numpy as np
import pytest
from scipy.signal import freqz

from shared.budget import Conditions, budget, inputs_of, shown_at
from shared.chain import Chain
from shared.filters import averages_attenuation, averaging_attenuation, mains_passes
from shared.inputs import ohm_of_scale, part_of_scale, step_ohm_at
from shared.platinum import ohms, slope
from shared.reach import reach, step_c

AT = Conditions(temperature_c=210.0)
DIVIDER = Chain(input="divider", reference_ohm=1000.0, bits=12)
AMPLIFIER = Chain(input="amplifier", span_low_ohm=80.0, span_high_ohm=230.0, bits=10)


@pytest.mark.parametrize("chain", [Chain(), DIVIDER, AMPLIFIER])
@pytest.mark.parametrize("ohm", [81.0, 109.73, 179.53, 229.0])
def test_a_part_of_scale_leads_back_to_its_resistance(chain: Chain, ohm: float) -> None:
    part = part_of_scale(chain, ohm)
    assert ohm_of_scale(chain, part, chain.reference_ohm) == pytest.approx(ohm, rel=1e-12)


def test_a_divider_is_ohms_law() -> None:
    """I = U/(R + R_p), and the part is I R/U; the step is its slope upside down, (R + R_p)²/R_p."""
    for ohm in (100.0, 179.53, 300.0):
        current = 3.3 / (ohm + 1000.0)
        assert part_of_scale(DIVIDER, ohm) == pytest.approx(current * ohm / 3.3)
        by_hand = (ohm + 1000.0) ** 2 / 1000.0 / 4096.0
        assert step_ohm_at(DIVIDER, ohm) == pytest.approx(by_hand, rel=1e-6)
    per_k = 100.0 * slope(210.0)
    assert step_c(DIVIDER, 210.0) == pytest.approx((1179.53**2 / 1000.0 / 4096.0) / per_k, rel=1e-4)


def test_a_wrong_pull_up_bends_and_a_wrong_reference_scales() -> None:
    """A host that believes 1.1 kΩ for 1 kΩ reads R/R_p in proportion, so 10 % more ohms."""
    at = Conditions(temperature_c=100.0)
    wires = {"wires": 4, "self_heating_k_per_mw": 0.0, "insulation_mohm": 1e6}
    wrong = msgspec.structs.replace(DIVIDER, host_reference_ohm=1100.0, bias="continuous", **wires)
    assert ohms(shown_at(wrong, at)) == pytest.approx(1.1 * ohms(100.0), rel=1e-4)


def test_an_amplifier_ends_where_its_span_does() -> None:
    """80 Ω and 230 Ω are −50.8 and 351 °C on the curve: beyond them nothing is told."""
    span = reach(msgspec.structs.replace(AMPLIFIER, lead_m=0.0, contact_ohm=0.0))
    assert ohms(span.lowest_c) == pytest.approx(80.0, abs=1e-6)
    assert ohms(span.highest_c) == pytest.approx(230.0 - 150.0 / 1024.0, abs=1e-6)
    assert (span.lowest_code, span.highest_code) == (0, 1023)


def test_half_a_thousandth_of_full_scale_is_more_than_half_a_degree() -> None:
    """0.05 % of 402 Ω is 0.201 Ω; at 210 °C, 0.3666 Ω/K, that is 0.55 °C, over √3."""
    chain = Chain(offset_of_scale=5e-4)
    terms = {each.input.name: each.standard for each in budget(chain, AT).combined.contributions}
    assert terms["offset"] == pytest.approx(0.0005 * 402.0 / 0.3666 / math.sqrt(3.0), rel=2e-3)


def test_leakage_is_a_resistor_across_the_element() -> None:
    """R ∥ 1 MΩ at 179.53 Ω: 32.2 mΩ less, −0.088 °C."""
    (found,) = [
        each for each in budget(Chain(insulation_mohm=1.0), AT).offsets if each.name == "insulation"
    ]
    assert found.ohm == pytest.approx(1.0 / (1.0 / 179.5294 + 1e-6) - 179.5294, rel=1e-3)
    assert found.celsius == pytest.approx(-0.0878, abs=5e-4)


def test_stranded_wires_are_known_three_times_worse() -> None:
    widths = [
        next(each.width for each in inputs_of(Chain(stranded=is_so), AT) if each.name == "lead")
        for is_so in (False, True)
    ]
    assert widths == [0.05, 0.15]


def test_a_series_resistor_feeds_the_filter_and_no_reading() -> None:
    """1 kΩ in each sensing line: 2 kΩ more before the capacitor, no ohm more in the reading."""
    plain, fitted = budget(Chain(bias="continuous"), AT), Chain(series_ohm=1e3, bias="continuous")
    done = budget(fitted, AT)
    assert done.filter.source_ohm == pytest.approx(plain.filter.source_ohm + 2000.0)
    assert done.shown_c == pytest.approx(plain.shown_c)


def test_a_continuous_bias_has_always_settled() -> None:
    done = budget(Chain(bias="continuous", wait_ms=0.0, capacitance_nf=1e5), AT)
    assert done.filter.settled
    assert done.filter.missing == 0.0


@pytest.mark.parametrize("count", [1, 2, 5])
def test_means_of_conversions_are_a_digital_filter(count: int) -> None:
    """`scipy.signal.freqz` of n equal taps, a period apart, gives the same."""
    period_s = 0.0173
    hz = np.array([3.0, 11.0, 47.3, 50.0, 60.0])
    _, response = freqz(np.full(count, 1.0 / count), worN=2.0 * np.pi * hz * period_s)
    mine = [averages_attenuation(each, period_s, count) for each in hz.tolist()]
    assert mine == pytest.approx(np.abs(response).tolist(), abs=1e-9)


def test_mains_is_judged_at_its_worst() -> None:
    """20 ms end 50 Hz, yet at 49.5 Hz |sin 0.99π|/(0.99π) = 1.0 % gets through; of 60 Hz more."""
    at_50, at_60 = mains_passes(0.02, 0.02, 1, math.inf)
    assert at_50 == pytest.approx(abs(math.sin(0.99 * math.pi)) / (0.99 * math.pi), rel=1e-6)
    assert at_60 == pytest.approx(averaging_attenuation(60.5, 0.02), rel=1e-6)
