"""Propagation of uncertainty against the worked examples of the guides."""

import math
from collections.abc import Mapping

import numpy as np
import pytest

from shared.uncertainty import Distribution, Input, monte_carlo, propagate
from shared.updates import Floats

END_GAUGE = (
    Input("standard", Distribution.NORMAL, 25e-6, "mm", 50.000623),
    Input("difference", Distribution.NORMAL, 9.7e-6, "mm", 215e-6),
    Input("expansion", Distribution.RECTANGULAR, 2e-6, "1/K", 11.5e-6),
    Input("room", Distribution.NORMAL, 0.41, "K", -0.1),
    Input("unlike expansion", Distribution.RECTANGULAR, 1e-6, "1/K", 0.0),
    Input("unlike temperature", Distribution.RECTANGULAR, 0.05, "K", 0.0),
)


def _end_gauge(x: Mapping[str, Floats]) -> Floats:
    """l = l_s + d − l_s (δα·θ + α_s·δθ), equation H.3, mm."""
    thermal = x["unlike expansion"] * x["room"] + x["expansion"] * x["unlike temperature"]
    return x["standard"] + x["difference"] - x["standard"] * thermal


def test_the_end_gauge_of_the_guide_recomputes() -> None:
    """JCGM 100:2008, annex H.1, table H.1: contributions in nm and u_c = 32 nm.

    Its inputs and results are given here from memory; that they recompute to the guide's
    rounding is the check on that memory as well.
    """
    combined = propagate(_end_gauge, END_GAUGE)
    found = {each.input.name: each.standard * 1e6 for each in combined.contributions}
    assert found["standard"] == pytest.approx(25.0, abs=0.05)
    assert found["difference"] == pytest.approx(9.7, abs=0.05)
    assert found["expansion"] == pytest.approx(0.0, abs=0.05)
    assert found["room"] == pytest.approx(0.0, abs=0.05)
    assert found["unlike expansion"] == pytest.approx(2.9, abs=0.05)
    assert found["unlike temperature"] == pytest.approx(16.6, abs=0.05)
    assert combined.standard * 1e6 == pytest.approx(32.0, abs=0.5)
    assert combined.value == pytest.approx(50.000838, abs=1e-9)


def test_draws_find_the_second_order_terms_of_the_end_gauge() -> None:
    """The guide (H.1.7, from memory) adds second-order terms and gets 34 nm instead of 32.

    The law of propagation stays at first order; Monte Carlo has them without asking.
    """
    combined = propagate(_end_gauge, END_GAUGE)
    simulated = monte_carlo(_end_gauge, END_GAUGE, combined, draws=200_000)
    assert simulated.standard * 1e6 == pytest.approx(34.0, abs=0.5)


def _sum(x: Mapping[str, Floats]) -> Floats:
    return x["a"] + x["b"] + x["c"] + x["d"]


def _unit_rectangles(first: float = 1.0) -> tuple[Input, ...]:
    root = math.sqrt(3.0)
    widths = zip("abcd", (first, 1.0, 1.0, 1.0), strict=True)
    return tuple(Input(name, Distribution.RECTANGULAR, root * width, "1") for name, width in widths)


def test_four_equal_rectangles_give_the_guides_interval() -> None:
    """JCGM 101:2008, 9.2.3 (from memory): u = 2.00 and 95 % within ±3.88."""
    inputs = _unit_rectangles()
    combined = propagate(_sum, inputs)
    simulated = monte_carlo(_sum, inputs, combined, draws=400_000)
    assert combined.standard == pytest.approx(2.0)
    assert simulated.standard == pytest.approx(2.0, abs=0.01)
    assert simulated.interval == pytest.approx((-3.88, 3.88), abs=0.04)


def test_one_wide_rectangle_makes_the_normal_interval_too_wide() -> None:
    """JCGM 101:2008, 9.2.4 (from memory): u = 10.1 and 95 % within ±17.0, not ±19.9."""
    inputs = _unit_rectangles(10.0)
    combined = propagate(_sum, inputs)
    simulated = monte_carlo(_sum, inputs, combined, draws=400_000)
    assert combined.standard == pytest.approx(math.sqrt(103.0))
    low, high = simulated.interval
    assert high - low == pytest.approx(34.0, abs=0.3)


@pytest.mark.parametrize("shape", Distribution)
def test_each_distribution_has_the_standard_uncertainty_it_claims(shape: Distribution) -> None:
    """JCGM 100, 4.3: half width over √3, √6 or √2; draws have that deviation and mean."""
    quantity = Input("x", shape, 2.0, "1", 5.0)
    drawn = quantity.draw(np.random.default_rng(3), 200_000)
    assert drawn.std() == pytest.approx(quantity.standard, rel=0.01)
    assert drawn.mean() == pytest.approx(5.0, abs=0.02)
    if shape is not Distribution.NORMAL:
        assert abs(drawn - 5.0).max() <= 2.0


def test_the_same_seed_gives_the_same_draws() -> None:
    """A page that is printed twice says the same."""
    inputs = _unit_rectangles()
    combined = propagate(_sum, inputs)
    first = monte_carlo(_sum, inputs, combined, draws=1000)
    assert first == monte_carlo(_sum, inputs, combined, draws=1000)
    assert first != monte_carlo(_sum, inputs, combined, draws=1000, seed=2)


def test_an_input_without_spread_contributes_nothing() -> None:
    """And has no sensitivity that could be told."""
    still = Input("a", Distribution.NORMAL, 0.0, "1")
    combined = propagate(_sum, (still, *_unit_rectangles()[1:]))
    assert combined.contributions[0].standard == 0.0
    assert combined.contributions[0].sensitivity == 0.0
