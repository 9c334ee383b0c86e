"""Readings between two terminals, against nodal analysis."""

import math
from itertools import combinations

import numpy as np
import pytest

from shared.chain import Chain
from shared.terminals import PAIRS, across_ohm, meter_error_ohm, pairs_of

ENDS = {2: ("A", "B"), 3: ("A", "A'", "B"), 4: ("A", "A'", "B", "B'")}


def between_ohm(branches: list[tuple[str, str, float]], one: str, other: str) -> float:
    """Resistance between two nodes, by the pseudo-inverse of the conductance matrix (Klein and
    Randić 1993: R = Γ_ii + Γ_jj − 2 Γ_ij)."""
    nodes = sorted({node for a, b, _ in branches for node in (a, b)})
    place = {node: n for n, node in enumerate(nodes)}
    matrix = np.zeros((len(nodes), len(nodes)))
    for a, b, ohm in branches:
        i, j, g = place[a], place[b], 1.0 / ohm
        matrix[i, i] += g
        matrix[j, j] += g
        matrix[i, j] -= g
        matrix[j, i] -= g
    inverse = np.linalg.pinv(matrix)
    i, j = place[one], place[other]
    return float(inverse[i, i] + inverse[j, j] - 2.0 * inverse[i, j])


@pytest.mark.parametrize("wires", [2, 3, 4])
@pytest.mark.parametrize("r0_ohm", [100.0, 1000.0])
def test_every_pair_of_terminals_is_what_the_network_says(wires: int, r0_ohm: float) -> None:
    """Element by IEC 60751 written out; AWG 26 has 0.13389 Ω/m at 20 °C (round copper wire)."""
    element = r0_ohm * (1.0 + 3.9083e-3 * 23.0 - 5.775e-7 * 23.0**2)
    lead = 0.13389 * 1.5 + 0.02
    branches = [("end A", "end B", element)]
    branches += [(name, f"end {name[0]}", lead) for name in ENDS[wires]]
    chain = Chain(
        r0_ohm=r0_ohm,
        wires=wires,  # type: ignore[arg-type]
        lead_awg=26,
        lead_m=1.5,
        contact_ohm=0.02,
    )
    found = {pair.name: pair.ohm for pair in pairs_of(chain, 23.0, copper_c=20.0)}
    named = [f"{one}-{other}" for one, other in combinations(ENDS[wires], 2)]
    assert sorted(found) == sorted(named)
    for name, ohm in found.items():
        assert ohm == pytest.approx(between_ohm(branches, *name.split("-")), rel=1e-4)


def test_only_pairs_of_one_end_leave_the_element_out() -> None:
    """By their letters."""
    for pairs in PAIRS.values():
        for name, holds_element in pairs:
            one, other = name.split("-")
            assert holds_element is (one[0] != other[0])


def test_a_meter_leaves_three_kelvin_open() -> None:
    """0.8 % and 3 digits: 1.18 Ω at 109.73 Ω, 11.8 Ω at 1097.3 Ω in the next range."""
    slope = 100.0 * (3.9083e-3 - 2.0 * 5.775e-7 * 25.0)
    assert meter_error_ohm(109.73) == pytest.approx(1.178, abs=0.001)
    assert meter_error_ohm(109.73) / slope == pytest.approx(3.0, abs=0.1)
    assert meter_error_ohm(1097.3) == pytest.approx(11.78, abs=0.01)


def test_a_bare_element_reads_as_the_standard_has_it() -> None:
    """IEC 60751: 109.73465625 Ω at 25 °C."""
    bare = Chain(lead_m=0.0, contact_ohm=0.0)
    assert math.isclose(across_ohm(bare, 25.0), 109.73465625)
